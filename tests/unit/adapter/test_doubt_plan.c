/* What a plan says of a recording in doubt, and of an inverted line. */
#include "support/hand_channel.h"

#include <string.h>

static const char *advice(const spw_plan *plan, spw_advice_do what) {
    for (size_t i = 0; i < plan->advices; i++)
        if (plan->advice[i].what == what)
            return plan->advice[i].why;
    return NULL;
}

static bool cautions(const spw_plan *plan, const char *words) {
    for (size_t i = 0; i < plan->cautions; i++)
        if (strstr(plan->caution[i], words) != NULL)
            return true;
    return false;
}

static void assert_says(const char *sentence, const char *words) {
    assert_non_null(sentence);
    if (strstr(sentence, words) == NULL)
        fail_msg("\"%s\" does not say \"%s\"", sentence, words);
}

static spw_span doubted(double low_us, double high_us, uint32_t what, double bound_us) {
    spw_span span = hand_span(low_us, (low_us + high_us) / 2, high_us, 0.1);
    span.low.doubt = span.high.doubt = span.neutral.doubt = (spw_doubt){what, 0, 7, bound_us};
    span.doubt = span.low.doubt;
    return span;
}

/* Clipped: sent 1000 to 2000, read 980.8 to 2019.2. Whatever is expected, nothing is firm. */
static void test_clipped_decides_nothing(void **state) {
    (void)state;
    static const double expected[][2] = {{1000, 2000}, {500, 2500}, {980.8, 2019.2}, {1200, 1800}};
    spw_bench bench = spw_bench_defaults();
    spw_span span = doubted(980.766, 2019.234, SPW_DOUBT_CLIPPING, NAN);
    for (size_t i = 0; i < 4; i++) {
        for (int set = 0; set < 4; set++) {
            bench.servo.expected_low_us = expected[i][0];
            bench.servo.expected_high_us = expected[i][1];
            bench.controller.adjustable = (set & 1) != 0;
            bench.adapter.reverse = (set & 2) != 0;
            spw_plan *plan = hand_plan(&span, &bench);
            assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
            assert_int_equal(plan->low.verdict, SPW_END_UNDECIDED);
            assert_int_equal(plan->high.verdict, SPW_END_UNDECIDED);
            assert_false(plan->has_remap || plan->fixed_point.known);
            assert_int_equal(plan->advices, 1);
            assert_true(strncmp(plan->advice[0].why,
                                "Lower the recording level by 6 dB and record again: ", 52) == 0);
            assert_says(plan->summary, "Measure again: the recording clips");
            spw_plan_free(plan);
        }
    }
}

/* One end only: the other one, far short, plans no adapter either. */
static void test_one_end_in_doubt(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2003.9, 0.1);
    span.high.doubt = (spw_doubt){SPW_DOUBT_CLIPPING, 6, 8, NAN};
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_int_equal(plan->low.verdict, SPW_END_SHORT);
    assert_says(advice(plan, SPW_DO_MEASURE_AGAIN),
                "the recording clips (from 6.000 to 8.000 s), and how far that moves the high end");
    spw_plan_free(plan);
}

/* 1 us of a codec: far from the tolerance it changes nothing but is said, near to it it asks. */
static void test_known_bound(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = doubted(1000, 2000, SPW_DOUBT_LOSSY, 1);
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_true(cautions(plan,
                         "In doubt: the low end, neutral, the high end, as the recording went "
                         "through a lossy codec; by at most another 1 us."));
    assert_near(plan->before.low_U95_us, 1.1, 1e-9);
    assert_near(plan->after.low_U95_us, 2.2, 1e-6);
    spw_plan_free(plan);
    span = doubted(509.5, 2500, SPW_DOUBT_LOSSY, 1);
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(advice(plan, SPW_DO_MEASURE_AGAIN), "Record again uncompressed");
    spw_plan_free(plan);
    span = doubted(508.8, 2500, SPW_DOUBT_LOSSY, 1);
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_NO_ADAPTER);
    spw_plan_free(plan);
}

static void test_neutral_in_doubt(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1530, 2000, 0.1);
    span.neutral.doubt = (spw_doubt){SPW_DOUBT_CLIPPING, 3, 4, NAN};
    bench.adapter.neutral = SPW_REMAP_BENT;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(plan->summary, "neutral (it reads 1530.0 us) is not known");
    spw_plan_free(plan);
    for (int more = 0; more < 2; more++) { /* what the servo tolerates does not matter */
        span.neutral.doubt.bound_us = more ? 10.1 : 9.9;
        plan = hand_plan(&span, &bench);
        assert_int_equal(plan->decision, more ? SPW_DECISION_MEASURE_AGAIN : SPW_DECISION_ADAPTER);
        spw_plan_free(plan);
    }
    span.neutral.doubt.bound_us = NAN;
    /* a straight remap needs none; and nobody is told to trim by what is not known */
    bench.adapter.neutral = SPW_REMAP_STRAIGHT;
    plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_true(
        cautions(plan, "In doubt: neutral, as the recording clips; by how much is not known."));
    spw_plan_free(plan);
    span = hand_span(500, 1530, 2500, 0.1);
    span.neutral.doubt = (spw_doubt){SPW_DOUBT_CLIPPING, 3, 4, NAN};
    plan = hand_plan(&span, &bench);
    assert_null(advice(plan, SPW_DO_TRIM));
    span.neutral.doubt.bound_us = 5;
    spw_plan_free(plan);
    plan = hand_plan(&span, &bench);
    assert_non_null(advice(plan, SPW_DO_TRIM));
    spw_plan_free(plan);
}

