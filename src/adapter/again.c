/* When the capture does not answer, and what to capture so that it does. */
#include "adapter/planning.h"

#include <math.h>

/* Enough for a mean to a quarter of the scatter's tenth, and short enough to do. */
#define USUAL_FRAMES 100.0
#define USUAL_SECONDS 2.0
/* Longer than this nobody holds a stick. */
#define PATIENCE_SECONDS 600.0

static bool ends_undecided(const spw_planner *p) {
    bool low = p->low.verdict == SPW_END_UNDECIDED, high = p->high.verdict == SPW_END_UNDECIDED;
    if ((!low && !high) || p->bench->adapter.reverse || spw_planner_end_is(p, 0, SPW_END_SHORT))
        return false; /* an adapter or setting is due whatever the other end is */
    bool outer = (!low || p->low.deviation_us > 0) && (!high || p->high.deviation_us > 0);
    if (spw_planner_end_is(p, 0, SPW_END_BEYOND))
        return !outer; /* limits are due in any case */
    bool inner = (!low || p->low.deviation_us < 0) && (!high || p->high.deviation_us < 0);
    return !(inner && p->plan->joint.before == SPW_REACHED_YES);
}

/* An end of a two-level span that is nearer to neutral than a tenth of the range. */
static const spw_span_point *probably_neutral(const spw_planner *p) {
    const spw_servo *servo = &p->bench->servo;
    double near = 0.1 * (servo->expected_high_us - servo->expected_low_us);
    if (p->span->basis != SPW_SPAN_HOLDS || p->span->levels != 2)
        return NULL;
    if (fabs(p->span->low.us - servo->neutral_us) <= near)
        return &p->span->low;
    return fabs(p->span->high.us - servo->neutral_us) <= near ? &p->span->high : NULL;
}

static void say_undecided(const spw_end *end, const char *name, spw_text *why) {
    if (end->verdict != SPW_END_UNDECIDED)
        return;
    spw_text_printf(why,
                    "%sthe %s end misses by %.2f us and that is known to %.2f us only, which does "
                    "not tell on which side of the tolerance of %.7g us it lies (it meets it with "
                    "probability %.2f)",
                    why->length > 0 ? "; " : "", name, fabs(end->deviation_us), end->U95,
                    end->tolerance_us, end->probability_meets);
}

bool spw_planner_cannot_tell(spw_planner *p, spw_text *why) {
    const spw_span *span = p->span;
    if (!span->known) {
        if (span->doubt.what != 0) {
            p->cure = spw_doubt_cure(span->doubt.what);
            spw_text_printf(why, "%s, and ", spw_doubt_words(span->doubt.what));
        }
        spw_text_printf(why, "%s", span->reason[0] != '\0' ? span->reason : "no span was measured");
        return true;
    }
    if (span->wire == SPW_WIRE_UNDECIDED) {
        p->cure = "Say which polarity the line has (--polarity positive or --polarity negative)";
        spw_text_puts(why, "the line's high and its low stretches could each be the pulses, and "
                           "their widths differ");
        return true;
    }
    if (spw_planner_in_doubt(p, why))
        return true;
    const spw_span_point *neutral = probably_neutral(p);
    if (neutral != NULL) {
        spw_text_printf(why,
                        "only two levels were seen and one of them, %.1f us, is near neutral "
                        "(%.7g us): an end was probably not captured",
                        neutral->us, p->bench->servo.neutral_us);
        return true;
    }
    if (ends_undecided(p)) {
        say_undecided(&p->low, "low", why);
        say_undecided(&p->high, "high", why);
        return true;
    }
    bool bends = p->bench->adapter.neutral == SPW_REMAP_BENT &&
                 (spw_planner_end_is(p, 0, SPW_END_SHORT) || p->bench->adapter.reverse);
    if (bends && isnan(span->neutral.us)) {
        spw_text_puts(why, "a bent remap needs the neutral pulse, and no neutral was held");
        return true;
    }
    return false;
}

/* Which holds are missing, judged by where the levels lie that were seen. */
static void say_missing(const spw_planner *p, const spw_span_point *neutral, spw_text *line) {
    const spw_span *span = p->span;
    if (neutral != NULL)
        spw_text_printf(line, "Missing so far: the %s end.",
                        neutral == &span->low ? "low" : "high");
    else if (span->known && isnan(span->neutral.us))
        spw_text_puts(line, "Missing so far: neutral.");
    else if (!span->known && span->levels == 1)
        spw_text_puts(line, "Missing so far: every position but the one that was held.");
    else if (!span->known)
        spw_text_puts(line, "Missing so far: a hold at each end.");
}

