/* The verdict on an end, and the clock check. */
#include "support/hand_channel.h"
#include "support/test.h"

#include <math.h>

static spw_end low_end(double us, double U95, double tolerance) {
    spw_span span = hand_span(us, NAN, 2500, U95);
    return spw_judge_end(&span.low, 500, tolerance, -1);
}

static void test_verdicts(void **state) {
    (void)state;
    assert_int_equal(low_end(508.9, 1, 10).verdict, SPW_END_MEETS);
    assert_int_equal(low_end(509.1, 1, 10).verdict, SPW_END_UNDECIDED);
    assert_int_equal(low_end(510.9, 1, 10).verdict, SPW_END_UNDECIDED);
    assert_int_equal(low_end(511.1, 1, 10).verdict, SPW_END_SHORT);
    assert_int_equal(low_end(488.9, 1, 10).verdict, SPW_END_BEYOND);
    assert_int_equal(low_end(500, 11, 10).verdict, SPW_END_UNDECIDED);
    spw_span span = hand_span(500, NAN, 2520, 1);
    spw_end high = spw_judge_end(&span.high, 2500, 10, 1);
    assert_int_equal(high.verdict, SPW_END_BEYOND);
    assert_near(high.deviation_us, 20, 1e-9);
}

static void test_exact_span_has_no_guard_band(void **state) {
    (void)state;
    assert_int_equal(low_end(510, 0, 10).verdict, SPW_END_MEETS);
    assert_int_equal(low_end(510.001, 0, 10).verdict, SPW_END_SHORT);
    assert_true(low_end(510, 0, 10).probability_meets == 1);
}

static void test_probability(void **state) {
    (void)state;
    /* half on the limit; JCGM 106 7.4 by the normal distribution */
    assert_near(low_end(510, 1, 10).probability_meets, 0.5, 1e-9);
    assert_near(low_end(509, 1.959963984540054, 10).probability_meets, 0.8413447, 1e-6);
}

static void test_frames_that_would_decide(void **state) {
    (void)state;
    /* 0.5 us from the limit, U95 2 us with 100 frames: 16 times as many */
    spw_end end = low_end(509.5, 2, 10);
    assert_near(end.frames_needed, 1600, 1);
    assert_true(isnan(end.resolution_needed_us));
    assert_true(isnan(low_end(505, 1, 10).frames_needed));
    assert_true(isinf(low_end(510, 1, 10).frames_needed));
    spw_span span = hand_span(509.5, NAN, 2500, 2);
    span.low.u_shared = 0.3; /* 0.59 us at 95 %: more frames never get below 0.5 */
    end = spw_judge_end(&span.low, 500, 10, -1);
    assert_true(isinf(end.frames_needed));
}

static void test_sampling_that_would_decide(void **state) {
    (void)state;
    /* a logic capture with 10 us steps: u = 10 us times 0.4975 and nothing else */
    spw_span span = hand_span(505, NAN, 2500, 1.959963984540054 * 10 * 0.4975);
    span.low.u_sampling = span.low.u_own;
    spw_end end = spw_judge_end(&span.low, 500, 10, -1);
    assert_int_equal(end.verdict, SPW_END_UNDECIDED);
    /* 5 us of room over 1.96 are 2.551 us, over 0.4975 */
    assert_near(end.resolution_needed_us, 5 / 1.959963984540054 / 0.4975, 1e-6);
}

static void test_no_point(void **state) {
    (void)state;
    spw_span_point none = {.us = NAN};
    assert_int_equal(spw_judge_end(&none, 500, 10, -1).verdict, SPW_END_UNDECIDED);
}

static spw_clock check(double low, double neutral, double high, double frame,
                       const spw_controller *asked) {
    spw_span span = hand_span(low, neutral, high, 0.1);
    spw_summary period = spw_summary_none();
    period.n = 100;
    period.mean = frame;
    period.u = 0.05;
    return spw_clock_check(&span, &period, asked);
}

static spw_controller asked_usual(void) {
    spw_controller asked = spw_bench_defaults().controller;
    asked.asked_low_us = 1000;
    asked.asked_neutral_us = 1500;
    asked.asked_high_us = 2000;
    asked.asked_frame_us = 20000;
    return asked;
}

