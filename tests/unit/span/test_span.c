/* Spans from holds put together by hand. */
#include "support/hand_channel.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>

static spw_span build(spw_hold *hold, size_t holds) {
    spw_channel channel = hand_channel(hold, holds);
    const spw_channel *channels[] = {&channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    return span;
}

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static void test_three_levels(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 1500, 0.01, 100), hand_hold(3, 1000, 0.01, 100),
                       hand_hold(6, 2000, 0.02, 100)};
    spw_span span = build(hold, COUNT(hold));
    assert_true(span.known);
    assert_int_equal(span.basis, SPW_SPAN_HOLDS);
    assert_int_equal(span.levels, 3);
    assert_near(span.low.us, 1000, 1e-9);
    assert_near(span.high.us, 2000, 1e-9);
    assert_near(span.neutral.us, 1500, 1e-9);
    assert_near(span.high.U95, 1.959964 * 0.02, 1e-6);
    assert_near(span.mean_frame_us, 20000, 1e-9);
    assert_near(span.shortest_frame_us, 19999, 1e-9);
    /* sd of the holds: 0.1, 0.1, 0.2 with 99 degrees of freedom each */
    assert_near(span.jitter_rms_us, sqrt((0.01 + 0.01 + 0.04) / 3), 1e-12);
    assert_int_equal(span.frames, 300);
    assert_true(isnan(span.saturates_high_us) && isnan(span.saturates_low_us));
}

static void test_no_holds_and_one_level(void **state) {
    (void)state;
    spw_span span = build(NULL, 0);
    assert_false(span.known);
    assert_string_equal(span.reason,
                        "the pulses never stood still for 8 frames and 0.2 s, and they do not "
                        "sweep from end to end either");
    spw_hold hold[] = {hand_hold(0, 1500.04, 0.05, 100), hand_hold(3, 1499.96, 0.05, 100)};
    span = build(hold, COUNT(hold));
    assert_false(span.known);
    assert_int_equal(span.levels, 1);
    assert_string_equal(span.reason, "the pulses stood still at one level only, 1500.0 us; a span "
                                     "needs both ends");
    assert_true(isnan(span.low.us));
}

/* Holds that agree are one level: its mean weighs frames, own uncertainty
 * averages down, the time base does not. */
static void test_pool_weighs_frames_and_keeps_the_time_base(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 999.9, 0.1, 300), hand_hold(7, 1000.1, 0.1, 100),
                       hand_hold(10, 2000, 0.1, 100)};
    for (size_t i = 0; i < COUNT(hold); i++)
        hold[i].budget.u_timebase = 50e-6 * hold[i].width_us.mean;
    spw_span span = build(hold, COUNT(hold));
    assert_near(span.low.us, 999.95, 1e-9);
    assert_int_equal(span.low.frames, 400);
    assert_near(span.low.seconds, 8, 1e-9);
    assert_near(span.low.u_own, 0.1 * sqrt(9 + 1) / 4, 1e-9);
    assert_near(span.low.u_shared, 0.05, 1e-5);
    assert_near(span.low.u, hypot(span.low.u_own, span.low.u_shared), 1e-12);
    assert_int_equal(span.levels, 2);
}

/* The sampling error of a locked frame is the same in all holds of a capture,
 * and another one in the next capture. */
static void test_sampling_is_shared_within_a_capture_only(void **state) {
    (void)state;
    spw_hold first[] = {hand_hold(0, 1000, 0, 100), hand_hold(3, 1000, 0, 100),
                        hand_hold(6, 2000, 0, 100)};
    spw_hold second[] = {hand_hold(0, 1000, 0, 100), hand_hold(3, 1000, 0, 100),
                         hand_hold(6, 2000, 0, 100)};
    for (size_t i = 0; i < COUNT(first); i++)
        first[i].budget.u_sampling = second[i].budget.u_sampling = 0.4;
    spw_channel a = hand_channel(first, COUNT(first)), b = hand_channel(second, COUNT(second));
    const spw_channel *channels[] = {&a, &b};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    assert_near(span.low.u, 0.4, 1e-12);
    assert_int_equal(spw_span_build(channels, 2, 1500, &span), SPW_OK);
    assert_near(span.low.u, 0.4 / sqrt(2), 1e-12);
    assert_near(span.low.u_sampling, span.low.u_own, 1e-12);
}

static void test_neutral_is_the_longest_in_the_middle(void **state) {
    (void)state;
    /* a stop on the way at 1130 lasts longer than neutral, 60 us off 1500, does */
    spw_hold hold[] = {hand_hold(0, 1000, 0.01, 100), hand_hold(3, 1130, 0.01, 200),
                       hand_hold(8, 1560, 0.01, 150), hand_hold(12, 1700, 0.01, 20),
                       hand_hold(13, 2000, 0.01, 100)};
    spw_span span = build(hold, COUNT(hold));
    assert_int_equal(span.levels, 5);
    assert_near(span.neutral.us, 1560, 1e-9);
}

