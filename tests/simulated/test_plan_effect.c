/* The predicted effect of an adapter against one that is simulated: it counts
 * the input in ticks of a free-running timer, remaps and rounds the output. */
#include "sim/rng.h"
#include "support/hand_channel.h"

#include <string.h>

#define FRAMES 20000

static spw_plan *plan_of(const spw_span *span, const spw_bench *bench) {
    spw_plan *plan = NULL;
    assert_int_equal(spw_plan_make(span, NULL, bench, &plan, NULL), SPW_OK);
    assert_true(plan->has_after);
    return plan;
}

typedef struct scatter {
    double sd, u; /* and the standard error of the sd, from the fourth moment */
} scatter;

/* Scatter of the output for normal input jitter about `mean_us`. */
static scatter simulated(sim_rng *rng, const spw_fixed_point *fixed, double mean_us,
                         double sigma_us) {
    static double out[FRAMES];
    double sum = 0, second = 0, fourth = 0;
    for (int i = 0; i < FRAMES; i++) {
        double width = (mean_us + sigma_us * sim_rng_normal(rng)) / fixed->tick_us;
        double phase = sim_rng_uniform(rng);
        double count = floor(phase + width) - floor(phase);
        out[i] = spw_fixed_point_apply(fixed, (uint64_t)count) * fixed->tick_us;
        sum += out[i];
    }
    for (int i = 0; i < FRAMES; i++) {
        double square = (out[i] - sum / FRAMES) * (out[i] - sum / FRAMES);
        second += square / FRAMES;
        fourth += square * square / FRAMES;
    }
    double kurtosis = second > 0 ? fourth / (second * second) : 1;
    return (scatter){sqrt(second), sqrt(second * (kurtosis - 1) / (4 * FRAMES))};
}

/* Widths at eleven parts of a tick: all within the range that is predicted, with
 * 4.5 standard errors for each of the 400 comparisons. */
static void check_jitter(double sigma_us, double tick_us, double high_us) {
    spw_span span = hand_span(1000, 1500, high_us, 0.01);
    span.jitter_rms_us = sigma_us;
    span.floor_us = 0;
    spw_bench bench = spw_bench_defaults();
    bench.adapter.tick_us = tick_us;
    bench.adapter.word_bits = 64;
    spw_plan *plan = plan_of(&span, &bench);
    sim_rng rng = sim_rng_seed(5);
    for (int part = 0; part <= 10; part++) {
        scatter s = simulated(&rng, &plan->fixed_point, 1400 + tick_us * part / 10, sigma_us);
        if (s.sd < plan->after.jitter_low_us - 4.5 * s.u - 1e-9 ||
            s.sd > plan->after.jitter_high_us + 4.5 * s.u + 1e-9)
            fail_msg("jitter %g us, tick %g us, part %d: %g us, predicted %g to %g", sigma_us,
                     tick_us, part, s.sd, plan->after.jitter_low_us, plan->after.jitter_high_us);
    }
    spw_plan_free(plan);
}

static void test_jitter_behind_the_adapter(void **state) {
    (void)state;
    static const double sigma[] = {0.02, 0.1, 0.3, 0.6, 1, 3};
    static const double tick[] = {0.25, 1, 4};
    for (size_t i = 0; i < 6; i++)
        for (size_t k = 0; k < 3; k++) {
            check_jitter(sigma[i], tick[k], 2000); /* gain 2 */
            check_jitter(sigma[i], tick[k], 1930); /* gain 2.15 */
        }
}

/* From half a tick of jitter on the phase no longer matters: T^2/6 a count. */
static void test_jitter_above_half_a_tick_is_one_figure(void **state) {
    (void)state;
    spw_span span = hand_span(1000, 1500, 2000, 0.01);
    span.jitter_rms_us = 1;
    span.floor_us = 0.6;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = plan_of(&span, &bench);
    assert_near(plan->before.jitter_low_us, 0.8, 1e-9); /* 1, 0.6, 0.8 */
    assert_near(plan->before.jitter_high_us, 0.8, 1e-9);
    double expected = 2 * sqrt(0.8 * 0.8 + 1.0 / 6);
    assert_near(plan->after.jitter_low_us, expected, 1e-3);
    assert_near(plan->after.jitter_high_us, expected, 1e-3);
    spw_plan_free(plan);
    span.floor_us = 0.9; /* the capture's own scatter: not told apart */
    plan = plan_of(&span, &bench);
    assert_near(plan->before.jitter_low_us, sqrt(0.19), 1e-9);
    assert_near(plan->before.jitter_high_us, 1, 1e-9);
    spw_plan_free(plan);
}

