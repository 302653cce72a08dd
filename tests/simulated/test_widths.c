/* Mean widths and periods of logic captures against the truth, and the
 * quantisation they show against theory. */
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>

/* One hold of `us` at `period_us`, measured; checks the mean width within
 * max(0.05 us, what sampling allows) and that the stated interval agrees. */
static void check_width(double us, double period_us, double rate_hz, double phase, bool negative) {
    const sim_part part = {100, us, us, 0};
    sim_train_spec spec = {.part = &part,
                           .parts = 1,
                           .period_us = period_us,
                           .start_s = 0.0501,
                           .end_s = 0.0501 + 102e-6 * period_us,
                           .negative = negative,
                           .seed = 1};
    spw_channel c = measured(&spec, rate_hz, phase, NULL);
    double step_us = 1e6 / rate_hz;
    bool good = c.signal == SPW_SIGNAL_CONTROL_PULSES &&
                c.polarity == (negative ? SPW_POLARITY_NEGATIVE : SPW_POLARITY_POSITIVE) &&
                c.counted == 100 && c.holds == 1 && c.hold[0].pulses == 100 &&
                near(c.width_us.mean, us, fmax(0.05, step_us)) &&
                near(c.period_us.mean, period_us, step_us / 99 + 1e-9) && c.width_us.U95 > 0 &&
                near(c.width_us.mean, c.hold[0].width_us.mean, 1e-9);
    if (!good) {
        fprintf(stderr, "width %g us, frame %g us, %g Hz, phase %g, %s\n", us, period_us, rate_hz,
                phase, negative ? "negative" : "positive");
        measured_print(&c);
    }
    assert_true(good);
    spw_channel_clear(&c);
}

static void whole_range(void **state) {
    (void)state;
    static const double rates[] = {24e6, 1e6};
    static const double widths[] = {400, 500, 760.25, 1000, 1500.4, 2000, 2500, 2650};
    for (size_t r = 0; r < 2; r++)
        for (size_t w = 0; w < 8; w++)
            for (int negative = 0; negative < 2; negative++) {
                check_width(widths[w], 20000.13, rates[r], 0.3, negative != 0);
                check_width(widths[w], 10000, rates[r], 0.7, negative != 0);
                check_width(widths[w], 3003.003, rates[r], 0.1, negative != 0);
            }
}

/* A constant width W whose frames sweep the samples is counted as floor or ceil
 * of W/T: variance T^2 f(1-f), f = frac(W/T), mean exact. f and variances: 0, 0.1875,
 * 0.25, 0.09 T^2 (own simulation and theory, 5 digits). */
static void quantisation(void **state) {
    (void)state;
    static const double fraction[] = {0, 0.25, 0.5, 0.9};
    static const double variance[] = {0, 0.1875, 0.25, 0.09};
    for (size_t i = 0; i < 4; i++) {
        const sim_part part = {4000, 1500 + fraction[i], 1500 + fraction[i], 0};
        sim_train_spec spec = {.part = &part,
                               .parts = 1,
                               .period_us = 20000 + 0.6180339887, /* sweeps evenly */
                               .start_s = 0.1};
        spw_channel c = measured(&spec, 1e6, 0.37, NULL);
        /* an even sweep of n phases misses a share by about ln n / n = 0.002 at most */
        assert_true(near(c.width_us.mean, part.from_us, 0.002));
        assert_true(near(c.width_us.sd * c.width_us.sd, variance[i], 0.002));
        assert_true(near(c.width_us.floor, 1 / sqrt(6), 1e-12));
        assert_true(c.budget.u_sampling < 0.005);
        spw_channel_clear(&c);
        /* locked to the samples: one count, and the whole step stays in doubt */
        spec.period_us = 20000;
        c = measured(&spec, 1e6, 0.37, NULL);
        assert_true(c.width_us.sd < 1e-6); /* rounding of instants */
        assert_true(near(c.budget.u_sampling, SPW_SAMPLING_U, 0.003));
        spw_channel_clear(&c);
    }
}

