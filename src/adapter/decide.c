/* From the verdicts to one decision, and the remap that goes with it. */
#include "adapter/planning.h"

#include <math.h>

bool spw_planner_end_is(const spw_planner *p, int sign, spw_end_verdict verdict) {
    return (sign <= 0 && p->low.verdict == verdict) || (sign >= 0 && p->high.verdict == verdict);
}

/* Of one end: the joint's limit lies inside of the servo's where it narrows the range. */
static spw_bound_by beyond_at(const spw_end *end, const spw_end *of_servo, bool narrowed) {
    if (end->verdict != SPW_END_BEYOND)
        return SPW_BOUND_BY_NONE;
    if (!narrowed)
        return SPW_BOUND_BY_SERVO;
    return of_servo->verdict == SPW_END_BEYOND ? SPW_BOUND_BY_BOTH : SPW_BOUND_BY_JOINT;
}

spw_bound_by spw_planner_beyond(const spw_planner *p, int sign) {
    const spw_servo *servo = &p->bench->servo;
    spw_bound_by low = beyond_at(&p->low, &p->plan->low, p->target_low > servo->expected_low_us);
    spw_bound_by high =
        beyond_at(&p->high, &p->plan->high, p->target_high < servo->expected_high_us);
    if (sign != 0)
        return sign < 0 ? low : high;
    if (low == SPW_BOUND_BY_NONE || low == high)
        return high;
    return high == SPW_BOUND_BY_NONE ? low : SPW_BOUND_BY_BOTH;
}

bool spw_planner_clock_off(const spw_planner *p) {
    const spw_clock *clock = &p->plan->clock;
    return (clock->verdict == SPW_CLOCK_SCALED || clock->verdict == SPW_CLOCK_DOUBLED) &&
           fabs(clock->width_ratio - 1) > 0.001 && isfinite(clock->correction);
}

/* How far an end stays inside of what was asked; 0 when nothing was asked. */
static double inside_of_asked(const spw_planner *p, int sign) {
    const spw_controller *asked = &p->bench->controller;
    double by =
        sign > 0 ? asked->asked_high_us - p->span->high.us : p->span->low.us - asked->asked_low_us;
    return isnan(by) ? 0 : by;
}

bool spw_planner_clamped(const spw_planner *p, int sign) {
    if (spw_planner_clock_off(p) || !p->span->known)
        return false;
    const spw_span_point *point = sign > 0 ? &p->span->high : &p->span->low;
    double step = isfinite(p->span->step_us) ? p->span->step_us : 0;
    double slack = p->bench->servo.tolerance_us + (isfinite(point->U95) ? point->U95 : 0) + step +
                   spw_doubt_reach_us(&point->doubt);
    double here = inside_of_asked(p, sign), there = inside_of_asked(p, -sign);
    /* Every width off by one factor is a scale: no limit lets the other end go beyond. */
    if (p->plan->clock.one_factor && there < -slack)
        return false;
    /* Both ends shifted alike is a trim, not a limit. */
    return here > slack && fabs(here + there) > slack;
}

bool spw_planner_setting_helps(const spw_planner *p) {
    if (!p->bench->controller.adjustable)
        return false;
    bool low = spw_planner_end_is(p, -1, SPW_END_SHORT);
    bool high = spw_planner_end_is(p, 1, SPW_END_SHORT);
    if ((low && spw_planner_clamped(p, -1)) || (high && spw_planner_clamped(p, 1)))
        return false;
    return !(low && !isnan(p->span->saturates_low_us)) &&
           !(high && !isnan(p->span->saturates_high_us));
}

static void say_covered(const spw_planner *p, spw_text *text) {
    spw_text_printf(text,
                    "the pulses go from %.1f to %.1f us, which is %.0f %% of the expected %.7g to "
                    "%.7g us",
                    p->span->low.us, p->span->high.us, p->plan->range_covered_percent,
                    p->bench->servo.expected_low_us, p->bench->servo.expected_high_us);
    if (p->allowed_narrows)
        spw_text_printf(text, " (the joint allows %.1f to %.1f us)", p->target_low, p->target_high);
}

static void decide(spw_planner *p, spw_decision decision, const char *before, const char *after) {
    spw_text text = {0};
    spw_text_puts(&text, before);
    say_covered(p, &text);
    spw_text_puts(&text, after);
    spw_planner_decide(p, decision, &text);
}