/* Reported clock errors (needs 7 and 8 of the users' list, common practice). */
static void test_clock_factors(void **state) {
    (void)state;
    spw_controller asked = asked_usual();
    static const double off[] = {0.993, 1.046, 0.89};
    for (size_t i = 0; i < 3; i++) {
        double f = off[i];
        spw_clock clock = check(1000 * f, 1500 * f, 2000 * f, 20000 * f, &asked);
        assert_int_equal(clock.verdict, SPW_CLOCK_SCALED);
        assert_near(clock.width_ratio, f, 1e-9);
        assert_near(clock.correction, 1 / f, 1e-9);
    }
    assert_int_equal(check(1000.4, 1500.2, 1999.7, 20001, &asked).verdict, SPW_CLOCK_AGREES);
}

static void test_clock_doubled(void **state) {
    (void)state;
    spw_controller asked = asked_usual();
    spw_clock clock = check(2000, 3000, 4000, 40000, &asked);
    assert_int_equal(clock.verdict, SPW_CLOCK_DOUBLED);
    assert_near(clock.correction, 0.5, 1e-9);
    clock = check(500, 750, 1000, 20000, &asked);
    assert_int_equal(clock.verdict, SPW_CLOCK_DOUBLED);
    assert_near(clock.correction, 2, 1e-9);
    clock = check(1000, 1500, 2000, 10000, &asked);
    assert_int_equal(clock.verdict, SPW_CLOCK_DOUBLED);
    assert_near(clock.correction, 2, 1e-9);
    assert_near(clock.width_ratio, 1, 1e-9);
}

static void test_clock_is_not_to_blame(void **state) {
    (void)state;
    spw_controller asked = asked_usual();
    asked.asked_low_us = 500;
    asked.asked_high_us = 2500;
    spw_clock clock = check(1000, 1500, 2000, 20000, &asked); /* the firmware clamps */
    assert_int_equal(clock.verdict, SPW_CLOCK_WIDTH_ONLY);
    assert_false(clock.one_factor);
    asked = asked_usual();
    clock = check(1046, 1569, 2092, 20000, &asked);
    assert_int_equal(clock.verdict, SPW_CLOCK_WIDTH_ONLY);
    assert_true(clock.one_factor);
    clock = check(1046, 1569, 2092, 18000, &asked);
    assert_int_equal(clock.verdict, SPW_CLOCK_DISAGREES);
}

static void test_clock_unknown(void **state) {
    (void)state;
    spw_controller asked = spw_bench_defaults().controller;
    spw_clock clock = check(1000, 1500, 2000, 20000, &asked);
    assert_int_equal(clock.verdict, SPW_CLOCK_UNKNOWN);
    assert_true(isnan(clock.width_ratio) && isnan(clock.period_ratio) && isnan(clock.correction));
    asked = asked_usual();
    asked.asked_frame_us = NAN;
    assert_int_equal(check(1046, 1569, 2092, 20000, &asked).verdict, SPW_CLOCK_UNKNOWN);
    spw_span unknown = {.known = false};
    assert_int_equal(spw_clock_check(&unknown, NULL, &asked).verdict, SPW_CLOCK_UNKNOWN);
}

/* A coarse controller cannot send 1000 us exactly: 4.88 us steps are no clock. */
static void test_clock_allows_for_the_step(void **state) {
    (void)state;
    spw_controller asked = asked_usual();
    spw_span span = hand_span(1000 - 2.4, 1500 + 2.2, 2000 - 1.1, 0.1);
    span.step_us = 4.8828125;
    spw_summary period = spw_summary_none();
    period.n = 100;
    period.mean = 20000;
    period.u = 0.05;
    assert_int_equal(spw_clock_check(&span, &period, &asked).verdict, SPW_CLOCK_AGREES);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_verdicts),
        cmocka_unit_test(test_exact_span_has_no_guard_band),
        cmocka_unit_test(test_probability),
        cmocka_unit_test(test_frames_that_would_decide),
        cmocka_unit_test(test_sampling_that_would_decide),
        cmocka_unit_test(test_no_point),
        cmocka_unit_test(test_clock_factors),
        cmocka_unit_test(test_clock_doubled),
        cmocka_unit_test(test_clock_is_not_to_blame),
        cmocka_unit_test(test_clock_unknown),
        cmocka_unit_test(test_clock_allows_for_the_step),
    };
    return cmocka_run_group_tests_name("judge", tests, NULL, NULL);
}
