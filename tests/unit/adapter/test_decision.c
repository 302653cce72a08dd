/* What is decided and advised, situation by situation. */
#include "support/hand_channel.h"

#include <string.h>

/* The sentence of the first advice of a kind, or NULL. */
static const char *advice(const spw_plan *plan, spw_advice_do what) {
    for (size_t i = 0; i < plan->advices; i++)
        if (plan->advice[i].what == what)
            return plan->advice[i].why;
    return NULL;
}

static void assert_says(const char *sentence, const char *words) {
    assert_non_null(sentence);
    if (strstr(sentence, words) == NULL)
        fail_msg("\"%s\" does not say \"%s\"", sentence, words);
}

static spw_bench adjustable(void) {
    spw_bench bench = spw_bench_defaults();
    bench.controller.adjustable = true;
    return bench;
}

static void test_nothing_needed(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = hand_plan_of(503, 1500, 2496, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    assert_int_equal(plan->advices, 0);
    assert_false(plan->has_remap || plan->has_after || plan->fixed_point.known);
    spw_plan_free(plan);
}

static void test_setting_first(void **state) {
    (void)state;
    spw_bench bench = adjustable();
    spw_plan *plan = hand_plan_of(600, 1500, 2400, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADJUST);
    assert_false(plan->has_remap);
    assert_int_equal(plan->advices, 1);
    assert_int_equal(plan->advice[0].what, SPW_DO_SETTING);
    assert_says(plan->advice[0].why, "the low end to 500.0 us (it sends 600.0)");
    assert_says(plan->summary, "90 %");
    spw_plan_free(plan);
    /* not adjustable: an adapter */
    bench.controller.adjustable = false;
    plan = hand_plan_of(600, 1500, 2400, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    spw_plan_free(plan);
}

/* A source that sends 10 us more than it is told: what to set takes it off. */
static void test_value_to_set_follows_the_source(void **state) {
    (void)state;
    spw_bench bench = adjustable();
    bench.controller.asked_low_us = 1000;
    bench.controller.asked_high_us = 2000;
    spw_plan *plan = hand_plan_of(1010, 1510, 2010, &bench);
    assert_says(advice(plan, SPW_DO_SETTING), "the low end to 490.0 us");
    assert_says(advice(plan, SPW_DO_SETTING), "the high end to 2490.0 us");
    spw_plan_free(plan);
}

static void test_configured_is_not_measured(void **state) {
    (void)state;
    spw_bench bench = adjustable();
    bench.controller.asked_low_us = 500;
    bench.controller.asked_high_us = 2500;
    bench.controller.asked_frame_us = 20000;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_int_equal(plan->clock.verdict, SPW_CLOCK_WIDTH_ONLY);
    assert_says(advice(plan, SPW_DO_SETTING), "Configured is not measured");
    assert_says(advice(plan, SPW_DO_SETTING), "saturates at 1000.0 us");
    assert_null(advice(plan, SPW_DO_CLOCK));
    spw_plan_free(plan);
}

static void test_plateau(void **state) {
    (void)state;
    spw_bench bench = adjustable();
    spw_span span = hand_span(500, 1500, 2035, 0.1);
    span.saturates_high_us = 2035;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_says(advice(plan, SPW_DO_SETTING), "The source saturates at 2035.0 us");
    spw_plan_free(plan);
}

static void test_trim(void **state) {
    (void)state;
    spw_bench bench = adjustable();
    bench.servo.travel_deg = 180;
    spw_plan *plan = hand_plan_of(540, 1540, 2540, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADJUST);
    assert_says(advice(plan, SPW_DO_TRIM), "Trim by -40.0 us");
    assert_null(advice(plan, SPW_DO_SETTING));
    spw_plan_free(plan);
    plan = hand_plan_of(500, 1472, 2500, &bench); /* the ends meet, neutral does not */
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    assert_says(advice(plan, SPW_DO_TRIM), "Trim neutral by +28.0 us");
    assert_says(advice(plan, SPW_DO_TRIM), "2.52 degrees at the servo");
    spw_plan_free(plan);
}

static spw_bench asked_frame(bool can_adjust) {
    spw_bench bench = can_adjust ? adjustable() : spw_bench_defaults();
    bench.controller.asked_low_us = 500;
    bench.controller.asked_neutral_us = 1500;
    bench.controller.asked_high_us = 2500;
    bench.controller.asked_frame_us = 20000;
    return bench;
}

static void test_clock(void **state) {
    (void)state;
    spw_bench bench = asked_frame(true);
    spw_span span = hand_span(500 * 0.89, 1500 * 0.89, 2500 * 0.89, 0.1);
    span.mean_frame_us = 20000 * 0.89;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADJUST);
    assert_int_equal(plan->advice[0].what, SPW_DO_CLOCK);
    assert_says(plan->advice[0].why, "by 1.1236");
    assert_null(advice(plan, SPW_DO_SETTING)); /* the clock alone closes the gap */
    spw_plan_free(plan);
    bench = asked_frame(false);
    plan = hand_plan(&span, &bench); /* cannot be set: an adapter, with the clock told first */
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_int_equal(plan->advice[0].what, SPW_DO_CLOCK);
    spw_plan_free(plan);
}

static void test_prescaler(void **state) {
    (void)state;
    spw_bench bench = asked_frame(false);
    spw_span span = hand_span(250, 750, 1250, 0.1);
    span.mean_frame_us = 10000;
    span.shortest_frame_us = 9999;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_HELP);
    assert_false(plan->has_remap);
    assert_says(plan->advice[0].why, "timer clock or prescaler");
    spw_plan_free(plan);
}