/* 12 bits at 50 Hz: 1000, 1500 and 2000 us are 204.8, 307.2 and 409.6 counts of
 * 4.8828125 us, sent as 205, 307 and 410. */
static void coarse_controller(void **state) {
    (void)state;
    const sim_part part[] = {{100, 1000, 1000, 0}, {100, 1500, 1500, 0}, {100, 2000, 2000, 0}};
    static const double sent[] = {1000.9765625, 1499.0234375, 2001.953125};
    sim_train_spec spec = {
        .part = part, .parts = 3, .period_us = 20000, .start_s = 0.1, .step_us = 4.8828125};
    spw_channel c = measured(&spec, 24e6, 0.25, NULL);
    assert_int_equal(c.holds, 3);
    for (size_t h = 0; h < 3; h++)
        assert_true(near(c.hold[h].width_us.mean, sent[h], 0.05));
    spw_channel_clear(&c);
}

/* Scatter of the lead edge, of the width, and what follows for trail edge and period. */
static void lead_and_trail_apart(void **state) {
    (void)state;
    const sim_part part = {2000, 1500, 1500, 0};
    sim_train_spec spec = {.part = &part,
                           .parts = 1,
                           .period_us = 20000.1,
                           .start_s = 0.1,
                           .frame_jitter_us = 2,
                           .jitter_us = 5,
                           .seed = 3};
    spw_channel c = measured(&spec, 24e6, 0.3, NULL);
    double sd = 1 / sqrt(2 * 2000.0); /* relative, of an sd from 2000 values */
    assert_true(near(c.lead_jitter_us, 2, 4 * 2 * sd));
    assert_true(near(c.trail_jitter_us, sqrt(29), 4 * sqrt(29) * sd));
    assert_true(near(c.width_us.sd, 5, 4 * 5 * sd));
    /* independent edges: period sd sqrt 2, cycle to cycle sqrt 6 (JESD65 identities) */
    assert_true(near(c.period_us.sd, 2 * sqrt(2), 5 * 2 * sqrt(2) * sd));
    assert_true(near(c.cycle_to_cycle_rms_us, 2 * sqrt(6), 6 * 2 * sqrt(6) * sd));
    /* the mean period knows the scatter of two edges over 1999 frames */
    assert_true(near(c.period_us.mean, 20000.1, 4 * sqrt(2) * 2 / 1999));
    assert_true(c.period_us.u < 2 * sqrt(2) * 2 / 1999);
    spw_channel_clear(&c);
}

/* 95 % intervals of the mean period: an even source and one that waits a frame. */
static void period_intervals(void **state) {
    (void)state;
    for (int waits = 0; waits < 2; waits++) {
        size_t covered = 0, n = 400;
        for (size_t i = 0; i < n; i++) {
            const sim_part part = {150, 1500, 1500, 0};
            sim_train_spec spec = {.part = &part,
                                   .parts = 1,
                                   .period_us = 20000.1,
                                   .start_s = 0.1,
                                   .frame_jitter_us = waits != 0 ? 0 : 1,
                                   .wander_us = waits != 0 ? 5 : 0,
                                   .seed = 900 + i};
            spw_channel c = measured(&spec, 24e6, 0.3, NULL);
            covered += fabs(c.period_us.mean - 20000.1) <= c.period_us.U95;
            spw_channel_clear(&c);
        }
        print_message("mean period, source %s: %zu of %zu covered\n",
                      waits != 0 ? "waits" : "keeps a grid", covered, n);
        /* 95 % of 400: sd 4.4 */
        assert_in_range(covered, 380 - 14, n);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_range),       cmocka_unit_test(quantisation),
        cmocka_unit_test(coarse_controller), cmocka_unit_test(lead_and_trail_apart),
        cmocka_unit_test(period_intervals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
