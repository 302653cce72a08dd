/* The controller's step and the width's periodic component, from whole trains. */
#include "sim/rng.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>

#define FRAME_S 0.02

typedef struct script {
    double step_us, jitter_us, wave_us, wave_hz;
    size_t holds, frames, ramp; /* frames a hold, and on the way to the next */
    bool random_levels;
    uint64_t seed;
} script;

/* Measures a train of holds at random levels (or levels on a step). */
static void measure(const script *s, spw_channel *channel) {
    spw_measure_options options = spw_measure_defaults();
    options.timebase_ppm = 0;
    spw_train *train = NULL;
    assert_int_equal(spw_train_new(&options, 1e-9, &train), SPW_OK);
    spw_edge first = {.time_s = 0, .flags = SPW_EDGE_FOUND | SPW_EDGE_FIRST};
    assert_int_equal(spw_train_push(train, &first, 1), SPW_OK);
    sim_rng rng = sim_rng_seed(s->seed);
    size_t frame = 1;
    double before_us = NAN;
    for (size_t h = 0; h < s->holds; h++) {
        double level_us = 1000 + 1000 * sim_rng_uniform(&rng);
        if (s->step_us > 0)
            level_us = s->step_us * round(level_us / s->step_us);
        double from_us = h == 0 ? level_us : before_us;
        before_us = level_us;
        for (size_t f = 0; f < s->ramp + s->frames; f++, frame++) {
            double at_s = FRAME_S * (double)frame;
            double way = f < s->ramp ? (double)f / (double)s->ramp : 1;
            double us = from_us + way * (level_us - from_us) + s->jitter_us * sim_rng_normal(&rng) +
                        s->wave_us * sin(2 * M_PI * s->wave_hz * at_s);
            spw_edge edge[2] = {{.time_s = at_s, .flags = SPW_EDGE_RISING},
                                {.time_s = at_s + us * 1e-6}};
            assert_int_equal(spw_train_push(train, edge, 2), SPW_OK);
        }
    }
    assert_int_equal(spw_train_finish(train, FRAME_S * (double)frame, 1, NULL, channel), SPW_OK);
    spw_train_free(train);
    assert_int_equal(channel->signal, SPW_SIGNAL_CONTROL_PULSES);
}

/* Four levels of 30 frames; toggling ones alternate with the step above. */
static void measure_levels(const double level[4], double off_us, double step_us, bool toggles,
                           spw_channel *channel) {
    spw_measure_options options = spw_measure_defaults();
    options.timebase_ppm = 0;
    spw_train *train = NULL;
    assert_int_equal(spw_train_new(&options, 1e-9, &train), SPW_OK);
    spw_edge first = {.time_s = 0, .flags = SPW_EDGE_FOUND | SPW_EDGE_FIRST};
    assert_int_equal(spw_train_push(train, &first, 1), SPW_OK);
    for (size_t f = 0; f < 120; f++) {
        double at_s = FRAME_S * (double)(f + 1);
        double us = step_us * (level[f / 30] + (toggles ? (double)(f % 2) : 0)) + off_us;
        spw_edge edge[2] = {{.time_s = at_s, .u_us = 0.0003F, .flags = SPW_EDGE_RISING},
                            {.time_s = at_s + us * 1e-6, .u_us = 0.0003F}};
        assert_int_equal(spw_train_push(train, edge, 2), SPW_OK);
    }
    assert_int_equal(spw_train_finish(train, 121 * FRAME_S, 1, NULL, channel), SPW_OK);
    spw_train_free(train);
}

/* 12 and 10 bits at 50 Hz, 8 and 1 us timers, an 8-bit table over 2000 us; jitter 0.3 step. */
static void steps(void **state) {
    (void)state;
    const double step_us[] = {20000.0 / 4096, 20000.0 / 1024, 8, 1, 2000.0 / 255};
    for (size_t i = 0; i < 5; i++) {
        script s = {.step_us = step_us[i],
                    .jitter_us = 0.3 * step_us[i],
                    .holds = 30,
                    .frames = 30,
                    .seed = 900 + i};
        spw_channel channel;
        measure(&s, &channel);
        print_message("step %.4f us: %.5f +- %.5f us from %zu holds\n", step_us[i], channel.step_us,
                      channel.step_u_us, channel.holds);
        assert_true(fabs(channel.step_us - step_us[i]) <= 3 * channel.step_u_us);
        assert_true(channel.step_u_us < 0.002 * step_us[i]);
        spw_channel_clear(&channel);
    }
}

