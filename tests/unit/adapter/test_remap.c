/* The remap against lines worked out by hand. The ranges are common practice:
 * 1000 to 2000 us from hobby links, 600 to 2400 and 544/1472/2400 from defaults. */
#include "support/hand_channel.h"

#include <string.h>

static void test_half_range(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_near(plan->range_covered_percent, 50, 1e-9);
    assert_near(plan->remap.gain, 2, 1e-12);
    assert_near(plan->remap.offset_us, -1500, 1e-9);
    assert_near(plan->remap.clamp_low_us, 500, 1e-9);
    assert_near(plan->remap.clamp_high_us, 2500, 1e-9);
    assert_near(plan->remap.neutral_error_us, 0, 1e-9);
    assert_near(plan->before.servo.travel, 90, 1e-9);
    assert_near(plan->after.servo.travel, 180, 1e-9);
    assert_near(plan->after.low_U95_us, 0.2, 1e-9);
    spw_plan_free(plan);
}

static void test_library_default(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    spw_plan *plan = hand_plan_of(544, 1472, 2400, &bench);
    assert_near(plan->range_covered_percent, 92.8, 1e-9);
    assert_near(plan->remap.gain, 2000.0 / 1856, 1e-12);
    assert_near(plan->remap.offset_us, 500 - 544 * 2000.0 / 1856, 1e-9);
    assert_near(plan->remap.neutral_error_us, 0, 1e-9);
    /* 28 us of 2000 us for 180 degrees: 2.52 degrees */
    assert_int_equal(plan->advices, 1);
    assert_non_null(strstr(plan->advice[0].why, "28.0 us off 1500 (2.52 degrees at the servo)"));
    spw_plan_free(plan);
    plan = hand_plan_of(600, 1500, 2400, &bench);
    assert_near(plan->range_covered_percent, 90, 1e-9);
    assert_near(plan->remap.gain, 2000.0 / 1800, 1e-12);
    spw_plan_free(plan);
}

static void test_bent_against_straight(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = hand_plan_of(993, 1551, 2008, &bench);
    assert_int_equal(plan->remap.segments, 1);
    assert_near(plan->remap.neutral_out_us, 500 + 2000.0 * (1551 - 993) / 1015, 1e-9);
    assert_near(plan->remap.neutral_error_us, 99.507389, 1e-6);
    assert_non_null(strstr(plan->advice[0].why, "bent remap"));
    spw_plan_free(plan);

    bench.adapter.neutral = SPW_REMAP_BENT;
    plan = hand_plan_of(993, 1551, 2008, &bench);
    assert_int_equal(plan->remap.kind, SPW_REMAP_BENT);
    assert_int_equal(plan->remap.segments, 2);
    assert_near(plan->remap.segment[0].gain, 1000.0 / 558, 1e-12);
    assert_near(plan->remap.segment[1].gain, 1000.0 / 457, 1e-12);
    assert_near(plan->remap.neutral_error_us, 0, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 993), 500, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 1551 + 1e-9), 1500, 1e-6);
    assert_near(spw_remap_apply(&plan->remap, 2008), 2500, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 100), 500, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 9000), 2500, 1e-9);
    spw_plan_free(plan);
}

static void test_reverse(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.adapter.reverse = true;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_near(plan->remap.gain, -2, 1e-12);
    assert_near(spw_remap_apply(&plan->remap, 1000), 2500, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 2100), 500, 1e-9);
    assert_near(plan->after.low_us, 500, 1e-9);
    assert_near(plan->after.high_us, 2500, 1e-9);
    spw_plan_free(plan);
    /* a span that meets is reversed all the same */
    plan = hand_plan_of(500, 1500, 2500, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_near(plan->remap.gain, -1, 1e-12);
    spw_plan_free(plan);
    bench.adapter.neutral = SPW_REMAP_BENT;
    plan = hand_plan_of(993, 1551, 2008, &bench);
    assert_near(plan->remap.segment[0].gain, -1000.0 / 558, 1e-12);
    assert_near(plan->remap.neutral_out_us, 1500, 1e-9);
    spw_plan_free(plan);
}