static void put_remap(spw_planner *p, bool limit) {
    p->plan->has_remap = true;
    p->plan->remap = spw_remap_make(p, limit);
    p->plan->has_after = true;
    p->plan->after = spw_effect_after(p, &p->plan->remap);
}

static void decide_covered(spw_planner *p) {
    if (p->plan->joint.before == SPW_REACHED_NO)
        decide(p, SPW_DECISION_NO_HELP,
               "No adapter helps: ", "; what the joint lacks is gearing, not range.");
    else
        decide(p, SPW_DECISION_NO_ADAPTER, "No adapter is needed: ", ".");
}

static void decide_beyond(spw_planner *p) {
    bool set = p->bench->controller.adjustable;
    spw_text text = {0};
    if (!set)
        put_remap(p, true);
    spw_text_puts(&text,
                  set ? "A setting of the controller will do: " : "The pulses must be limited: ");
    say_covered(p, &text);
    spw_text_printf(&text, ", so part of it lies beyond %s%s.",
                    spw_bound_by_words(p->plan->bound_by),
                    set ? "; see the advice for the values" : "");
    spw_planner_decide(p, set ? SPW_DECISION_ADJUST : SPW_DECISION_LIMIT, &text);
}

static void refuse_frame(spw_planner *p) {
    spw_text text = {0};
    double longest = p->target_high - p->bench->adapter.margin_us;
    spw_text_printf(
        &text,
        "No adapter fits: a widened pulse of %.7g us and a pause of %.7g us do not go "
        "into the shortest frame, %.1f us; at %.0f frames a second or fewer they would.",
        longest, p->bench->adapter.gap_us, p->span->shortest_frame_us,
        floor(1e6 / (longest + p->bench->adapter.gap_us)));
    spw_planner_decide(p, SPW_DECISION_NO_HELP, &text);
}

static void decide_short(spw_planner *p) {
    if (p->plan->joint.before == SPW_REACHED_YES && !p->bench->adapter.reverse &&
        !spw_planner_end_is(p, 0, SPW_END_BEYOND)) {
        spw_text text = {0};
        spw_text_printf(&text,
                        "No adapter is needed: the joint has to turn %.4g degrees and the pulses "
                        "sent now, %.1f to %.1f us, turn it %.4g.",
                        p->bench->joint.needed_deg, p->span->low.us, p->span->high.us,
                        p->plan->before.joint.travel);
        spw_planner_decide(p, SPW_DECISION_NO_ADAPTER, &text);
        return;
    }
    if (spw_planner_setting_helps(p)) {
        decide(p, SPW_DECISION_ADJUST,
               "A setting of the controller will do: ", "; see the advice for the values.");
        return;
    }
    if (!p->frame_fits) {
        refuse_frame(p);
        return;
    }
    put_remap(p, false);
    decide(p, SPW_DECISION_ADAPTER, "An adapter closes the gap: ", ".");
}

/* A factor of two is repaired, not remapped; any clock that can be set comes first. */
static bool decide_clock(spw_planner *p) {
    if (!spw_planner_clock_off(p))
        return false;
    bool doubled = p->plan->clock.verdict == SPW_CLOCK_DOUBLED;
    if (!p->bench->controller.adjustable && !doubled)
        return false;
    spw_text text = {0};
    spw_text_printf(&text,
                    "%s: its times are %.4g times what was asked, and that is a clock, not the "
                    "range; corrected, they go from %.1f to %.1f us.",
                    p->bench->controller.adjustable ? "A clock setting comes first"
                                                    : "A range adapter is the wrong cure",
                    1 / p->plan->clock.correction, p->span->low.us * p->plan->clock.correction,
                    p->span->high.us * p->plan->clock.correction);
    spw_planner_decide(
        p, p->bench->controller.adjustable ? SPW_DECISION_ADJUST : SPW_DECISION_NO_HELP, &text);
    return true;
}

void spw_planner_choose(spw_planner *p) {
    spw_text why = {0};
    if (spw_planner_cannot_tell(p, &why)) {
        spw_planner_again(p, &why);
        return;
    }
    spw_text_free(&why);
    if (spw_planner_special(p))
        return;
    bool missing = spw_planner_end_is(p, 0, SPW_END_SHORT) || p->bench->adapter.reverse;
    bool beyond = spw_planner_end_is(p, 0, SPW_END_BEYOND);
    if ((missing || beyond) && decide_clock(p))
        return;
    if (missing)
        decide_short(p);
    else if (beyond)
        decide_beyond(p);
    else
        decide_covered(p);
}
