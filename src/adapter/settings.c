/* Advice about the source: clock, end points, frame, trim. */
#include "adapter/planning.h"

#include <math.h>

static void say_ratio(const char *what, double ratio, spw_text *text) {
    if (fabs(ratio - 1) < 5e-6)
        spw_text_printf(text, "%s as asked", what);
    else
        spw_text_printf(text, "%s %.5g times what was asked", what, ratio);
}

static void say_ratios(const spw_clock *clock, spw_text *text) {
    if (!isnan(clock->width_ratio) && !clock->one_factor)
        spw_text_puts(text, "widths do not follow what was asked by one factor");
    else if (!isnan(clock->width_ratio))
        say_ratio("widths are", clock->width_ratio, text);
    if (!isnan(clock->width_ratio) && !isnan(clock->period_ratio))
        spw_text_puts(text, " and ");
    if (!isnan(clock->period_ratio))
        say_ratio("the frame period is", clock->period_ratio, text);
}

static void say_scaled(const spw_planner *p, spw_text *why) {
    const spw_clock *clock = &p->plan->clock;
    spw_text_printf(why,
                    "Both agree, so a clock runs off by %+.2f %%, not the range: multiply the "
                    "source's time setting by %.5g (its neutral would come out at %.1f us), or, if "
                    "the source is known to be exact, correct the recorder with --known-frame-us "
                    "%.7g; then measure again.",
                    (clock->width_ratio - 1) * 100, clock->correction,
                    (isnan(p->span->neutral.us) ? (p->span->low.us + p->span->high.us) / 2
                                                : p->span->neutral.us) *
                        clock->correction,
                    p->bench->controller.asked_frame_us);
}

static void say_doubled(const spw_planner *p, spw_text *why) {
    const spw_clock *clock = &p->plan->clock;
    bool width = fabs(clock->width_ratio - 1) > 0.05;
    bool period = fabs(clock->period_ratio - 1) > 0.05;
    spw_text_printf(why,
                    "A factor near %.3g points to the source's timer clock or prescaler%s, not to "
                    "the range: multiply that time setting by %.5g and measure again.",
                    1 / clock->correction,
                    width && !period ? " of the pulse" : (period && !width ? " of the frame" : ""),
                    clock->correction);
}

void spw_planner_advise_clock(spw_planner *p) {
    const spw_clock *clock = &p->plan->clock;
    bool scaled = clock->verdict == SPW_CLOCK_SCALED, doubled = clock->verdict == SPW_CLOCK_DOUBLED;
    bool differ = clock->verdict == SPW_CLOCK_DISAGREES;
    /* Widths alone, off by one factor, might be a clock: the frame would tell. */
    bool open = clock->verdict == SPW_CLOCK_UNKNOWN && clock->one_factor;
    if (!scaled && !doubled && !differ && !open)
        return;
    if (open && (spw_planner_clamped(p, -1) || spw_planner_clamped(p, 1)))
        return;
    spw_text why = {0};
    spw_text_puts(&why, "The ");
    say_ratios(clock, &why);
    spw_text_puts(&why, ". ");
    if (scaled)
        say_scaled(p, &why);
    else if (doubled)
        say_doubled(p, &why);
    else if (differ)
        spw_text_puts(&why, "The two disagree, so it is not one clock: look at the frame setting "
                            "and at the pulse settings apart.");
    else
        spw_text_puts(&why, "Whether that is a clock or a setting the frame period would tell: "
                            "give asked_frame_us.");
    spw_planner_advise(p, SPW_DO_CLOCK, &why);
}

/* What to set for a pulse of `target`, from what was asked and what came out. */
static double value_to_set(const spw_planner *p, double target) {
    const spw_controller *asked = &p->bench->controller;
    double scale =
        (asked->asked_high_us - asked->asked_low_us) / (p->span->high.us - p->span->low.us);
    double value = asked->asked_low_us + (target - p->span->low.us) * scale;
    bool usable = isfinite(value) && value > 0 && !spw_planner_clamped(p, -1) &&
                  !spw_planner_clamped(p, 1) && !spw_planner_clock_off(p);
    return usable ? value : target;
}