/* Frames that both ends need; INFINITY when frames alone do not decide. */
static double frames_needed(const spw_planner *p) {
    double frames = USUAL_FRAMES;
    if (p->low.verdict == SPW_END_UNDECIDED && isfinite(p->low.deviation_us))
        frames = fmax(frames, p->low.frames_needed);
    if (p->high.verdict == SPW_END_UNDECIDED && isfinite(p->high.deviation_us))
        frames = fmax(frames, p->high.frames_needed);
    return frames;
}

static void say_resolution(spw_planner *p) {
    double step = fmin(p->low.resolution_needed_us, p->high.resolution_needed_us);
    if (isnan(step))
        return;
    spw_text line = {0};
    spw_text_printf(&line,
                    "Or sample faster: a step of %.3g us (%.3g million samples a second) or less "
                    "decides it with the frames at hand.",
                    step, 1 / step);
    spw_planner_recipe(p, &line);
}

static void say_holds(spw_planner *p, double frames) {
    spw_text line = {0};
    double frame_us = p->span->mean_frame_us;
    double seconds = isnan(frame_us) ? USUAL_SECONDS : frames * frame_us / 1e6;
    seconds = ceil(fmax(seconds, USUAL_SECONDS));
    spw_text_printf(&line,
                    "Start the capture, then hold the control still at its low end, at neutral and "
                    "at its high end, each for %.0f s or longer",
                    seconds);
    if (!isnan(frame_us))
        spw_text_printf(&line, " (%.0f frames at %.4g a second)",
                        fmax(frames, ceil(seconds * 1e6 / frame_us)), 1e6 / frame_us);
    spw_text_puts(&line, ", with the controller and its settings as they will be used.");
    spw_planner_recipe(p, &line);
}

static void say_hopeless(spw_planner *p) {
    spw_text line = {0};
    double wander_us = fmax(p->span->low.wander_us, p->span->high.wander_us);
    if (wander_us > 0)
        spw_text_printf(&line,
                        "More frames alone do not decide it: the level wanders by itself, by up to "
                        "%.3g us within a hold. Find what moves it (supply, warm-up, a stick that "
                        "is not let go), or widen tolerance_us if the servo allows.",
                        wander_us);
    else
        spw_text_puts(
            &line,
            "More frames alone do not decide it: what is left is the recorder's time base. "
            "Give a better one (--timebase-ppm), or correct it by a frame period known to be "
            "exact (--known-frame-us), or widen tolerance_us if the servo allows.");
    spw_planner_recipe(p, &line);
}

void spw_planner_again(spw_planner *p, spw_text *why) {
    spw_text summary = {0}, advice = {0}, missing = {0};
    const char *reason = why->data != NULL ? why->data : "";
    spw_text_printf(&summary, "Measure again: %s.", reason);
    double frames = frames_needed(p);
    double seconds = frames * p->span->mean_frame_us / 1e6;
    bool hopeless = isinf(frames) || seconds > PATIENCE_SECONDS;
    spw_text_printf(&advice, "%s: %s", p->cure != NULL ? p->cure : "Measure again", reason);
    if (hopeless)
        spw_text_puts(&advice, "; no number of frames would decide it in reasonable time.");
    else if (frames > USUAL_FRAMES)
        spw_text_printf(&advice, "; %.0f frames a hold would decide it.", frames);
    else
        spw_text_puts(&advice, ".");
    spw_text_free(why);
    spw_planner_decide(p, SPW_DECISION_MEASURE_AGAIN, &summary);
    spw_planner_advise(p, SPW_DO_MEASURE_AGAIN, &advice);
    say_missing(p, p->span->known ? probably_neutral(p) : NULL, &missing);
    if (missing.length > 0)
        spw_planner_recipe(p, &missing);
    spw_text_free(&missing);
    if (p->span->wire == SPW_WIRE_UNDECIDED) {
        spw_text_puts(&missing, "The capture may do as it is, once that is said.");
        spw_planner_recipe(p, &missing);
        return;
    }
    say_holds(p, hopeless ? USUAL_FRAMES : frames);
    if (hopeless)
        say_hopeless(p);
    say_resolution(p);
}
