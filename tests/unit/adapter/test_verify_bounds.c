/* Every limit of a verification, just inside and just outside. */
#include "adapter/verify/verify.h"
#include "support/hand_channel.h"

#include <string.h>

typedef struct bed {
    spw_hold hold[2];
    spw_channel before, after;
    spw_verification v;
    spw_verify_level level[8];
    spw_verifier f;
} bed;

/* A sound adapter of gain 2 seen without any error; what a test wants else it changes. */
static void fill(bed *b) {
    static const double in[] = {1100, 1300, 1500, 1700, 1900, 2050};
    *b = (bed){0};
    for (size_t k = 0; k < 2; k++) {
        b->hold[k] = hand_hold(0, 1500, 0.01, 100);
        b->hold[k].width_us.sd = 1;
        b->hold[k].width_us.floor = 0;
    }
    b->before = hand_channel(&b->hold[0], 1);
    b->after = hand_channel(&b->hold[1], 1);
    b->before.frame_rate_hz = b->after.frame_rate_hz = 50;
    b->v.method = SPW_VERIFY_PULSES;
    b->v.latency_ms = spw_summary_none();
    b->v.planned = (spw_planned){.known = true,
                                 .tolerance_us = 10,
                                 .tick_us = 1,
                                 .gap_us = NAN,
                                 .remap = {.gain = 2,
                                           .offset_us = -1500,
                                           .clamp_low_us = 500,
                                           .clamp_high_us = 2500,
                                           .segment = {{1000, 2000, 2, -1500}},
                                           .segments = 1}};
    b->v.gain = 2;
    b->v.offset_us = -1500;
    b->v.dof = INFINITY;
    b->v.jitter_gain = 2;
    b->v.pairs = 0;
    for (size_t k = 0; k < 6; k++) {
        double out = fmin(2 * in[k] - 1500, 2500);
        b->level[k] = (spw_verify_level){.in_us = in[k],
                                         .out_us = out,
                                         .seen_us = out,
                                         .u_in_us = 0,
                                         .u_out_us = 0.01,
                                         .scatter_us = 0.1,
                                         .frames = 40,
                                         .clamped = k == 5,
                                         .side = k == 5};
    }
    b->f = (spw_verifier){.before = &b->before,
                          .after = &b->after,
                          .v = &b->v,
                          .level = b->level,
                          .levels = 6,
                          .moved = true,
                          .late_known = true,
                          .noise_us = 0.5,
                          .worst_moving_us = 1,
                          .moving = 20,
                          .frames = 100};
}

static int judged(bed *b, const char *name) {
    b->v.checks = 0;
    assert_int_equal(spw_verify_judge(&b->f), SPW_OK);
    for (size_t k = 0; k < b->v.checks; k++)
        if (strcmp(b->v.check[k].name, name) == 0)
            return b->v.check[k].pass;
    fail_msg("no check %s", name);
    return -1;
}

static void guard_band(void **state) {
    (void)state;
    assert_int_equal(spw_verify_within(8.9, 1, 10), 1);
    assert_int_equal(spw_verify_within(9.1, 1, 10), -1);
    assert_int_equal(spw_verify_within(10.9, 1, 10), -1);
    assert_int_equal(spw_verify_within(11.1, 1, 10), 0);
    bed b;
    fill(&b);
    b.v.offset_us = -1500 + 9.9;
    assert_int_equal(judged(&b, "line"), 1);
    b.v.offset_us = -1500 - 10.1;
    assert_int_equal(judged(&b, "line"), 0);
    b.v.u_offset_us = 0.1; /* U95 0.196 */
    assert_int_equal(judged(&b, "line"), -1);
    b.v.offset_us = -1500 - 10.3;
    assert_int_equal(judged(&b, "line"), 0);
    /* 1.96 times 1000 ppm of the offset are the clock's: 2.94 us */
    b.v.planned.clock_ppm = 1000;
    b.v.u_offset_us = 0;
    b.v.offset_us = -1500 + 12.9;
    assert_int_equal(judged(&b, "line"), 1);
    b.v.offset_us = -1500 + 13;
    assert_int_equal(judged(&b, "line"), 0);
}