static void advise_end_points(spw_planner *p) {
    spw_text why = {0};
    double low = p->target_low + p->bench->adapter.margin_us;
    double high = p->target_high - p->bench->adapter.margin_us;
    spw_text_printf(&why,
                    "Set the controller's end points so that it sends %.7g to %.7g us: the low end "
                    "to %.1f us (it sends %.1f), the high end to %.1f us (it sends %.1f)%s; then "
                    "measure again.",
                    low, high, value_to_set(p, low), p->span->low.us, value_to_set(p, high),
                    p->span->high.us,
                    p->bench->adapter.reverse ? ", and reverse the channel there" : "");
    spw_planner_advise(p, SPW_DO_SETTING, &why);
}

static void advise_clamped(spw_planner *p, int sign) {
    double saturates = sign > 0 ? p->span->saturates_high_us : p->span->saturates_low_us;
    bool clamped = spw_planner_clamped(p, sign);
    const spw_doubt *doubt = sign > 0 ? &p->span->high.doubt : &p->span->low.doubt;
    if (!clamped && (isnan(saturates) || doubt->what != 0))
        return;
    const spw_controller *asked = &p->bench->controller;
    double is = sign > 0 ? p->span->high.us : p->span->low.us;
    spw_text why = {0};
    if (clamped)
        spw_text_printf(
            &why,
            "Configured is not measured: the %s end was asked to be %.7g us and %.1f us "
            "is on the wire, so the source saturates at %.1f us; asking for more "
            "changes nothing until its own limit (firmware, travel or end-point limit) "
            "is found and set.",
            sign > 0 ? "high" : "low", sign > 0 ? asked->asked_high_us : asked->asked_low_us, is,
            is);
    else
        spw_text_printf(&why,
                        "The source saturates at %.1f us: equal steps towards the %s end stop "
                        "there, so asking for more changes nothing.",
                        saturates, sign > 0 ? "high" : "low");
    spw_planner_advise(p, SPW_DO_SETTING, &why);
}

static void advise_frame(spw_planner *p) {
    double rate = 1e6 / p->span->mean_frame_us, most = p->bench->servo.fastest_frame_hz;
    if (rate > most * 1.001) {
        spw_text why = {0};
        spw_text_printf(&why,
                        "Lower the frame rate: %.1f frames a second (%.1f us) is more than the "
                        "%.7g that the servo bears; set a frame of %.0f us or longer.",
                        rate, p->span->mean_frame_us, most, ceil(1e6 / most));
        spw_planner_advise(p, SPW_DO_SETTING, &why);
    }
    bool widens = spw_planner_end_is(p, 0, SPW_END_SHORT) || p->bench->adapter.reverse;
    if (p->frame_fits || !widens || p->plan->decision == SPW_DECISION_NO_ADAPTER)
        return;
    double longest = p->target_high - p->bench->adapter.margin_us;
    double needs = longest + p->bench->adapter.gap_us;
    spw_text why = {0};
    spw_text_printf(
        &why,
        "Lower the frame rate: a pulse of %.7g us and a pause of %.7g us need a frame of "
        "%.7g us, %.0f frames a second at most; the shortest frame here is %.1f us "
        "(%.0f a second).",
        longest, p->bench->adapter.gap_us, needs, floor(1e6 / needs), p->span->shortest_frame_us,
        1e6 / p->span->shortest_frame_us);
    spw_planner_advise(p, SPW_DO_SETTING, &why);
}

/* Both ends displaced alike: the width of the range is right, its place is not. */
static bool displaced(const spw_planner *p, double *by) {
    double low = p->span->low.us - p->target_low, high = p->span->high.us - p->target_high;
    double slack = p->bench->servo.tolerance_us + hypot(p->low.U95, p->high.U95);
    *by = (low + high) / 2;
    return fabs(low - high) <= slack && fabs(*by) > slack;
}