static void test_frame_fit(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    span.shortest_frame_us = 2500; /* 400 Hz: a widened pulse is always high */
    span.mean_frame_us = 2500;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_HELP);
    assert_false(plan->has_remap);
    assert_says(advice(plan, SPW_DO_SETTING), "357 frames a second at most"); /* 1e6 / 2800 */
    spw_plan_free(plan);
    span.shortest_frame_us = 3000; /* 333 Hz leaves 500 us */
    span.mean_frame_us = 3000;
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_near(plan->after.shortest_gap_us, 500, 1e-9);
    spw_plan_free(plan);
    span.shortest_frame_us = 2799;
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_HELP);
    spw_plan_free(plan);
    span.shortest_frame_us = 2801;
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    spw_plan_free(plan);
}

static void test_fast_frame(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.fastest_frame_hz = 60;
    spw_span span = hand_span(500, 1500, 2500, 0.1);
    span.mean_frame_us = span.shortest_frame_us = 9000;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    assert_says(advice(plan, SPW_DO_SETTING), "a frame of 16667 us or longer");
    spw_plan_free(plan);
    span.mean_frame_us = 18000;
    plan = hand_plan(&span, &bench);
    assert_null(advice(plan, SPW_DO_SETTING));
    spw_plan_free(plan);
}

static void test_narrow_pulses(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(500, 760, 1000, 0.1);
    span.mean_frame_us = span.shortest_frame_us = 3000;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_HELP);
    assert_says(plan->summary, "do not widen them to 500 to 2500 us");
    assert_false(plan->has_remap);
    spw_plan_free(plan);
    bench.servo.expected_high_us = 1000; /* the bench file knows */
    bench.servo.neutral_us = 760;
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    spw_plan_free(plan);
}