static void clamps(void **state) {
    (void)state;
    static const struct {
        double out_us;
        int pass;
    } cases[] = {{2490.1, 1}, {2489.9, 0}, {2501.3, 1}, {2501.4, 0}};
    bed b;
    fill(&b);
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        b.level[5].seen_us = cases[k].out_us;
        assert_int_equal(judged(&b, "clamp_high"), cases[k].pass);
    }
    b.level[5].seen_us = 2489.9;
    b.level[5].u_out_us = 0.1; /* 0.4 us either way */
    assert_int_equal(judged(&b, "clamp_high"), -1);
    assert_int_equal(b.v.pass, -1);
    fill(&b); /* nobody went past the low one */
    assert_int_equal(judged(&b, "clamp_low"), -1);
    assert_int_equal(b.v.pass, 1);
}

static void levels(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.v.planned.tick_us = 1; /* three quarters of a tick; rounding's share of u is in it */
    b.level[2].u_out_us = hypot(0.01, 1 / sqrt(12));
    b.level[2].out_us = 1500.79;
    assert_int_equal(judged(&b, "residual"), 1);
    b.level[2].out_us = 1500.81;
    assert_int_equal(judged(&b, "residual"), 0);
}

static void shares(void **state) {
    (void)state;
    bed b;
    fill(&b);
    static spw_pair pair[198];
    for (size_t k = 0; k < 198; k++)
        pair[k] = (spw_pair){.in_us = 1500, .out_us = 1500, .frames = 1};
    b.v.pair = pair;
    b.v.pairs = 198;
    b.v.unpaired_after = 2; /* of 200 */
    assert_int_equal(judged(&b, "pairing"), 1);
    b.v.unpaired_after = 3;
    assert_int_equal(judged(&b, "pairing"), 0);
    fill(&b);
    b.f.lost = 2;
    assert_int_equal(judged(&b, "delivery"), 1);
    assert_int_equal(b.v.pass, 1);
    b.f.lost = 3;
    assert_int_equal(judged(&b, "delivery"), 0);
    assert_int_equal(b.v.pass, 0);
}

static void smoothing_and_jitter(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.f.worst_moving_us = 5.9; /* 5 us and a tick */
    assert_int_equal(judged(&b, "smoothing"), 1);
    b.f.worst_moving_us = 6.1;
    assert_int_equal(judged(&b, "smoothing"), 0);
    b.f.noise_us = 2; /* 6 sd and a tick */
    b.f.worst_moving_us = 12.9;
    assert_int_equal(judged(&b, "smoothing"), 1);
    b.f.worst_moving_us = 13.1;
    assert_int_equal(judged(&b, "smoothing"), 0);
    /* 1.3 times the root of 2^2 + 1^2 (counts) + 1/12 (rounding) + 1^2 (its own) */
    fill(&b);
    b.v.jitter_gain = 1.3 * sqrt(4 + 1 + 1.0 / 12 + 1) - 0.01;
    assert_int_equal(judged(&b, "jitter"), 1);
    b.v.jitter_gain += 0.02;
    assert_int_equal(judged(&b, "jitter"), 0);
}

/* Levels that scatter more than their uncertainties widen the line's by the root of chi2 over
 * the degrees of freedom (the Birge ratio), at those degrees of freedom. */
static void scatter_widens(void **state) {
    (void)state;
    static const double off[] = {0.9, -0.8, 0.7, -0.9, 0.8};
    bed b;
    fill(&b);
    b.f.levels = 5;
    b.v.planned = spw_planned_none();
    double x[5], ux[5], y[5], uy[5], chi2;
    for (size_t k = 0; k < 5; k++) {
        b.level[k].out_us += off[k];
        b.level[k].u_out_us = 0.1;
        x[k] = b.level[k].in_us;
        ux[k] = 0.01;
        y[k] = b.level[k].out_us;
        uy[k] = 0.1;
    }
    spw_line line;
    assert_int_equal(spw_fit_line_xy(x, ux, y, uy, 5, &line, &chi2), SPW_OK);
    spw_error error;
    assert_int_equal(spw_verify_fit(&b.f, &error), SPW_OK);
    assert_near(b.v.dof, 3, 0);
    assert_near(b.v.u_gain, line.u_slope * sqrt(chi2 / 3), 1e-12);
    assert_near(b.v.u_offset_us, line.u_intercept * sqrt(chi2 / 3), 1e-9);
    assert_near(b.v.covariance, line.covariance * chi2 / 3, 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(guard_band),
        cmocka_unit_test(clamps),
        cmocka_unit_test(levels),
        cmocka_unit_test(shares),
        cmocka_unit_test(smoothing_and_jitter),
        cmocka_unit_test(scatter_widens),
    };
    return cmocka_run_group_tests_name("limits of verify", tests, NULL, NULL);
}