static void test_margin_moves_the_clamps_only(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.adapter.margin_us = 20;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_near(plan->remap.gain, 2, 1e-12);
    assert_near(plan->remap.clamp_low_us, 520, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 2000), 2480, 1e-9);
    spw_plan_free(plan);
}

static void test_limit(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = hand_plan_of(500, 1500, 2600, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_LIMIT);
    assert_int_equal(plan->high.verdict, SPW_END_BEYOND);
    assert_near(plan->remap.gain, 1, 0);
    assert_near(plan->remap.offset_us, 0, 0);
    assert_near(spw_remap_apply(&plan->remap, 2600), 2500, 0);
    assert_near(spw_remap_apply(&plan->remap, 1777), 1777, 0);
    assert_int_equal(plan->advice[0].what, SPW_DO_LIMIT);
    spw_plan_free(plan);
}

/* 180 degrees over 2000 us, no reduction: +-60 degrees are 833.3 .. 2166.7 us. */
static void test_never_opens_travel_the_joint_forbids(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    bench.joint.allowed_low_deg = -60;
    bench.joint.allowed_high_deg = 60;
    spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_near(plan->after.low_us, 1500 - 2000.0 / 3, 1e-9);
    assert_near(plan->after.high_us, 1500 + 2000.0 / 3, 1e-9);
    for (double in = 0; in < 4000; in += 7) {
        double out = spw_remap_apply(&plan->remap, in);
        assert_true(out >= 1500 - 2000.0 / 3 - 1e-9 && out <= 1500 + 2000.0 / 3 + 1e-9);
    }
    spw_plan_free(plan);
    bench.joint.reduction = 2; /* the servo turns twice as far: 90 degrees each way are 120 */
    plan = hand_plan_of(1000, 1500, 2000, &bench);
    assert_near(plan->after.high_us, 2500, 1e-9);
    spw_plan_free(plan);
    bench.joint.reduction = 1;
    plan = hand_plan_of(500, 1500, 2500, &bench); /* meets the servo, past the joint */
    assert_int_equal(plan->low.verdict, SPW_END_MEETS);
    assert_int_equal(plan->decision, SPW_DECISION_LIMIT);
    assert_true(plan->joint.beyond_allowed);
    assert_near(plan->remap.gain, 1, 0);
    assert_near(plan->after.high_us, 1500 + 2000.0 / 3, 1e-9);
    spw_plan_free(plan);
}

static void test_allowed_angles_that_leave_nothing(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    bench.joint.allowed_low_deg = 100;
    bench.joint.allowed_high_deg = 120;
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    spw_plan *plan = NULL;
    spw_error error;
    assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, &error), SPW_ERR_FORMAT);
    assert_null(plan);
}

static void test_servos_differ(void **state) {
    (void)state;
    static const double expected[][2] = {{470, 2270}, {450, 2450}, {600, 2100}};
    for (size_t i = 0; i < 3; i++) {
        spw_bench bench = spw_bench_defaults();
        bench.servo.expected_low_us = expected[i][0];
        bench.servo.expected_high_us = expected[i][1];
        spw_plan *plan = hand_plan_of(1000, 1500, 2000, &bench);
        assert_near(plan->remap.gain, (expected[i][1] - expected[i][0]) / 1000, 1e-12);
        assert_near(spw_remap_apply(&plan->remap, 5000), expected[i][1], 1e-9);
        assert_near(spw_remap_apply(&plan->remap, 0), expected[i][0], 1e-9);
        spw_plan_free(plan);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_half_range),
        cmocka_unit_test(test_library_default),
        cmocka_unit_test(test_bent_against_straight),
        cmocka_unit_test(test_reverse),
        cmocka_unit_test(test_margin_moves_the_clamps_only),
        cmocka_unit_test(test_limit),
        cmocka_unit_test(test_never_opens_travel_the_joint_forbids),
        cmocka_unit_test(test_allowed_angles_that_leave_nothing),
        cmocka_unit_test(test_servos_differ),
    };
    return cmocka_run_group_tests_name("remap", tests, NULL, NULL);
}
