/* Advice that goes with the decision: limit, gearing, adapter. */
#include "adapter/planning.h"

#include <math.h>

static void say_line(const spw_remap *remap, spw_text *why) {
    for (size_t i = 0; i < remap->segments; i++) {
        const spw_segment *s = &remap->segment[i];
        spw_text_printf(why, "%sout = %.7g * in %s %.7g us", i > 0 ? ", and " : "", s->gain,
                        s->offset_us < 0 ? "-" : "+", fabs(s->offset_us));
        if (remap->segments > 1)
            spw_text_printf(why, " from %.1f to %.1f us", s->from_us, s->to_us);
    }
    spw_text_printf(why, ", input kept within %.1f to %.1f us, output within %.7g to %.7g us",
                    remap->segment[0].from_us, remap->segment[remap->segments - 1].to_us,
                    remap->clamp_low_us, remap->clamp_high_us);
}

static void say_neutral(const spw_planner *p, spw_text *why) {
    const spw_remap *remap = &p->plan->remap;
    const spw_servo *servo = &p->bench->servo;
    if (isnan(remap->neutral_error_us))
        return;
    double deg = spw_servo_deg_per_us(servo), before = remap->neutral_in_us - servo->neutral_us;
    spw_text_printf(why, " Neutral is %.1f us, %.1f us off %.7g", remap->neutral_in_us,
                    fabs(before), servo->neutral_us);
    if (!isnan(deg))
        spw_text_printf(why, " (%.2f degrees at the servo)", fabs(before) * deg);
    spw_text_printf(why, "; after the remap it is %.1f us, %.1f us off", remap->neutral_out_us,
                    fabs(remap->neutral_error_us));
    if (!isnan(deg))
        spw_text_printf(why, " (%.2f degrees)", fabs(remap->neutral_error_us) * deg);
    spw_text_puts(why, ".");
    if (remap->kind == SPW_REMAP_STRAIGHT && spw_planner_neutral_inside(p) &&
        fabs(remap->neutral_error_us) > servo->tolerance_us)
        spw_text_puts(why, " A bent remap (neutral = bent) would bring it to 0.");
}

static void advise_adapter(spw_planner *p) {
    const spw_plan *plan = p->plan;
    spw_text why = {0};
    spw_text_printf(
        &why, "%s the travel with an adapter: ",
        p->bench->adapter.reverse
            ? (spw_planner_end_is(p, 0, SPW_END_SHORT) ? "Widen and reverse" : "Reverse")
            : "Widen");
    say_line(&plan->remap, &why);
    spw_text_printf(&why,
                    ". It turns %.1f to %.1f us (%.0f %% of the expected range) into %.7g to "
                    "%.7g us.",
                    p->span->low.us, p->span->high.us, plan->range_covered_percent,
                    plan->after.low_us, plan->after.high_us);
    if (!isnan(plan->before.servo.travel))
        spw_text_printf(&why, " The servo then turns %.4g instead of %.4g degrees.",
                        plan->after.servo.travel, plan->before.servo.travel);
    say_neutral(p, &why);
    spw_text_puts(&why, p->bench->controller.adjustable
                            ? " The controller's setting cannot do it."
                            : " If the controller's end points can be set after all, set them "
                              "instead.");
    spw_planner_advise(p, SPW_DO_ADAPTER, &why);
}

static bool say_beyond(const spw_planner *p, int sign, const char *and, spw_text *why) {
    spw_bound_by by = spw_planner_beyond(p, sign);
    if (by == SPW_BOUND_BY_NONE)
        return false;
    spw_text_printf(why, "%sthe %s end, %.1f us, lies %.1f us beyond %s", and,
                    sign > 0 ? "high" : "low", sign > 0 ? p->span->high.us : p->span->low.us,
                    sign > 0 ? p->high.deviation_us : p->low.deviation_us, spw_bound_by_words(by));
    return true;
}

static void advise_limit(spw_planner *p) {
    const spw_plan *plan = p->plan;
    bool by_setting = plan->decision == SPW_DECISION_ADJUST;
    if (plan->decision != SPW_DECISION_LIMIT &&
        !(by_setting && spw_planner_end_is(p, 0, SPW_END_BEYOND)))
        return;
    if (by_setting && spw_planner_clock_off(p))
        return;
    spw_text why = {0};
    spw_text_puts(&why, "Limit the pulses: ");
    bool low = say_beyond(p, -1, "", &why);
    (void)say_beyond(p, 1, low ? " and " : "", &why);
    double margin = p->bench->adapter.margin_us;
    spw_text_printf(&why, "; keep them within %.7g to %.7g us (%s).", p->target_low + margin,
                    p->target_high - margin,
                    by_setting ? "end points of the controller" : "gain 1, clamps only");
    spw_planner_advise(p, SPW_DO_LIMIT, &why);
}

static void say_gearing(const spw_planner *p, spw_text *why) {
    const spw_joint_verdict *joint = &p->plan->joint;
    double reduction = p->bench->joint.reduction;
    spw_text_printf(why, "The joint has to turn %.4g degrees and turns %.4g", joint->needed_deg,
                    p->plan->before.joint.travel);
    if (p->plan->has_after)
        spw_text_printf(why, ", behind the adapter %.4g", p->plan->after.joint.travel);
    if (isfinite(joint->reduction_that_would_do))
        spw_text_printf(why,
                        "; with the pulses sent now a reduction of %.4g or less would do (it is "
                        "%.4g)",
                        joint->reduction_that_would_do, reduction);
    if (joint->after == SPW_REACHED_NO)
        spw_text_printf(why, ", with the adapter one of %.4g or less",
                        reduction * p->plan->after.joint.travel / joint->needed_deg);
    spw_text_puts(why, ". Less reduction means less torque and coarser steps at the joint.");
}

/* Whether the joint gets there once a setting sends all that is allowed. */
static bool setting_reaches(const spw_planner *p) {
    double us = p->target_high - p->target_low - 2 * p->bench->adapter.margin_us;
    double deg = us * spw_servo_deg_per_us(&p->bench->servo) / p->bench->joint.reduction;
    return p->plan->decision == SPW_DECISION_ADJUST && deg >= p->plan->joint.needed_deg;
}

static void advise_gearing(spw_planner *p) {
    const spw_joint_verdict *joint = &p->plan->joint;
    if (!joint->known || p->other_servo || p->plan->decision == SPW_DECISION_MEASURE_AGAIN)
        return;
    const spw_joint_facts *facts = &p->bench->joint;
    double room = facts->allowed_high_deg - facts->allowed_low_deg;
    spw_text why = {0};
    if (joint->needed_deg > room)
        spw_text_printf(
            &why,
            "The joint is to turn %.4g degrees but only %.4g are allowed "
            "(allowed_low_deg to allowed_high_deg): neither adapter nor gearing changes "
            "that.",
            joint->needed_deg, room);
    else if (joint->before == SPW_REACHED_NO && joint->after != SPW_REACHED_YES &&
             !setting_reaches(p))
        say_gearing(p, &why);
    else
        return;
    spw_planner_advise(p, SPW_DO_GEARING, &why);
}

void spw_planner_advice(spw_planner *p) {
    spw_planner_advise_wire(p);
    if (p->span->known && !p->other_servo)
        spw_planner_advise_clock(p);
    spw_planner_advise_odd(p);
    if (p->span->known)
        spw_planner_advise_settings(p);
    advise_limit(p);
    advise_gearing(p);
    if (p->plan->decision == SPW_DECISION_ADAPTER)
        advise_adapter(p);
    spw_plan_sort_advice(p->plan);
}