static void advise_trim(spw_planner *p) {
    const spw_servo *servo = &p->bench->servo;
    double by, neutral = p->span->neutral.us, deg = spw_servo_deg_per_us(servo);
    bool set = p->plan->decision == SPW_DECISION_ADJUST && !spw_planner_clock_off(p);
    spw_text why = {0};
    if (set && displaced(p, &by)) {
        spw_text_printf(&why,
                        "Trim by %+.1f us: both ends lie %.1f us too %s and the width of the range "
                        "is right.",
                        -by, fabs(by), by > 0 ? "high" : "low");
        spw_planner_advise(p, SPW_DO_TRIM, &why);
        return;
    }
    double off = neutral - servo->neutral_us;
    double band = p->span->neutral.U95 + spw_doubt_reach_us(&p->span->neutral.doubt);
    bool matters = fabs(off) > servo->tolerance_us + band &&
                   servo->neutral_us > servo->expected_low_us &&
                   servo->neutral_us < servo->expected_high_us;
    if (!matters || servo->mode == SPW_SERVO_CONTINUOUS ||
        p->plan->decision == SPW_DECISION_ADAPTER ||
        p->plan->decision == SPW_DECISION_MEASURE_AGAIN || spw_planner_clock_off(p))
        return;
    spw_text_printf(&why, "Trim neutral by %+.1f us: it is %.1f us and the servo's is %.7g us",
                    -off, neutral, servo->neutral_us);
    if (!isnan(deg))
        spw_text_printf(&why, ", which is %.2f degrees at the servo and %.2f at the joint",
                        fabs(off) * deg, fabs(off) * deg / p->bench->joint.reduction);
    spw_text_puts(&why, ".");
    spw_planner_advise(p, SPW_DO_TRIM, &why);
}

/* A continuous servo creeps when neutral is outside of its stop band. */
static void advise_stop(spw_planner *p) {
    const spw_servo *servo = &p->bench->servo;
    double neutral = p->span->neutral.us, U95 = p->span->neutral.U95;
    if (servo->mode != SPW_SERVO_CONTINUOUS || isnan(servo->stop_low_us) || isnan(neutral) ||
        isinf(spw_doubt_reach_us(&p->span->neutral.doubt)))
        return;
    double jitter = isfinite(p->plan->before.jitter_high_us) ? p->plan->before.jitter_high_us : 0;
    double room = fmin(neutral - servo->stop_low_us, servo->stop_high_us - neutral);
    if (room >= U95 + 2 * jitter)
        return;
    spw_text why = {0};
    spw_text_printf(&why,
                    "Trim neutral by %+.1f us: it is %.1f us (jitter %.2f us rms) and the servo "
                    "stands still from %.7g to %.7g us%s",
                    (servo->stop_low_us + servo->stop_high_us) / 2 - neutral, neutral, jitter,
                    servo->stop_low_us, servo->stop_high_us,
                    room < 0 ? ", so it creeps" : ", so it may creep");
    if (room < 0 && !isnan(p->plan->before.creep_rpm))
        spw_text_printf(&why, " at %.3g turns a minute", fabs(p->plan->before.creep_rpm));
    spw_text_puts(&why, ".");
    spw_planner_advise(p, SPW_DO_TRIM, &why);
}

void spw_planner_advise_settings(spw_planner *p) {
    if (p->other_servo) {
        advise_frame(p);
        return;
    }
    bool measured = p->plan->decision != SPW_DECISION_MEASURE_AGAIN;
    double by;
    if (p->plan->decision == SPW_DECISION_ADJUST) {
        const spw_clock *clock = &p->plan->clock;
        double factor = spw_planner_clock_off(p) ? clock->correction : 1;
        double slack = p->bench->servo.tolerance_us;
        bool clock_does = fabs(p->span->low.us * factor - p->target_low) <= slack &&
                          fabs(p->span->high.us * factor - p->target_high) <= slack;
        bool trim_does = !displaced(p, &by) ? false : factor == 1;
        if (!clock_does && !trim_does)
            advise_end_points(p);
    }
    advise_clamped(p, -1);
    advise_clamped(p, 1);
    advise_frame(p);
    if (measured) {
        advise_trim(p);
        advise_stop(p);
    }
}