static void test_neutral_is_the_nearest_when_none_is_longest(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 1000, 0.01, 100), hand_hold(3, 1300, 0.01, 100),
                       hand_hold(6, 1510, 0.01, 100), hand_hold(9, 1700, 0.01, 100),
                       hand_hold(13, 2000, 0.01, 100)};
    assert_near(build(hold, 5).neutral.us, 1510, 1e-9);
    hold[2] = hand_hold(6, 1610, 0.01, 100); /* further than a tenth of the span */
    assert_true(isnan(build(hold, 5).neutral.us));
}

static void test_narrow_pulse_neutral(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 500, 0.01, 100), hand_hold(3, 760, 0.01, 100),
                       hand_hold(6, 1000, 0.01, 100)};
    assert_near(build(hold, 3).neutral.us, 760, 1e-9);
}

static void test_staircase_into_a_plateau(void **state) {
    (void)state;
    spw_hold hold[8];
    for (size_t i = 0; i < 6; i++)
        hold[i] = hand_hold(2.0 * (double)i, 1500 + 100 * (double)i, 0.01, 100);
    hold[6] = hand_hold(12, 2035, 0.01, 250); /* two more steps in one */
    spw_span span = build(hold, 7);
    assert_near(span.saturates_high_us, 2035, 1e-9);
    assert_true(isnan(span.saturates_low_us));
    hold[6] = hand_hold(12, 2100, 0.01, 250); /* a whole step, then rest: proves nothing */
    assert_true(isnan(build(hold, 7).saturates_high_us));
    hold[6] = hand_hold(12, 2035, 0.01, 100); /* not longer than a step */
    assert_true(isnan(build(hold, 7).saturates_high_us));
    for (size_t i = 0; i < 6; i++)
        hold[i] = hand_hold(2.0 * (double)i, 1500 - 100 * (double)i, 0.01, 100);
    hold[6] = hand_hold(12, 960, 0.01, 250);
    assert_near(build(hold, 7).saturates_low_us, 960, 1e-9);
}

static spw_span sweep(double (*width)(size_t), size_t n) {
    spw_pulse *pulse = calloc(n, sizeof *pulse);
    assert_non_null(pulse);
    for (size_t i = 0; i < n; i++) {
        pulse[i].lead_s = 0.02 * (double)i;
        pulse[i].trail_s = pulse[i].lead_s + 1e-6 * width(i);
    }
    spw_channel channel = hand_channel(NULL, 0);
    channel.pulse = pulse;
    channel.pulses = n;
    const spw_channel *channels[] = {&channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    free(pulse);
    return span;
}

static double sine_width(size_t i) {
    return 1500 + 500 * sin(0.05 * (double)i);
}

static double ramp_width(size_t i) {
    return 1000 + (double)(i % 200) * 5;
}

static double alternating_width(size_t i) {
    return i % 2 != 0 ? 1000 : 2000;
}

static double scattered_width(size_t i) {
    return 1500 + (double)(i * 7919 % 101);
}

static void test_sweep_gives_extremes(void **state) {
    (void)state;
    spw_span span = sweep(ramp_width, 1000);
    assert_true(span.known);
    assert_int_equal(span.basis, SPW_SPAN_EXTREMES);
    /* quantile (n-1)p of five equal ramps of 200 steps */
    assert_near(span.low.us, 1005, 5.1);
    assert_near(span.high.us, 1990, 5.1);
    /* the uncertainty reaches to what was seen */
    assert_true(span.low.us - span.low.U95 <= 1000.001);
    assert_true(span.high.us + span.high.U95 >= 1994.999);
    span = sweep(sine_width, 1000);
    assert_true(span.known && span.low.us < 1001 && span.high.us > 1999);
}

static void test_no_sweep(void **state) {
    (void)state;
    assert_false(sweep(ramp_width, 99).known);
    assert_false(sweep(alternating_width, 1000).known);
    assert_false(sweep(scattered_width, 1000).known);
}

static void test_given(void **state) {
    (void)state;
    spw_span span;
    assert_int_equal(spw_span_given(1000, NAN, 2000, &span), SPW_OK);
    assert_true(span.known && isnan(span.neutral.us) && span.low.U95 == 0);
    assert_int_equal(span.basis, SPW_SPAN_GIVEN);
    assert_int_equal(spw_span_given(1000, 1500, 2000, &span), SPW_OK);
    assert_true(span.neutral.us == 1500);
    assert_int_equal(spw_span_given(1000, 2500, 2000, &span), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_span_given(2000, NAN, 1000, &span), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_span_given(-1, NAN, 1000, &span), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_span_given(INFINITY, NAN, 1000, &span), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_span_given(NAN, NAN, 1000, &span), SPW_ERR_ARGUMENT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_three_levels),
        cmocka_unit_test(test_no_holds_and_one_level),
        cmocka_unit_test(test_pool_weighs_frames_and_keeps_the_time_base),
        cmocka_unit_test(test_sampling_is_shared_within_a_capture_only),
        cmocka_unit_test(test_neutral_is_the_longest_in_the_middle),
        cmocka_unit_test(test_neutral_is_the_nearest_when_none_is_longest),
        cmocka_unit_test(test_narrow_pulse_neutral),
        cmocka_unit_test(test_staircase_into_a_plateau),
        cmocka_unit_test(test_sweep_gives_extremes),
        cmocka_unit_test(test_no_sweep),
        cmocka_unit_test(test_given),
    };
    return cmocka_run_group_tests_name("span", tests, NULL, NULL);
}