static void no_step(void **state) {
    (void)state;
    size_t found = 0;
    for (uint64_t i = 0; i < 100; i++) {
        script s = {.jitter_us = 0.5, .holds = 12, .frames = 20, .seed = 1000 + i};
        spw_channel channel;
        measure(&s, &channel);
        found += isfinite(channel.step_us) ? 1 : 0;
        spw_channel_clear(&channel);
    }
    print_message("random levels: a step in %zu of 100\n", found);
    assert_true(found <= 1);
}

/* Straight ramps are regular by themselves. */
static void ramps(void **state) {
    (void)state;
    for (uint64_t i = 0; i < 20; i++) {
        script s = {.jitter_us = 0.5, .holds = 5, .frames = 20, .ramp = 10, .seed = 1200 + i};
        spw_channel channel;
        measure(&s, &channel);
        assert_true(isnan(channel.step_us));
        spw_channel_clear(&channel);
    }
}

static void few_levels(void **state) {
    (void)state;
    script s = {.step_us = 8, .holds = 5, .frames = 30, .seed = 5};
    spw_channel channel;
    measure(&s, &channel);
    assert_true(isnan(channel.step_us));
    spw_channel_clear(&channel);
}

/* Five levels at most of a counter that divides its frame are enough; a command between two
 * of its steps toggles. Timers of whole us, round numbers, other fractions are none. */
static void counters(void **state) {
    (void)state;
    const double sent[][4] = {{25, 27, 74, 75}, {51, 52, 77, 102}, {205, 307, 410, 411}};
    const int bits[] = {10, 10, 12};
    for (size_t i = 0; i < 3; i++)
        for (int toggles = 0; toggles < 2; toggles++)
            for (int off = 0; off < 2; off++) {
                double step_us = ldexp(FRAME_S * 1e6, -bits[i]);
                spw_channel channel;
                measure_levels(sent[i], off != 0 ? 0.013 * step_us : 0, step_us, toggles != 0,
                               &channel);
                bool found = fabs(channel.step_us - step_us) < 1e-6 * step_us;
                assert_true(off != 0 ? isnan(channel.step_us) : found);
                spw_channel_clear(&channel);
            }
    const double round_us[][4] = {{1000, 1500, 2000, 1750}, {1100, 1300, 1500, 1900}};
    for (size_t i = 0; i < 2; i++) {
        spw_channel channel;
        measure_levels(round_us[i], 0, 1, false, &channel);
        assert_true(isnan(channel.step_us));
        spw_channel_clear(&channel);
    }
}

/* A 7.3 Hz ripple of 0.5 us under 0.5 us of jitter, 400 frames: found where it is. */
static void ripple(void **state) {
    (void)state;
    script s = {
        .jitter_us = 0.5, .wave_us = 0.5, .wave_hz = 7.3, .holds = 1, .frames = 400, .seed = 31};
    spw_channel channel;
    measure(&s, &channel);
    print_message("ripple: %.3f Hz, %.3f us, p %.2g\n", channel.line_hz, channel.line_amplitude_us,
                  channel.line_p);
    assert_true(fabs(channel.line_hz - 7.3) <= 0.5 / (400 * FRAME_S)); /* half a bin */
    assert_true(channel.line_p < 1e-6);
    /* amplitude: u is sqrt(2/n) jitter = 0.035; half a bin off loses up to 36 % */
    assert_true(channel.line_amplitude_us > 0.5 * 0.63 - 0.14 &&
                channel.line_amplitude_us < 0.5 + 0.14);
    spw_channel_clear(&channel);
}

/* Half of the recorder's step of 1 ns: that is the recorder's, whatever its probability. */
static void ripple_below_the_resolution(void **state) {
    (void)state;
    script s = {
        .jitter_us = 2e-4, .wave_us = 5e-4, .wave_hz = 12.5, .holds = 1, .frames = 400, .seed = 32};
    spw_channel channel;
    measure(&s, &channel);
    assert_true(isnan(channel.line_p) && isnan(channel.line_hz));
    spw_channel_clear(&channel);
    s.wave_us = 2e-3; /* twice the step */
    measure(&s, &channel);
    assert_true(channel.line_p < 1e-6 && fabs(channel.line_hz - 12.5) < 0.1);
    spw_channel_clear(&channel);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ripple_below_the_resolution),
        cmocka_unit_test(steps),
        cmocka_unit_test(no_step),
        cmocka_unit_test(ramps),
        cmocka_unit_test(few_levels),
        cmocka_unit_test(counters),
        cmocka_unit_test(ripple),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
