/* The plan as a whole. */
#include "adapter/planning.h"

#include <math.h>
#include <stdlib.h>

const char *spw_decision_name(spw_decision decision) {
    switch (decision) {
    case SPW_DECISION_NO_ADAPTER:
        return "no_adapter";
    case SPW_DECISION_ADJUST:
        return "adjust";
    case SPW_DECISION_ADAPTER:
        return "adapter";
    case SPW_DECISION_LIMIT:
        return "limit";
    case SPW_DECISION_NO_HELP:
        return "no_help";
    case SPW_DECISION_MEASURE_AGAIN:
        return "measure_again";
    }
    return "measure_again";
}

const char *spw_advice_do_name(spw_advice_do what) {
    switch (what) {
    case SPW_DO_MEASURE_AGAIN:
        return "measure_again";
    case SPW_DO_CLOCK:
        return "clock";
    case SPW_DO_ODD_PULSES:
        return "odd_pulses";
    case SPW_DO_POLARITY:
    case SPW_DO_SETTING:
        return "setting";
    case SPW_DO_TRIM:
        return "trim";
    case SPW_DO_LIMIT:
        return "limit";
    case SPW_DO_GEARING:
        return "gearing";
    case SPW_DO_ADAPTER:
        return "adapter";
    }
    return "measure_again";
}

const char *spw_bound_by_name(spw_bound_by by) {
    static const char *const name[] = {"none", "servo", "joint", "both"};
    return name[by];
}

const char *spw_bound_by_words(spw_bound_by by) {
    static const char *const words[] = {"nothing", "what the servo expects",
                                        "what the joint allows",
                                        "what the servo expects and the joint allows"};
    return words[by];
}

/* The part of the expected range that the span covers. */
static double covered_percent(const spw_span *span, const spw_servo *servo) {
    if (!span->known)
        return NAN;
    double both =
        fmin(span->high.us, servo->expected_high_us) - fmax(span->low.us, servo->expected_low_us);
    return 100 * fmax(0, both) / (servo->expected_high_us - servo->expected_low_us);
}

static void judge_ends(spw_planner *p) {
    const spw_servo *servo = &p->bench->servo;
    const spw_span *span = p->span;
    spw_plan *plan = p->plan;
    plan->low = spw_judge_end(&span->low, servo->expected_low_us, servo->tolerance_us, -1);
    plan->high = spw_judge_end(&span->high, servo->expected_high_us, servo->tolerance_us, 1);
    p->low = spw_judge_end(&span->low, p->target_low, servo->tolerance_us, -1);
    p->high = spw_judge_end(&span->high, p->target_high, servo->tolerance_us, 1);
    plan->allowed_low_us = p->target_low;
    plan->allowed_high_us = p->target_high;
    plan->allowed_low = p->low;
    plan->allowed_high = p->high;
    plan->bound_by = spw_planner_beyond(p, 0);
    plan->range_covered_percent = covered_percent(span, servo);
    double longest = p->target_high - p->bench->adapter.margin_us + p->bench->adapter.gap_us;
    p->frame_fits = !(longest > span->shortest_frame_us);
}

static void make(spw_planner *p, const spw_summary *period_us) {
    spw_plan *plan = p->plan;
    plan->span = *p->span;
    plan->servo = p->bench->servo;
    plan->adapter = p->bench->adapter;
    plan->after = spw_effect_none();
    judge_ends(p);
    plan->clock = spw_clock_check(p->span, period_us, &p->bench->controller);
    plan->before = spw_effect_before(p);
    spw_planner_joint(p);
    spw_planner_choose(p);
    spw_planner_joint(p); /* again, now that there may be an effect after */
    if (plan->has_remap)
        plan->fixed_point = spw_fixed_point_find(&plan->remap, p->bench->adapter.tick_us,
                                                 p->bench->adapter.word_bits,
                                                 period_us != NULL ? period_us->max : NAN);
    spw_planner_advice(p);
    spw_planner_cautions(p);
}

spw_status spw_plan_make(const spw_span *span, const spw_summary *period_us, const spw_bench *bench,
                         spw_plan **plan, spw_error *error) {
    spw_error_clear(error);
    spw_status status = spw_bench_check(bench, error);
    if (status != SPW_OK)
        return status;
    spw_planner p = {.span = span, .bench = bench, .plan = calloc(1, sizeof(spw_plan))};
    if (p.plan == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    if (!spw_planner_target(&p)) {
        status =
            spw_error_set(error, SPW_ERR_FORMAT,
                          "allowed_low_deg to allowed_high_deg leave the servo no room between "
                          "its expected ends (%.1f to %.1f us)",
                          p.target_low, p.target_high);
        goto done;
    }
    make(&p, period_us);
    if (p.failed) {
        status = spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
        goto done;
    }
    *plan = p.plan;
    p.plan = NULL;
done:
    spw_plan_free(p.plan);
    return status;
}

static void free_lines(char **lines, size_t n) {
    for (size_t i = 0; i < n; i++)
        free(lines[i]);
    free(lines);
}

void spw_plan_free(spw_plan *plan) {
    if (plan == NULL)
        return;
    for (size_t i = 0; i < plan->advices; i++)
        free(plan->advice[i].why);
    free(plan->advice);
    free_lines(plan->caution, plan->cautions);
    free_lines(plan->recipe, plan->recipes);
    free(plan->summary);
    free(plan);
}
