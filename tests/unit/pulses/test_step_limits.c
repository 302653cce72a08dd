/* When a controller's step is told and when not: levels, noise and the recorder's own step,
 * each just inside and just outside. Levels by hand, on a grid of 10 us. */
#include "pulses/train.h"
#include "support/hand_channel.h"

#include <math.h>
#include <stdlib.h>

/* Numbers without a common factor, in an order of no meaning. */
static const int numbers[] = {100, 143, 107, 131, 119, 150, 112, 138, 125, 146, 103, 134};
enum { MOST = sizeof numbers / sizeof numbers[0] };

static spw_channel of_levels(spw_hold *hold, size_t n, double step_us, double u_us) {
    for (size_t i = 0; i < n; i++) {
        hold[i] = hand_hold((double)i, step_us * numbers[i], u_us, 16);
        hold[i].width_us.sd = 0;
    }
    spw_channel c = hand_channel(hold, n);
    c.period_us.mean = 20000;
    c.frame_rate_hz = 50;
    return c;
}

static double step_of(size_t n, double step_us, double u_us, double resolution_us) {
    spw_hold hold[MOST];
    spw_channel c = of_levels(hold, n, step_us, u_us);
    spw_recording recording = {.resolution_us = resolution_us, .timebase_ppm = 100};
    spw_picked none = {0};
    assert_int_equal(spw_step_find(&recording, &none, &c), SPW_OK);
    if (isfinite(c.step_us))
        assert_near(c.step_u_us, c.step_us * 1e-4, 1e-3 * c.step_us * 1e-4 + 1e-9);
    return c.step_us;
}

static void levels_enough(void **state) {
    (void)state;
    assert_near(step_of(12, 10, 0, 0), 10, 1e-6);
    assert_near(step_of(8, 10, 0, 0), 10, 1e-6);
    assert_true(isnan(step_of(7, 10, 0, 0)));
}

/* Looked for down to three times the noise, and to 2.2 steps of the recorder. */
static void noise_and_recorder(void **state) {
    (void)state;
    assert_near(step_of(12, 10, 3.2, 0), 10, 1e-6);
    assert_true(isnan(step_of(12, 10, 3.4, 0)));
    assert_near(step_of(12, 10, 0, 4.5), 10, 1e-6);
    assert_true(isnan(step_of(12, 10, 0, 4.6)));
}

/* From a quarter of a microsecond to 60. */
static void coarse_and_fine(void **state) {
    (void)state;
    assert_near(step_of(12, 0.3, 0, 0), 0.3, 1e-6);
    assert_true(isnan(step_of(12, 0.2, 0, 0)));
    assert_near(step_of(12, 56, 0, 0), 56, 1e-6);
    assert_true(isnan(step_of(12, 61.7, 0, 0)));
}

/* The same level seen again is no more evidence. */
static void each_level_once(void **state) {
    (void)state;
    spw_hold hold[MOST];
    spw_channel c = of_levels(hold, MOST, 10, 0.01);
    for (size_t i = 7; i < MOST; i++) /* within three of its noise */
        hold[i].width_us.mean = hold[i - 7].width_us.mean + 0.025;
    spw_recording recording = {0};
    spw_picked none = {0};
    assert_int_equal(spw_step_find(&recording, &none, &c), SPW_OK);
    assert_true(isnan(c.step_us));
}

/* Levels anywhere show none, in any of many channels (chance: one in a hundred). */
static void levels_anywhere(void **state) {
    (void)state;
    size_t found = 0;
    for (unsigned seed = 1; seed <= 60; seed++) {
        spw_hold hold[MOST];
        spw_channel c = of_levels(hold, MOST, 10, 0.05);
        uint32_t random = seed;
        for (size_t i = 0; i < MOST; i++) {
            random = random * 1664525 + 1013904223;
            hold[i].width_us.mean = 1000 + 1000 * (random / 4294967296.0);
        }
        spw_recording recording = {0};
        spw_picked none = {0};
        assert_int_equal(spw_step_find(&recording, &none, &c), SPW_OK);
        found += isfinite(c.step_us) ? 1 : 0;
    }
    assert_true(found <= 3);
}

/* A line in the widths of the longest hold: every fourth frame 2 us longer, at 50 Hz. */
static void line_in_the_widths(void **state) {
    (void)state;
    enum { N = 64 };
    static spw_pulse pulse[N];
    static uint32_t at[N];
    for (uint32_t i = 0; i < N; i++) {
        double lead_s = 0.02 * i, us = 1500 + 2 * cos(M_PI / 2 * i);
        pulse[i] = (spw_pulse){.lead_s = lead_s, .trail_s = lead_s + us * 1e-6};
        at[i] = i;
    }
    for (size_t n = 31; n <= N; n += 33) {
        spw_hold hold[2] = {hand_hold(0, 1500, 0.1, n), hand_hold(2, 1900, 0.1, 5)};
        hold[0].end_pulse = n;
        spw_channel c = hand_channel(hold, 2);
        c.pulse = pulse;
        c.pulses = N;
        c.frame_rate_hz = 50;
        c.line_hz = c.line_amplitude_us = NAN;
        spw_recording recording = {0};
        spw_picked picked = {at, N};
        assert_int_equal(spw_step_find(&recording, &picked, &c), SPW_OK);
        if (n < 32) {
            assert_true(isnan(c.line_hz));
            continue;
        }
        assert_near(c.line_hz, 12.5, 0.5);
        assert_near(c.line_amplitude_us, 2, 0.05);
    }
}

/* Four levels are plain where a counter of 8 to 16 bits divides the frame: 20 ms / 1024. */
static void counters(void **state) {
    (void)state;
    static const struct {
        double number[4], unit_us;
        size_t n;
        double step_us; /* 0: none */
    } cases[] = {
        {{51, 77, 90, 102}, 20000 / 1024., 4, 20000 / 1024.},
        {{51, 77, 90}, 20000 / 1024., 3, 0},
        {{51, 77, 77, 90}, 20000 / 1024., 4, 0},             /* one of them twice */
        {{52, 78, 90, 102}, 20000 / 1024., 4, 20000 / 512.}, /* all even: a bit less */
        {{14, 16, 20, 24}, 20000 / 256., 4, 0},              /* coarser than any counter */
        {{51, 77, 90, 102.01}, 20000 / 1024., 4, 0},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        spw_hold hold[4];
        for (size_t i = 0; i < cases[k].n; i++)
            hold[i] = hand_hold((double)i, cases[k].number[i] * cases[k].unit_us, 1e-5, 16);
        spw_channel c = hand_channel(hold, cases[k].n);
        c.period_us.mean = 20000;
        c.period_us.u = 2;
        spw_picked none = {0};
        spw_counter_find(&none, &c);
        if (cases[k].step_us > 0) {
            assert_near(c.step_us, cases[k].step_us, 1e-9);
            assert_near(c.step_u_us, cases[k].step_us * 1e-4, 1e-9); /* as the frame's */
        } else {
            assert_true(isnan(c.step_us));
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(levels_enough),   cmocka_unit_test(noise_and_recorder),
        cmocka_unit_test(coarse_and_fine), cmocka_unit_test(each_level_once),
        cmocka_unit_test(levels_anywhere), cmocka_unit_test(line_in_the_widths),
        cmocka_unit_test(counters),
    };
    return cmocka_run_group_tests_name("step", tests, NULL, NULL);
}