static void test_continuous(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.mode = SPW_SERVO_CONTINUOUS;
    bench.servo.stop_low_us = 1490;
    bench.servo.stop_high_us = 1510;
    bench.servo.rpm_per_us = 0.12;
    spw_plan *plan = hand_plan_of(1000, 1514, 2000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_HELP);
    assert_false(plan->has_remap);
    assert_says(advice(plan, SPW_DO_SETTING), "scale the commands");
    assert_says(advice(plan, SPW_DO_TRIM), "Trim neutral by -14.0 us");
    assert_near(plan->before.creep_rpm, 0.48, 1e-9);
    assert_false(plan->joint.known);
    spw_plan_free(plan);
    plan = hand_plan_of(500, 1500, 2500, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    assert_int_equal(plan->advices, 0);
    assert_near(plan->before.creep_rpm, 0, 0);
    spw_plan_free(plan);
}

static void test_joint_has_it_already(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    bench.joint.reduction = 2;
    bench.joint.needed_deg = 40;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    assert_int_equal(plan->joint.before, SPW_REACHED_YES);
    assert_says(plan->summary, "40 degrees");
    spw_plan_free(plan);
}

static void test_joint_and_gearing(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    bench.joint.reduction = 2;
    bench.joint.needed_deg = 80;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_int_equal(plan->joint.before, SPW_REACHED_NO);
    assert_int_equal(plan->joint.after, SPW_REACHED_YES);
    assert_near(plan->joint.reduction_that_would_do, 90.0 / 80, 1e-9);
    assert_null(advice(plan, SPW_DO_GEARING));
    spw_plan_free(plan);
    bench.joint.needed_deg = 120; /* 90 with the adapter: gearing as well */
    plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_int_equal(plan->joint.after, SPW_REACHED_NO);
    assert_says(advice(plan, SPW_DO_GEARING), "reduction of 0.75 or less would do (it is 2)");
    assert_says(advice(plan, SPW_DO_GEARING), "with the adapter one of 1.5 or less");
    assert_int_equal(plan->advice[plan->advices - 1].what, SPW_DO_ADAPTER);
    spw_plan_free(plan);
    plan = hand_plan_of(500, 1500, 2500, &bench); /* nothing to widen */
    assert_int_equal(plan->decision, SPW_DECISION_NO_HELP);
    assert_says(advice(plan, SPW_DO_GEARING), "1.5 or less would do");
    spw_plan_free(plan);
}

/* 108 degrees now, 120 with the end points set: gearing is for what is left. */
static void test_setting_before_gearing(void **state) {
    (void)state;
    spw_bench bench = adjustable();
    bench.servo.travel_deg = 120;
    bench.joint.needed_deg = 115;
    spw_plan *plan = hand_plan_of(600, 1500, 2400, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADJUST);
    assert_null(advice(plan, SPW_DO_GEARING));
    spw_plan_free(plan);
    bench.joint.needed_deg = 130;
    plan = hand_plan_of(600, 1500, 2400, &bench);
    assert_non_null(advice(plan, SPW_DO_GEARING));
    spw_plan_free(plan);
}

static void test_needed_does_not_fit_allowed(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    bench.joint.needed_deg = 120;
    bench.joint.allowed_low_deg = -30;
    bench.joint.allowed_high_deg = 60;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_true(plan->joint.beyond_allowed);
    assert_int_equal(plan->joint.after, SPW_REACHED_NO);
    assert_says(advice(plan, SPW_DO_GEARING), "only 90 are allowed");
    spw_plan_free(plan);
}

static void test_undecided_end(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(509.5, 1500, 2500, 2);
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_int_equal(plan->low.verdict, SPW_END_UNDECIDED);
    assert_int_equal(plan->advice[0].what, SPW_DO_MEASURE_AGAIN);
    assert_says(plan->advice[0].why, "1600 frames a hold would decide it");
    assert_true(plan->recipes >= 1);
    assert_says(plan->recipe[0], "each for 32 s or longer (1600 frames");
    assert_false(plan->has_remap);
    spw_plan_free(plan);
    /* the other end is short: the answer is the same whatever this one is */
    span = hand_span(509.5, 1500, 2000, 2);
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    spw_plan_free(plan);
    /* beyond at one end, undecided on the inner side of the other: limit or adapter? */
    span = hand_span(509.5, 1500, 2600, 2);
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    spw_plan_free(plan);
}

static void test_frames_cannot_decide(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(509.9, 1500, 2500, 1);
    span.low.u_own = 0.01;
    span.low.u_shared = 0.51;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(plan->recipe[plan->recipes - 1], "--known-frame-us");
    spw_plan_free(plan);
}

static void test_coarse_sampling(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(505, 1500, 2500, 1.959963984540054 * 10 * SPW_SAMPLING_U);
    span.low.u_sampling = span.low.u_own;
    span.high.u_sampling = span.high.u_own;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(plan->recipe[plan->recipes - 1], "sample faster: a step of 5.13 us");
    spw_plan_free(plan);
}

static void test_an_end_was_not_captured(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = hand_plan_of(1000, NAN, 1510, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(plan->advice[0].why, "an end was probably not captured");
    assert_says(plan->recipe[0], "Missing so far: the high end.");
    spw_plan_free(plan);
    plan = hand_plan_of(1000, NAN, 1710, &bench); /* 210 us of 2000 from neutral: an end */
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    spw_plan_free(plan);
    plan = hand_plan_of(1000, 1400, 1510, &bench); /* three levels were seen */
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    spw_plan_free(plan);
}

static void test_unknown_span(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_hold hold = hand_hold(0, 1500, 0.1, 100);
    spw_channel channel = hand_channel(&hold, 1);
    const spw_channel *channels[] = {&channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(plan->advice[0].why, "one level only, 1500.0 us");
    assert_int_equal(plan->recipes, 2);
    assert_true(isnan(plan->range_covered_percent) && isnan(plan->before.low_us));
    spw_plan_free(plan);
}

static void test_bent_needs_neutral(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.adapter.neutral = SPW_REMAP_BENT;
    spw_plan *plan = hand_plan_of(1000, NAN, 2000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(plan->recipe[0], "Missing so far: neutral.");
    spw_plan_free(plan);
    plan = hand_plan_of(500, NAN, 2500, &bench); /* no remap, no neutral needed */
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    spw_plan_free(plan);
}

static void test_advice_is_in_order(void **state) {
    (void)state;
    spw_bench bench = asked_frame(false);
    bench.servo.travel_deg = 180;
    bench.servo.fastest_frame_hz = 40;
    bench.joint.needed_deg = 300;
    spw_span span = hand_span(1000 * 1.05, 1500 * 1.05, 2000 * 1.05, 0.1);
    span.mean_frame_us = 21000;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_true(plan->advices >= 3);
    for (size_t i = 1; i < plan->advices; i++)
        assert_true(plan->advice[i - 1].what <= plan->advice[i].what);
    spw_plan_free(plan);
}

static void test_cautions(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    spw_text all = {0};
    for (size_t i = 0; i < plan->cautions; i++)
        spw_text_puts(&all, plan->caution[i]);
    assert_says(all.data, "fingers");
    assert_says(all.data, "horn off");
    assert_says(all.data, "event's rules, local codes");
    spw_text_free(&all);
    spw_plan_free(plan);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_needed),
        cmocka_unit_test(test_setting_first),
        cmocka_unit_test(test_value_to_set_follows_the_source),
        cmocka_unit_test(test_configured_is_not_measured),
        cmocka_unit_test(test_plateau),
        cmocka_unit_test(test_trim),
        cmocka_unit_test(test_clock),
        cmocka_unit_test(test_prescaler),
        cmocka_unit_test(test_frame_fit),
        cmocka_unit_test(test_fast_frame),
        cmocka_unit_test(test_narrow_pulses),
        cmocka_unit_test(test_continuous),
        cmocka_unit_test(test_joint_has_it_already),
        cmocka_unit_test(test_joint_and_gearing),
        cmocka_unit_test(test_setting_before_gearing),
        cmocka_unit_test(test_needed_does_not_fit_allowed),
        cmocka_unit_test(test_undecided_end),
        cmocka_unit_test(test_frames_cannot_decide),
        cmocka_unit_test(test_coarse_sampling),
        cmocka_unit_test(test_an_end_was_not_captured),
        cmocka_unit_test(test_unknown_span),
        cmocka_unit_test(test_bent_needs_neutral),
        cmocka_unit_test(test_advice_is_in_order),
        cmocka_unit_test(test_cautions),
    };
    return cmocka_run_group_tests_name("decision", tests, NULL, NULL);
}
