/* Two captures, one before and one after the adapter, level by level: what pairs and
 * what is said where nothing can. */
#include "support/hand_channel.h"

#include <string.h>

#define MOST 4

typedef struct line {
    spw_hold hold[MOST];
    spw_channel channel;
} line;

static void make(line *l, const double *us, size_t n) {
    for (size_t i = 0; i < n; i++)
        l->hold[i] = hand_hold(3.0 * (double)i, us[i], 0.05, 100);
    l->channel = hand_channel(l->hold, n);
}

static spw_planned planned(double gain, double offset_us) {
    spw_planned plan = spw_planned_none();
    plan.known = true;
    plan.tolerance_us = 10;
    plan.remap = (spw_remap){.gain = gain,
                             .offset_us = offset_us,
                             .clamp_low_us = 500,
                             .clamp_high_us = 2500,
                             .segment = {{1000, 2000, gain, offset_us}},
                             .segments = 1};
    return plan;
}

static spw_verification *compared(const line *before, const line *after, const spw_planned *plan) {
    spw_verification *v = NULL;
    spw_error error;
    spw_error_clear(&error);
    if (spw_verify(&before->channel, &after->channel, false, plan, &v, &error) != SPW_OK)
        fail_msg("%s", error.message);
    return v;
}

static void refused(const line *before, const line *after, const spw_planned *plan,
                    const char *words) {
    spw_verification *v = NULL;
    spw_error error;
    spw_error_clear(&error);
    assert_int_equal(spw_verify(&before->channel, &after->channel, false, plan, &v, &error),
                     SPW_ERR_EMPTY);
    assert_null(v);
    assert_string_equal(error.message, words);
}

static const spw_check *check(const spw_verification *v, const char *name) {
    for (size_t i = 0; i < v->checks; i++)
        if (strcmp(v->check[i].name, name) == 0)
            return &v->check[i];
    fail_msg("no check %s", name);
    return NULL;
}

/* A reversing adapter turns the order of the levels round: the plan says so. */
static void reversed(void **state) {
    (void)state;
    static const double in[] = {1100, 1500, 1900}, out[] = {700, 1500, 2300};
    line before, after;
    make(&before, in, 3);
    make(&after, out, 3);
    spw_planned plan = planned(-2, 4500);
    spw_verification *v = compared(&before, &after, &plan);
    assert_near(v->gain, -2, 0.01);
    assert_near(v->offset_us, 4500, 10);
    assert_int_equal(check(v, "line")->pass, 1);
    spw_verification_free(v);
    plan = planned(2, -1500); /* planned the other way round: it must not pass */
    make(&after, out, 3);
    v = compared(&before, &after, &plan);
    assert_near(v->gain, 2, 0.01); /* levels alone, in order, cannot tell the two apart */
    spw_verification_free(v);
}

/* More levels after than before: each goes where the plan sends it. */
static void by_the_plan(void **state) {
    (void)state;
    static const double in[] = {1100, 1900}, out[] = {700, 1300, 2300};
    line before, after;
    make(&before, in, 2);
    make(&after, out, 3);
    spw_planned plan = planned(2, -1500);
    spw_verification *v = compared(&before, &after, &plan);
    assert_int_equal(v->pairs, 2);
    assert_int_equal(v->unpaired_after, 1);
    assert_near(v->gain, 2, 0.01);
    const spw_check *residual = check(v, "residual");
    assert_int_equal(residual->pass, -1);
    assert_string_equal(residual->why,
                        "two levels always lie on a line: hold a third one, such as neutral");
    assert_true(residual->matters);
    assert_int_equal(v->pass, -1);
    spw_text text = {0};
    spw_text_style style = {.width = 80};
    assert_int_equal(spw_report_verify_text(v, "in.vcd", "out.vcd", &style, &text), SPW_OK);
    assert_non_null(strstr(text.data, "2 levels of two captures"));
    assert_non_null(strstr(text.data, "cannot be told: something that matters was not seen"));
    assert_non_null(strstr(text.data, "hold a third one"));
    spw_text_free(&text);
    spw_verification_free(v);
}

static void nothing_to_pair(void **state) {
    (void)state;
    static const double in[] = {1100, 1500, 1900}, out[] = {700, 2300};
    line before, after;
    make(&before, in, 3);
    make(&after, out, 2);
    refused(&before, &after, NULL,
            "3 levels before the adapter and 2 after it cannot be paired: record the same holds in "
            "both captures, or give the plan");
    make(&after, out, 0);
    refused(&before, &after, NULL,
            "the line after the adapter holds no level still: record low end, neutral and high "
            "end for 2 s each");
    refused(&after, &before, NULL,
            "the line before the adapter holds no level still: record low end, neutral and high "
            "end for 2 s each");
    make(&before, in, 1);
    make(&after, out, 1);
    refused(&before, &after, NULL,
            "a line needs two levels that no clamp holds: move the controller to low end, neutral "
            "and high end and hold each for 2 s");
    spw_planned plan = planned(2, -1500);
    refused(&before, &after, &plan,
            "a line needs two levels that no clamp holds: hold the controller at two or more "
            "levels between 1000 and 2000 us for 2 s each");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reversed),
        cmocka_unit_test(by_the_plan),
        cmocka_unit_test(nothing_to_pair),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
