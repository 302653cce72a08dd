/* Channels that are no control pulses: one clear sentence with numbers, and no
 * memory for a clock. */
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A line that toggles after each of the given lengths, over and over. */
static spw_channel toggling(const double *length_us, size_t lengths, size_t n, double step_us) {
    spw_change *change = malloc((n + 1) * sizeof *change);
    assert_non_null(change);
    change[0] = (spw_change){0, 0, SPW_LEVEL_LOW};
    double at_us = 0;
    for (size_t i = 0; i < n; i++) {
        at_us += length_us[i % lengths];
        change[i + 1] = (spw_change){at_us * 1e-6, 0, (uint32_t)(i + 1) % 2};
    }
    spw_channel c =
        measured_changes(change, n + 1, step_us * 1e-6, (at_us + length_us[0]) * 1e-6, NULL);
    free(change);
    return c;
}

static void check_other(spw_channel *c, const char *reason) {
    assert_int_equal(c->signal, SPW_SIGNAL_OTHER);
    assert_int_equal(c->pulses, 0);
    assert_int_equal(c->polarity, SPW_POLARITY_UNDECIDED);
    assert_non_null(c->reason);
    assert_string_equal(c->reason, reason);
    spw_channel_clear(c);
}

static void clocks(void **state) {
    (void)state;
    const double ten_mhz[] = {0.05};
    spw_channel c = toggling(ten_mhz, 1, 100000, 0.01);
    check_other(&c, "toggles every 50 ns (high 50 ns, low 50 ns): a clock or other signal too fast "
                    "for control pulses");
    const double five_mhz[] = {0.1};
    c = toggling(five_mhz, 1, 100, 0.01);
    check_other(&c, "toggles every 100 ns (high 100 ns, low 100 ns): a clock or other signal too "
                    "fast for control pulses");
    const double slow[] = {700e3, 700e3};
    c = toggling(slow, 2, 40, 1);
    check_other(&c, "repeats every 1.4 s (high 700 ms, low 700 ms): too slow for control pulses");
}

static void scaled_simulation(void **state) {
    (void)state;
    const double frame[] = {0.185, 0.015}; /* 18.5 ms and 1.5 ms over 100 000 */
    spw_channel c = toggling(frame, 2, 60, 0.001);
    check_other(&c, "a frame of 200 ns (high 15 ns, low 185 ns) is far too short for control "
                    "pulses; if this is a simulation with scaled time, times multiplied by 100000 "
                    "make it a frame of 20 ms");
}

static void sum_stream(void **state) {
    (void)state;
    /* 8 channels, separators of 300 us, frame 22.5 ms: common practice */
    double v[18];
    double sum = 0;
    for (size_t i = 0; i < 8; i++) {
        v[1 + 2 * i] = 300;
        v[2 + 2 * i] = 800 + 100.0 * (double)(i % 4);
        sum += v[1 + 2 * i] + v[2 + 2 * i];
    }
    v[17] = 300;
    v[0] = 22500 - sum - 300;
    spw_channel c = toggling(v, 18, 18 * 40, 1);
    check_other(&c, "a sum stream (PPM) of 8 channels: 9 pulses follow each other, then a long "
                    "sync gap; measure the separate servo lines");
}

static void data_lines(void **state) {
    (void)state;
    /* random bits of 833 us (1200 baud) and of 104 us (9600 baud) */
    sim_rng rng = sim_rng_seed(4);
    double v[1000];
    for (size_t i = 0; i < 1000; i++)
        v[i] = 833.3 * (1 + floor(-log2(1 - sim_rng_uniform(&rng))));
    spw_channel c = toggling(v, 1000, 4000, 1);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    assert_non_null(strstr(c.reason, "a data line?"));
    assert_non_null(strstr(c.reason, "levels last from 833 us to 3333 us"));
    spw_channel_clear(&c);
    for (size_t i = 0; i < 1000; i++)
        v[i] /= 8;
    c = toggling(v, 1000, 40000, 1);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    assert_non_null(strstr(c.reason, "as on a data line: too fast for control pulses"));
    spw_channel_clear(&c);
}

static void widths_outside(void **state) {
    (void)state;
    const double frame[] = {13000, 7000};
    spw_channel c = toggling(frame, 2, 200, 1);
    check_other(&c, "frames of 20 ms, but high for 7000 us and low for 13 ms: neither is a pulse "
                    "of 200 to 3500 us (--width-window LOW:HIGH accepts others)");
}

/* Pulses every 60 ms that follow something else look like control pulses: a
 * reading, not a fact. */
static void echo_looks_like_control(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(9);
    double v[400];
    for (size_t i = 0; i < 200; i++) {
        v[2 * i + 1] = 1219 + 111 * sim_rng_uniform(&rng);
        v[2 * i] = 20000 - v[2 * i + 1];
    }
    spw_channel c = toggling(v, 400, 400, 1);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    spw_channel_clear(&c);
}

/* A clock that turns into control pulses, and control pulses with a rush of
 * changes in between: what looks like pulses is kept, with a warning. */
static void clock_then_control(void **state) {
    (void)state;
    size_t n = 200000, pulses = 300;
    spw_change *change = malloc((n + 4 * pulses + 1) * sizeof *change);
    assert_non_null(change);
    size_t k = 0;
    double at = 0;
    change[k++] = (spw_change){0, 0, SPW_LEVEL_LOW};
    for (int part = 0; part < 3; part++) {
        size_t changes = part == 1 ? n : 2 * pulses;
        for (size_t i = 0; i < changes; i++) {
            at += part == 1 ? 1e-7 : i % 2 == 0 ? 0.0185 : 0.0015;
            change[k++] = (spw_change){at, 0, i % 2 == 0 ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW};
        }
    }
    spw_channel c = measured_changes(change, k, 1e-8, at + 0.01, NULL);
    free(change);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    /* windows are 256 edges: up to one on either side of the rush is lost */
    assert_in_range(c.counted, 2 * pulses - 256, 2 * pulses);
    assert_true(near(c.width_us.median, 1500, 1e-3));
    assert_true(near(c.period_us.median, 20000, 1e-3));
    assert_int_equal(c.warnings.n, 1);
    assert_non_null(strstr(c.warnings.text[0], "follow each other too fast"));
    spw_channel_clear(&c);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clocks),
        cmocka_unit_test(scaled_simulation),
        cmocka_unit_test(sum_stream),
        cmocka_unit_test(data_lines),
        cmocka_unit_test(widths_outside),
        cmocka_unit_test(echo_looks_like_control),
        cmocka_unit_test(clock_then_control),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