/* Share of frames outside the dead band, and whether the 95 % interval that n
 * frames give holds the truth in about 95 % of runs. */
static void test_hunting(void **state) {
    (void)state;
    enum { RUNS = 2000, N = 300 };
    spw_bench bench = spw_bench_defaults();
    bench.servo.dead_band_us = 4;
    sim_rng rng = sim_rng_seed(9);
    double sigma = 0.9, truth = erfc(2 / sigma / sqrt(2));
    int held = 0;
    for (int run = 0; run < RUNS; run++) {
        double squares = 0, sum = 0;
        for (int i = 0; i < N; i++) {
            double x = sigma * sim_rng_normal(&rng);
            sum += x;
            squares += x * x;
        }
        spw_span span = hand_span(1000, 1500, 2000, 0.01);
        span.jitter_rms_us = sqrt((squares - sum * sum / N) / (N - 1));
        span.floor_us = 0;
        span.frames = N + 2; /* three levels: N - 1 degrees of freedom */
        spw_plan *plan = plan_of(&span, &bench);
        held += plan->before.hunt_low <= truth && truth <= plan->before.hunt_high;
        assert_int_equal(plan->before.hunts, 1); /* 2.6 % of 50 a second */
        spw_plan_free(plan);
    }
    double sd = sqrt(RUNS * 0.95 * 0.05);
    if (fabs(held - 0.95 * RUNS) > 3.3 * sd)
        fail_msg("the interval held the truth in %d of %d runs", held, RUNS);
}

static bool cautioned(const spw_plan *plan, const char *words) {
    for (size_t i = 0; i < plan->cautions; i++)
        if (strstr(plan->caution[i], words) != NULL)
            return true;
    return false;
}

/* Said plainly only where the low end of what the jitter may be hunts too. */
static void test_hunting_is_said_as_sure_as_it_is(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.dead_band_us = 4;
    spw_span span = hand_span(1000, 1500, 2000, 0.01);
    span.jitter_rms_us = 0.9;
    span.frames = 1000;
    span.floor_us = 0;
    spw_plan *plan = plan_of(&span, &bench);
    assert_true(cautioned(plan, "it hunts with the pulses sent now"));
    spw_plan_free(plan);
    span.floor_us = 0.9; /* the recording alone may jitter as much */
    plan = plan_of(&span, &bench);
    assert_true(cautioned(plan, "it may hunt with the pulses sent now"));
    spw_plan_free(plan);
    span.jitter_rms_us = 0.5; /* 1.0 us behind a gain of 2 */
    span.floor_us = 0;
    plan = plan_of(&span, &bench);
    assert_true(cautioned(plan, "it will hunt, which it does not without"));
    spw_plan_free(plan);
    span.floor_us = 0.5;
    plan = plan_of(&span, &bench);
    assert_true(cautioned(plan, "it may hunt, which it does not without"));
    spw_plan_free(plan);
}

/* More than once a minute: at 50 frames a second one in 3000. */
static void test_hunts_above_once_a_minute(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.dead_band_us = 2 * 3.588; /* normal quantile of 1 - 1/6000 is 3.5877 */
    spw_span span = hand_span(1000, 1500, 2000, 0.01);
    span.floor_us = 0;
    span.jitter_rms_us = 1.01;
    spw_plan *plan = plan_of(&span, &bench);
    assert_int_equal(plan->before.hunts, 1);
    spw_plan_free(plan);
    span.jitter_rms_us = 0.99;
    plan = plan_of(&span, &bench);
    assert_int_equal(plan->before.hunts, 0);
    assert_int_equal(plan->after.hunts, 1); /* twice the jitter */
    spw_plan_free(plan);
    span.mean_frame_us = NAN;
    plan = plan_of(&span, &bench);
    assert_int_equal(plan->before.hunts, -1);
    spw_plan_free(plan);
    span.mean_frame_us = 20000;
    bench.servo.dead_band_us = NAN;
    plan = plan_of(&span, &bench);
    assert_int_equal(plan->before.hunts, -1);
    assert_true(isnan(plan->before.hunt_probability));
    spw_plan_free(plan);
}

