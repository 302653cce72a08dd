/* Cautions and doubts that few plans have. */
#include "support/hand_channel.h"

#include <string.h>

static spw_plan *plan_of(const spw_span *span, double frame_us, const spw_bench *bench) {
    spw_plan *plan = NULL;
    spw_error error;
    spw_summary period = spw_summary_none();
    spw_error_clear(&error);
    period.n = 1000;
    period.mean = period.min = period.max = frame_us;
    period.u = 0.01;
    if (spw_plan_make(span, &period, bench, &plan, &error) != SPW_OK)
        fail_msg("%s", error.message);
    return plan;
}

static void cautioned(const spw_plan *plan, const char *words) {
    for (size_t i = 0; i < plan->cautions; i++)
        if (strstr(plan->caution[i], words) != NULL)
            return;
    for (size_t i = 0; i < plan->cautions; i++)
        print_message("%s\n", plan->caution[i]);
    fail_msg("no caution says: %s", words);
}

static void neutral_outside(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    bench.servo.neutral_us = 2600;
    bench.adapter.neutral = SPW_REMAP_BENT;
    spw_plan *plan = plan_of(&span, 20000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_int_equal(plan->remap.kind, SPW_REMAP_STRAIGHT);
    cautioned(plan, "A bent remap was asked for");
    cautioned(plan, "neutral_us of the servo is not between its expected ends");
    spw_plan_free(plan);
}

/* Speed at neutral is told from the nearer stop pulse, with its sign. */
static void creeping(void **state) {
    (void)state;
    static const struct { double neutral_us, rpm; } all[] = {{1460, -15}, {1490, 0}, {1530, 10}};
    spw_bench bench = spw_bench_defaults();
    bench.servo.mode = SPW_SERVO_CONTINUOUS;
    bench.servo.stop_low_us = 1490;
    bench.servo.stop_high_us = 1510;
    bench.servo.rpm_per_us = 0.5;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        spw_span span = hand_span(1000, all[i].neutral_us, 2000, 0.1);
        spw_plan *plan = plan_of(&span, 20000, &bench);
        assert_near(plan->before.creep_rpm, all[i].rpm, 1e-9);
        spw_plan_free(plan);
    }
}

/* Two levels, one of them where neutral is: an end was not recorded. */
static void an_end_was_not_recorded(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span high = hand_span(1500, NAN, 2000, 0.1), low = hand_span(1000, NAN, 1500, 0.1);
    spw_plan *plan = plan_of(&high, 20000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_non_null(strstr(plan->summary, "1500"));
    spw_plan_free(plan);
    plan = plan_of(&low, 20000, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_non_null(strstr(plan->summary, "1500"));
    spw_plan_free(plan);
}

/* A remap that no ticks can hold: unknown, and said. */
static void no_integers(void **state) {
    (void)state;
    spw_remap remap = {.gain = 2, .clamp_low_us = 500, .clamp_high_us = 2500};
    assert_false(spw_fixed_point_find(&remap, 1, 32, 20000).known); /* no segment */
    remap.segments = 1;
    remap.segment[0] = (spw_segment){2000, 1000, 2, -1500};
    assert_false(spw_fixed_point_find(&remap, 1, 32, 20000).known); /* from above to */
    remap.segment[0] = (spw_segment){-5, 1000, 2, -1500};
    assert_false(spw_fixed_point_find(&remap, 1, 32, 20000).known); /* a negative input */
    remap.segment[0] = (spw_segment){1000, 2000, 2, -1500};
    assert_true(spw_fixed_point_find(&remap, 1, 32, 20000).known);
    remap.clamp_low_us = -10;
    assert_false(spw_fixed_point_find(&remap, 1, 32, 20000).known); /* a negative output */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(neutral_outside),
        cmocka_unit_test(creeping),
        cmocka_unit_test(an_end_was_not_recorded),
        cmocka_unit_test(no_integers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
