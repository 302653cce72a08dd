/* Margins, tolerances and guard bands of a plan, each just inside and just outside. Values
 * worked out by hand: 2000 us of the servo's range turn it by 180 degrees, 0.09 degrees a us. */
#include "support/hand_channel.h"

#include <string.h>

static spw_plan *plan_with(double low_us, double high_us, double U95_us, const spw_bench *bench) {
    spw_span span = hand_span(low_us, (low_us + high_us) / 2, high_us, U95_us);
    return hand_plan(&span, bench);
}

static bool cautioned(const spw_plan *plan, const char *words) {
    for (size_t i = 0; i < plan->cautions; i++)
        if (strstr(plan->caution[i], words) != NULL)
            return true;
    return false;
}

static void margins_hold_the_output_inside(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.adapter.margin_us = 12;
    spw_plan *plan = plan_with(1000, 2000, 0.1, &bench);
    assert_near(plan->remap.clamp_low_us, 512, 1e-9);
    assert_near(plan->remap.clamp_high_us, 2488, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 1000), 512, 1e-9);
    assert_near(spw_remap_apply(&plan->remap, 2000), 2488, 1e-9);
    spw_plan_free(plan);
    /* limits, too */
    plan = plan_with(300, 2600, 0.1, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_LIMIT);
    assert_near(plan->remap.clamp_low_us, 512, 1e-9);
    assert_near(plan->remap.clamp_high_us, 2488, 1e-9);
    spw_plan_free(plan);
}

/* Both margins together have to leave room within the 1000 us that the joint allows. */
static void margins_need_room(void **state) {
    (void)state;
    static const struct {
        double margin_us;
        spw_status status;
    } all[] = {{499.9, SPW_OK}, {500, SPW_ERR_FORMAT}};
    for (size_t i = 0; i < 2; i++) {
        spw_bench bench = spw_bench_defaults();
        spw_span span = hand_span(1000, 1500, 2000, 0.1);
        spw_plan *plan = NULL;
        spw_error error;
        spw_error_clear(&error);
        bench.servo.travel_deg = 180;
        bench.joint.allowed_low_deg = -45;
        bench.joint.allowed_high_deg = 45;
        bench.adapter.margin_us = all[i].margin_us;
        assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, &error), all[i].status);
        if (all[i].status == SPW_OK)
            spw_plan_free(plan);
    }
}

/* 1000 to 2000 us turn the joint by 90 degrees; a miss of 10 us at either end does not
 * matter: 91.8; the U95 of both ends together is 0.013 degrees. */
static void the_joint_reaches(void **state) {
    (void)state;
    static const struct {
        double needed_deg;
        spw_reached reached;
    } all[] = {{91.78, SPW_REACHED_YES},
               {91.795, SPW_REACHED_UNDECIDED},
               {91.805, SPW_REACHED_UNDECIDED},
               {91.82, SPW_REACHED_NO}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        spw_bench bench = spw_bench_defaults();
        bench.servo.travel_deg = 180;
        bench.joint.needed_deg = all[i].needed_deg;
        spw_plan *plan = plan_with(1000, 2000, 0.1, &bench);
        assert_int_equal(plan->joint.before, all[i].reached);
        spw_plan_free(plan);
    }
}

/* Allowed -45 to 45 degrees: 1000 to 2000 us. Beyond by more than the tolerance of 10 us and
 * a U95 of 2 us, at either end. */
static void beyond_what_the_joint_allows(void **state) {
    (void)state;
    static const struct {
        double low_us, high_us;
        bool beyond;
    } all[] = {{988.1, 2011.9, false}, {987.9, 2000, true}, {1000, 2012.1, true}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        spw_bench bench = spw_bench_defaults();
        bench.servo.travel_deg = 180;
        bench.joint.allowed_low_deg = -45;
        bench.joint.allowed_high_deg = 45;
        spw_plan *plan = plan_with(all[i].low_us, all[i].high_us, 2, &bench);
        assert_int_equal(plan->joint.beyond_allowed, all[i].beyond);
        spw_plan_free(plan);
    }
}

/* Gain 2 makes 4.9 us 9.8, within the tolerance of 10, and 5.1 us 10.2. */
static void ends_behind_the_adapter_are_known_so_well(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_plan *plan = plan_with(1000, 2000, 4.9, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_false(cautioned(plan, "The ends behind the adapter are known to"));
    spw_plan_free(plan);
    plan = plan_with(1000, 2000, 5.1, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_true(cautioned(plan, "The ends behind the adapter are known to 10.2 us only"));
    spw_plan_free(plan);
}

/* A clock that is 4.6 % slow, and an adapter all the same. */
static void a_remap_does_not_outlive_its_clock(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.controller.asked_low_us = 1000;
    bench.controller.asked_neutral_us = 1500;
    bench.controller.asked_high_us = 2000;
    bench.controller.asked_frame_us = 20000;
    for (int slow = 0; slow < 2; slow++) {
        double by = slow ? 1.046 : 1;
        spw_span span = hand_span(1000 * by, 1500 * by, 2000 * by, 0.1);
        span.mean_frame_us = 20000 * by;
        spw_plan *plan = hand_plan(&span, &bench);
        assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
        assert_int_equal(cautioned(plan, "once the clock is put right it no longer fits"), slow);
        spw_plan_free(plan);
    }
}

/* Narrow-pulse servos (common practice): 760 us centre, 500 to 1000 us, 333 Hz and up. */
static void narrow_pulses_are_told(void **state) {
    (void)state;
    static const struct {
        double low_us, neutral_us, high_us, frame_us, expected_us;
        bool narrow;
    } all[] = {{500, 760, 1000, 3000, 2500, true},  {500, 760, 1149, 3000, 2500, true},
               {500, 760, 1151, 3000, 2500, false}, {500, 601, 1000, 3000, 2500, true},
               {500, 599, 1000, 3000, 2500, false}, {500, 899, 1000, 3000, 2500, true},
               {500, 901, 1000, 3000, 2500, false}, {500, 760, 1000, 3990, 2500, true},
               {500, 760, 1000, 4010, 2500, false}, {500, 760, 1000, 3000, 1651, true},
               {500, 760, 1000, 3000, 1649, false}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        spw_bench bench = spw_bench_defaults();
        bench.servo.expected_high_us = all[i].expected_us;
        spw_span span = hand_span(all[i].low_us, all[i].neutral_us, all[i].high_us, 0.1);
        span.mean_frame_us = all[i].frame_us;
        span.shortest_frame_us = all[i].frame_us - 1;
        spw_plan *plan = hand_plan(&span, &bench);
        bool told = strstr(plan->summary, "narrow-pulse servos") != NULL;
        if (told != all[i].narrow)
            fail_msg("case %zu: %s", i, plan->summary);
        spw_plan_free(plan);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins_hold_the_output_inside),
        cmocka_unit_test(margins_need_room),
        cmocka_unit_test(the_joint_reaches),
        cmocka_unit_test(beyond_what_the_joint_allows),
        cmocka_unit_test(ends_behind_the_adapter_are_known_so_well),
        cmocka_unit_test(a_remap_does_not_outlive_its_clock),
        cmocka_unit_test(narrow_pulses_are_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