/* 12 bits at 50 Hz: 4.8828125 us a step, 205 positions in 1000 us. */
static void test_steps(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    bench.joint.reduction = 3;
    spw_span span = hand_span(1000, 1500, 2000, 0.01);
    span.step_us = 4.8828125;
    spw_plan *plan = plan_of(&span, &bench);
    assert_near(plan->before.positions, 205, 0);
    assert_near(plan->before.servo.step, 4.8828125 * 0.09, 1e-9);
    assert_near(plan->after.step_us, 9.765625, 1e-9);
    assert_near(plan->after.positions, 205, 0);
    assert_near(plan->after.joint.step, 9.765625 * 0.03, 1e-9);
    spw_plan_free(plan);
    bench.adapter.tick_us = 4; /* the timer is coarser than the source */
    span.step_us = 1;
    plan = plan_of(&span, &bench);
    assert_near(plan->after.step_us, 8, 1e-9);
    spw_plan_free(plan);
    span.step_us = NAN;
    plan = plan_of(&span, &bench);
    assert_true(isnan(plan->after.step_us) && isnan(plan->after.positions));
    spw_plan_free(plan);
}

/* A multi-turn servo: 1800 degrees over 2000 us are 0.9 degrees a microsecond. */
static void test_multi_turn(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 1800;
    bench.joint.reduction = 10;
    spw_span span = hand_span(1000, 1500, 2000, 0.01);
    span.jitter_rms_us = 1;
    span.floor_us = 0;
    spw_plan *plan = plan_of(&span, &bench);
    assert_near(plan->before.servo.jitter, 0.9, 1e-9);
    assert_near(plan->before.joint.jitter, 0.09, 1e-9);
    assert_near(plan->before.servo.travel, 900, 1e-9);
    spw_plan_free(plan);
}

/* A clock that is off by e measures and sends with it: the gain stays, the offset
 * comes out as offset times (1 + e). At gain 2 and offset -1500 us, 1000 ppm are
 * 1.5 us, 1.96 times that at 95 %. */
static void test_clock_of_the_adapter(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.adapter.clock_ppm = 1000;
    spw_span span = hand_span(1000, 1500, 2000, 0);
    spw_plan *plan = plan_of(&span, &bench);
    assert_near(plan->after.low_U95_us, 1.96 * 1.5, 1e-9);
    double e = 0.001, in = 1200 / (1 + e); /* ticks it counts for 1200 us */
    double out = (plan->remap.gain * in + plan->remap.offset_us) * (1 + e);
    assert_near(out - (plan->remap.gain * 1200 + plan->remap.offset_us), -1.5, 1e-9);
    spw_plan_free(plan);
    bench.adapter.clock_ppm = 0;
    span = hand_span(1000, 1500, 2000, 0.3);
    plan = plan_of(&span, &bench);
    assert_near(plan->after.high_U95_us, 0.6, 1e-9);
    spw_plan_free(plan);
}

static void test_gap_and_latency(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.01);
    spw_plan *plan = plan_of(&span, &bench);
    assert_near(plan->before.shortest_gap_us, 19999 - 2000, 1e-9);
    assert_near(plan->after.shortest_gap_us, 19999 - 2500, 1e-9);
    assert_near(plan->after.latency_typical_ms, 1.5, 1e-9);
    assert_near(plan->after.latency_worst_ms, 22.5, 1e-9);
    assert_true(isnan(plan->before.latency_typical_ms));
    spw_plan_free(plan);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_jitter_behind_the_adapter),
        cmocka_unit_test(test_jitter_above_half_a_tick_is_one_figure),
        cmocka_unit_test(test_hunting),
        cmocka_unit_test(test_hunting_is_said_as_sure_as_it_is),
        cmocka_unit_test(test_hunts_above_once_a_minute),
        cmocka_unit_test(test_steps),
        cmocka_unit_test(test_multi_turn),
        cmocka_unit_test(test_clock_of_the_adapter),
        cmocka_unit_test(test_gap_and_latency),
    };
    return cmocka_run_group_tests_name("plan effect", tests, NULL, NULL);
}
