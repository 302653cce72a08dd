/* What could hurt somebody or something, and what a figure does not cover. */
#include "adapter/planning.h"

#include <math.h>

static void say(spw_planner *p, const char *sentence) {
    spw_text text = {0};
    spw_text_puts(&text, sentence);
    spw_planner_caution(p, &text);
}

static void about_safety(spw_planner *p) {
    bool remap = p->plan->has_remap;
    say(p,
        "A servo moves with full force as soon as it has power and pulses: keep fingers, hair and "
        "sleeves out of gears and linkages, and be able to cut its power.");
    if (remap || p->plan->decision == SPW_DECISION_ADJUST)
        say(p,
            "Power a changed line up for the first time with the servo's horn off, then approach "
            "both ends slowly; a servo that hums against a stop is stalled and overheats.");
    if (remap)
        say(p, "Keep the clamps: without them one odd pulse, multiplied by the gain, drives the "
               "servo into its end stop.");
    if (remap || p->plan->decision == SPW_DECISION_ADJUST)
        say(p,
            "Whether an adapter or a changed setting may be used is for the event's rules, local "
            "codes and whoever is responsible on site to say.");
}

static void about_span(spw_planner *p) {
    const spw_span *span = p->span;
    if (!span->known)
        return;
    if (span->basis == SPW_SPAN_EXTREMES)
        say(p,
            "The ends are the 1 and 99 % quantiles of a sweep and lie inside the true ends; hold "
            "both ends still to know them.");
    if (span->basis == SPW_SPAN_GIVEN)
        say(p, "The span was given by hand: no uncertainty, jitter, step or frame is known.");
    double tolerance = p->bench->servo.tolerance_us;
    double worst = fmax(p->plan->after.low_U95_us, p->plan->after.high_U95_us);
    if (p->plan->has_after && worst > tolerance) {
        spw_text text = {0};
        spw_text_printf(&text,
                        "The ends behind the adapter are known to %.1f us only, which is more than "
                        "the tolerance of %.7g us.",
                        worst, tolerance);
        spw_planner_caution(p, &text);
    }
    if (spw_planner_clock_off(p) && p->plan->has_remap)
        say(p, "The remap is for the widths as measured; once the clock is put right it no longer "
               "fits.");
}

static void about_neutral(spw_planner *p) {
    const spw_servo *servo = &p->bench->servo;
    const spw_remap *remap = &p->plan->remap;
    bool bent_asked = p->bench->adapter.neutral == SPW_REMAP_BENT;
    if (p->plan->decision == SPW_DECISION_ADAPTER && bent_asked && remap->kind != SPW_REMAP_BENT)
        say(p, "A bent remap was asked for, but the servo's neutral_us is not inside of what servo "
               "and joint allow; the remap is straight.");
    if (servo->neutral_us <= servo->expected_low_us || servo->neutral_us >= servo->expected_high_us)
        say(p, "neutral_us of the servo is not between its expected ends: neutral is not judged.");
    if (p->plan->has_remap && p->allowed_narrows)
        say(p,
            "The remap keeps to the angles that the joint allows, not to the servo's whole range.");
}

/* Whether even the low end of what the jitter may be hunts. */
static bool surely_hunts(const spw_planner *p, const spw_effect *effect) {
    return effect->hunt_low * 60e6 / p->span->mean_frame_us > SPW_HUNTS_A_MINUTE;
}

/* Jitter that the gain lifts over the dead band. */
static void about_hunting(spw_planner *p) {
    const spw_plan *plan = p->plan;
    spw_text text = {0};
    if (plan->before.hunts == 1) {
        spw_text_printf(
            &text,
            "%.2f us rms of jitter leave the servo's dead band of %.7g us in %.2g %% of the "
            "frames: it %s with the pulses sent now",
            plan->before.jitter_high_us, p->bench->servo.dead_band_us,
            100 * plan->before.hunt_probability,
            surely_hunts(p, &plan->before) ? "hunts" : "may hunt");
        if (plan->has_after)
            spw_text_printf(&text, ", and behind the adapter (%.2f us rms) in %.2g %% of them",
                            plan->after.jitter_high_us, 100 * plan->after.hunt_probability);
        spw_text_puts(&text, ".");
        spw_planner_caution(p, &text);
        return;
    }
    if (!plan->has_after || plan->after.hunts != 1)
        return;
    spw_text_printf(
        &text,
        "%.2f us rms of jitter at the servo leave its dead band of %.7g us in %.2g %% of "
        "the frames: it %s hunt%s.",
        plan->after.jitter_high_us, p->bench->servo.dead_band_us,
        100 * plan->after.hunt_probability, surely_hunts(p, &plan->after) ? "will" : "may",
        plan->before.hunts == 0 ? ", which it does not without the adapter" : "");
    spw_planner_caution(p, &text);
}

/* Words too short for the remap, ticks too coarse for the servo. */
static void about_integers(spw_planner *p) {
    spw_text text = {0};
    spw_error error;
    spw_error_clear(&error);
    if (!p->plan->has_remap || spw_plan_integers_check(p->plan, &error) == SPW_OK)
        return;
    spw_text_printf(&text, "No adapter may be built on these integers: %s.", error.message);
    spw_planner_caution(p, &text);
}

void spw_planner_cautions(spw_planner *p) {
    about_integers(p);
    about_span(p);
    spw_planner_doubt_cautions(p);
    about_neutral(p);
    about_hunting(p);
    about_safety(p);
}