/* The joint's verdict, a limit of the source and the clock follow the same rule. */
static void test_nothing_else_is_firm(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    bench.servo.travel_deg = 180;
    bench.joint.needed_deg = 60;
    bench.controller.asked_low_us = 500;
    bench.controller.asked_high_us = 2500;
    bench.servo.dead_band_us = 4;
    spw_span span = doubted(980.8, 2019.2, SPW_DOUBT_CLIPPING, NAN);
    span.jitter_rms_us = 3;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->joint.before, SPW_REACHED_UNDECIDED);
    assert_int_equal(plan->before.hunts, -1);
    assert_false(cautions(plan, "hunt"));
    assert_null(advice(plan, SPW_DO_SETTING));
    assert_null(advice(plan, SPW_DO_CLOCK));
    assert_true(isnan(plan->clock.width_ratio));
    spw_plan_free(plan);
    bench.joint.allowed_low_deg = -20;
    bench.joint.allowed_high_deg = 20;
    bench.joint.needed_deg = 30;
    plan = hand_plan(&span, &bench);
    assert_false(plan->joint.beyond_allowed);
    spw_plan_free(plan);
    spw_span sound = hand_span(980.8, 1500, 2019.2, 0.1);
    plan = hand_plan(&sound, &bench);
    assert_true(plan->joint.beyond_allowed);
    spw_plan_free(plan);
}

static void test_no_span_names_the_cure(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    span.known = false;
    (void)strcpy(span.reason, "nothing stood still");
    span.doubt = (spw_doubt){SPW_DOUBT_SATURATION, 0, 7, NAN};
    spw_plan *plan = hand_plan(&span, &bench);
    assert_says(advice(plan, SPW_DO_MEASURE_AGAIN), "Lower the recording level by 6 dB");
    assert_says(advice(plan, SPW_DO_MEASURE_AGAIN), "and nothing stood still.");
    spw_plan_free(plan);
}

static void test_left_out_is_said(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    span.left_out = 3;
    span.left_doubt = (spw_doubt){SPW_DOUBT_CLIPPING, 9, 15, NAN};
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_true(cautions(plan, "3 holds in doubt stayed out of the ends (the recording clips)"));
    spw_plan_free(plan);
}

/* An inverted line is a fault of its own and comes before any adapter; a sound card may have
 * turned its recording over, which is none. */
static void test_inverted_line(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    span.wire = SPW_WIRE_INVERTED;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_ADAPTER);
    assert_int_equal(plan->advice[0].what, SPW_DO_POLARITY);
    assert_string_equal(spw_advice_do_name(plan->advice[0].what), "setting");
    assert_says(plan->advice[0].why, "it is inverted");
    assert_says(plan->summary, "The line is inverted, and a servo does not follow it. ");
    spw_plan_free(plan);
    static const spw_wire quiet[] = {SPW_WIRE_UPRIGHT, SPW_WIRE_UNKNOWN, SPW_WIRE_MAYBE_INVERTED};
    for (size_t i = 0; i < 3; i++) {
        span.wire = quiet[i];
        plan = hand_plan(&span, &bench);
        assert_null(advice(plan, SPW_DO_POLARITY));
        assert_null(strstr(plan->summary, "inverted"));
        assert_false(cautions(plan, "invert"));
        spw_plan_free(plan);
    }
}

/* Figures of the positive reading under a mere warning would plan the wrong adapter. */
static void test_undecided_polarity(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    spw_span span = hand_span(1000, 1500, 2000, 0.1);
    span.wire = SPW_WIRE_UNDECIDED;
    spw_plan *plan = hand_plan(&span, &bench);
    assert_int_equal(plan->decision, SPW_DECISION_MEASURE_AGAIN);
    assert_says(plan->advice[0].why, "Say which polarity the line has (--polarity positive");
    spw_plan_free(plan);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_clipped_decides_nothing),
        cmocka_unit_test(test_one_end_in_doubt),
        cmocka_unit_test(test_known_bound),
        cmocka_unit_test(test_neutral_in_doubt),
        cmocka_unit_test(test_nothing_else_is_firm),
        cmocka_unit_test(test_no_span_names_the_cure),
        cmocka_unit_test(test_left_out_is_said),
        cmocka_unit_test(test_inverted_line),
        cmocka_unit_test(test_undecided_polarity),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
