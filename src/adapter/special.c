/* Servos and sources that a wider range does not help. */
#include "adapter/planning.h"

#include <math.h>

/* Narrow-pulse servos (common practice): 760 us centre, about 500 to 1000 us,
 * 333 frames a second and up. */
#define NARROW_HIGH_US 1150.0
#define NARROW_CENTRE_LOW_US 600.0
#define NARROW_CENTRE_HIGH_US 900.0
#define NARROW_FRAME_US 4000.0

static double centre(const spw_span *span) {
    return isnan(span->neutral.us) ? (span->low.us + span->high.us) / 2 : span->neutral.us;
}

/* The source drives narrow-pulse servos and the bench file speaks of others. */
static bool narrow_source(const spw_planner *p) {
    const spw_span *span = p->span;
    double at = centre(span);
    return span->high.us <= NARROW_HIGH_US && at >= NARROW_CENTRE_LOW_US &&
           at <= NARROW_CENTRE_HIGH_US && span->mean_frame_us <= NARROW_FRAME_US &&
           p->bench->servo.expected_high_us > NARROW_HIGH_US + 500;
}

static void decide_narrow(spw_planner *p) {
    p->other_servo = true;
    spw_text text = {0};
    spw_text_printf(&text,
                    "No adapter helps: pulses of %.1f to %.1f us about %.1f us at %.0f frames a "
                    "second are those for narrow-pulse servos (760 us centre, common practice); do "
                    "not widen them to %.7g to %.7g us, but find out which kind of servo this is.",
                    p->span->low.us, p->span->high.us, centre(p->span),
                    1e6 / p->span->mean_frame_us, p->bench->servo.expected_low_us,
                    p->bench->servo.expected_high_us);
    spw_planner_decide(p, SPW_DECISION_NO_HELP, &text);
    spw_text why = {0};
    spw_text_printf(
        &why,
        "If the servo is a narrow-pulse one, say so in the bench file (expected_low_us, "
        "expected_high_us, neutral_us); if it is not, set the controller's output for "
        "1500 us servos, at %.0f frames a second or fewer.",
        floor(1e6 / (p->target_high + p->bench->adapter.gap_us)));
    spw_planner_advise(p, SPW_DO_SETTING, &why);
}

/* Speed, not angle: past some pulse a continuous servo turns no faster. */
static void decide_continuous(spw_planner *p) {
    spw_text text = {0};
    if (spw_planner_end_is(p, 0, SPW_END_BEYOND)) {
        bool set = p->bench->controller.adjustable;
        if (!set) {
            p->plan->has_remap = p->plan->has_after = true;
            p->plan->remap = spw_remap_make(p, true);
            p->plan->after = spw_effect_after(p, &p->plan->remap);
        }
        spw_text_printf(&text, "%s: %.1f to %.1f us goes beyond %s, %.7g to %.7g us.",
                        set ? "A setting of the controller will do" : "The pulses must be limited",
                        p->span->low.us, p->span->high.us, spw_bound_by_words(p->plan->bound_by),
                        p->target_low, p->target_high);
        spw_planner_decide(p, set ? SPW_DECISION_ADJUST : SPW_DECISION_LIMIT, &text);
        return;
    }
    if (!spw_planner_end_is(p, 0, SPW_END_SHORT)) {
        spw_text_printf(
            &text, "No adapter is needed: %.1f to %.1f us covers the expected %.7g to %.7g us.",
            p->span->low.us, p->span->high.us, p->target_low, p->target_high);
        spw_planner_decide(p, SPW_DECISION_NO_ADAPTER, &text);
        return;
    }
    spw_text_printf(
        &text,
        "No range adapter helps a continuous servo: it turns at a speed, and often only "
        "part of the range (%.1f to %.1f us is sent) changes that speed.",
        p->span->low.us, p->span->high.us);
    spw_planner_decide(p, SPW_DECISION_NO_HELP, &text);
    spw_text why = {0};
    spw_text_puts(&why, "A wider range would not make it faster: scale the commands in the program "
                        "instead. Let full speed there be the "
                        "pulse from which on the servo turns no faster, and stop be the middle of "
                        "its stop band.");
    spw_planner_advise(p, SPW_DO_SETTING, &why);
}

bool spw_planner_special(spw_planner *p) {
    if (p->bench->servo.mode == SPW_SERVO_CONTINUOUS) {
        decide_continuous(p);
        return true;
    }
    if (!narrow_source(p))
        return false;
    decide_narrow(p);
    return true;
}
