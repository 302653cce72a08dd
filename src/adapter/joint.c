/* Whether the joint gets where it has to. */
#include "adapter/planning.h"

#include <math.h>

/* Travel of the joint between two pulses, within what servo and joint allow. */
static double travel(const spw_planner *p, const spw_effect *effect) {
    double us = fmin(effect->high_us, p->target_high) - fmax(effect->low_us, p->target_low);
    return fmax(0, us) * spw_servo_deg_per_us(&p->bench->servo) / p->bench->joint.reduction;
}

/* The miss that does not matter counts at both ends; the guard band is U95. */
static spw_reached judge(const spw_planner *p, const spw_effect *effect) {
    double scale = spw_servo_deg_per_us(&p->bench->servo) / p->bench->joint.reduction;
    double tolerance = 2 * p->bench->servo.tolerance_us * scale;
    double U95 = hypot(effect->low_U95_us, effect->high_U95_us) * scale;
    double spare = travel(p, effect) + tolerance - p->bench->joint.needed_deg;
    if (isnan(spare))
        return SPW_REACHED_UNKNOWN;
    if (spare >= U95)
        return SPW_REACHED_YES;
    return spare < -U95 ? SPW_REACHED_NO : SPW_REACHED_UNDECIDED;
}

static bool past_allowed(const spw_planner *p) {
    const spw_joint_facts *joint = &p->bench->joint;
    const spw_span *span = p->span;
    double tolerance = p->bench->servo.tolerance_us;
    double low_band = tolerance + span->low.U95 + spw_doubt_reach_us(&span->low.doubt);
    double high_band = tolerance + span->high.U95 + spw_doubt_reach_us(&span->high.doubt);
    double needed_room = joint->allowed_high_deg - joint->allowed_low_deg;
    if (!isnan(needed_room) && joint->needed_deg > needed_room)
        return true;
    return p->allowed_narrows && span->known &&
           ((!isnan(joint->allowed_low_deg) && span->low.us + low_band < p->target_low) ||
            (!isnan(joint->allowed_high_deg) && span->high.us - high_band > p->target_high));
}

void spw_planner_joint(spw_planner *p) {
    spw_joint_verdict *verdict = &p->plan->joint;
    const spw_bench *bench = p->bench;
    *verdict = (spw_joint_verdict){.needed_deg = bench->joint.needed_deg,
                                   .before = SPW_REACHED_UNKNOWN,
                                   .after = SPW_REACHED_UNKNOWN,
                                   .reduction_that_would_do = NAN};
    if (bench->servo.mode == SPW_SERVO_CONTINUOUS || isnan(bench->servo.travel_deg))
        return;
    verdict->beyond_allowed = past_allowed(p);
    if (isnan(bench->joint.needed_deg)) {
        verdict->known = verdict->beyond_allowed;
        return;
    }
    verdict->known = true;
    if (!p->span->known)
        return;
    verdict->before = judge(p, &p->plan->before);
    if (p->plan->has_after)
        verdict->after = judge(p, &p->plan->after);
    double now = travel(p, &p->plan->before);
    /* What the joint may not turn, no gearing turns. */
    bool forbidden =
        bench->joint.needed_deg > bench->joint.allowed_high_deg - bench->joint.allowed_low_deg;
    if (verdict->before == SPW_REACHED_NO && now > 0 && !forbidden)
        verdict->reduction_that_would_do = bench->joint.reduction * now / bench->joint.needed_deg;
}
