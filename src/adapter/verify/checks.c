/* What a verification says yes or no to. */
#include "adapter/verify/doubt.h"
#include "adapter/verify/verify.h"
#include "base/plain.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

/* Coverage factor of the worst of many levels. */
#define LEVEL_K 4.5
/* Scatter that an adapter may add by itself: what the servo's dead band hides. */
#define OWN_JITTER_US 1.0
/* More lost frames than this hold back the yes. */
#define LOST_SHARE_MAX 0.02

spw_check *spw_verify_add(spw_verifier *f, const char *name, double value, double limit, int pass,
                          bool matters) {
    spw_check *c = &f->v->check[f->v->checks++];
    *c =
        (spw_check){.name = name, .value = value, .limit = limit, .pass = pass, .matters = matters};
    return c;
}

void spw_verify_say(spw_check *c, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    if (spw_plain_print(c->why, sizeof c->why, format, arguments) < 0)
        c->why[0] = '\0';
    va_end(arguments);
}

int spw_verify_within(double value, double U95, double limit) {
    if (value <= limit - U95)
        return 1;
    return value > limit + U95 ? 0 : -1;
}

static double largest_offset(const spw_remap *r) {
    double first = fabs(r->segment[0].offset_us),
           last = fabs(r->segment[r->segments - 1].offset_us);
    return fmax(first, last);
}

/* Largest |fitted - planned| over the planned inputs that no clamp holds: between
 * two straight lines it lies at an end. */
static void check_line(spw_verifier *f) {
    spw_verification *v = f->v;
    if (!v->planned.known)
        return;
    const spw_remap *r = &v->planned.remap;
    double ends[2] = {r->segment[0].from_us, r->segment[r->segments - 1].to_us};
    double worst = 0, U95 = 0, at_us = ends[0];
    double k95 = spw_coverage_factor(0.95, v->dof);
    for (int e = 0; e < 2; e++) {
        double x = ends[e];
        double off = v->offset_us + v->gain * x - (r->offset_us + r->gain * x);
        double u2 =
            v->u_offset_us * v->u_offset_us + x * x * v->u_gain * v->u_gain + 2 * x * v->covariance;
        if (fabs(off) >= fabs(worst)) {
            worst = off;
            at_us = x;
            U95 = k95 * sqrt(fmax(0, u2));
        }
    }
    /* a clock that is off moves the offset and leaves the gain */
    double limit = v->planned.tolerance_us + spw_planned_clock_us(&v->planned, largest_offset(r));
    int pass = spw_verify_within(fabs(worst), U95, limit);
    spw_check *c = spw_verify_add(f, "line", fabs(worst), limit, pass, true);
    double gain_off = (v->gain / r->gain - 1) * 100;
    const char *verdict = pass > 0    ? "within"
                          : pass == 0 ? "outside"
                                      : "too uncertain to judge against";
    spw_verify_say(
        c,
        "the fitted line is %+.2f us (U95 %.2f us) off the plan at an input of %.1f us, %s the "
        "%s of %.1f us: gain %.5f against %.5f (%+.2f %%), at mid range %+.2f us%s",
        worst, U95, at_us, verdict,
        v->planned.clock_ppm > 0 ? "tolerance, with the clock's," : "tolerance", limit, v->gain,
        r->gain, gain_off,
        v->offset_us - r->offset_us + (v->gain - r->gain) * 0.5 * (ends[0] + ends[1]),
        pass < 0 ? "; hold more levels, for longer" : "");
}

static size_t free_levels(const spw_verifier *f) {
    size_t n = 0;
    for (size_t k = 0; k < f->levels; k++)
        n += !f->level[k].clamped;
    return n;
}

/* How far a clock that is off parts the pieces of a bent plan. */
static double pieces_apart(const spw_planned *planned) {
    const spw_remap *r = &planned->remap;
    if (!planned->known || r->segments < 2)
        return 0;
    return spw_planned_clock_us(planned, r->segment[1].offset_us - r->segment[0].offset_us);
}

/* Levels at rest about the line: a coarse timer shows here. Half a tick, the levels'
 * own uncertainty, and what the clock does to a bend. */
static void check_residual(spw_verifier *f) {
    spw_verification *v = f->v;
    double worst = 0, at_us = NAN, limit = 0, tick = spw_planned_tick(&v->planned);
    for (size_t k = 0; k < f->levels; k++) {
        const spw_verify_level *l = &f->level[k];
        if (l->clamped)
            continue;
        double r = spw_planned_straightened(&v->planned, l->in_us, l->out_us) - v->offset_us -
                   v->gain * l->in_us;
        /* rounding at the output is what the three quarters of a tick stand for */
        double u2 = l->u_out_us * l->u_out_us - (v->planned.known ? tick * tick / 12 : 0);
        double own =
            LEVEL_K * hypot(sqrt(fmax(0, u2)), v->gain * l->u_in_us) + pieces_apart(&v->planned);
        double allowed = fmax(0.75 * tick, 0.25) + own;
        if (fabs(r) / allowed >= (limit > 0 ? fabs(worst) / limit : 0)) {
            worst = r;
            at_us = l->in_us;
            limit = allowed;
        }
    }
    if (!(limit > 0))
        return;
    int pass = free_levels(f) > 2 ? fabs(worst) <= limit : -1;
    if (pass == 0 && !v->planned.known)
        pass = -1;
    spw_check *c = spw_verify_add(f, "residual", fabs(worst), limit, pass, true);
    if (pass < 0 && free_levels(f) > 2)
        spw_verify_say(
            c,
            "the level at %.1f us departs %+.2f us from the fitted line: a clamp, a bend or a "
            "coarse timer; the plan would tell which",
            at_us, worst);
    else if (pass < 0)
        spw_verify_say(c, "two levels always lie on a line: hold a third one, such as neutral");
    else
        spw_verify_say(
            c,
            "the level at %.1f us departs %+.2f us from the fitted line; half a timer tick and the "
            "recordings explain up to %.2f us%s",
            at_us, worst, limit, pass ? "" : ": the output moves in coarse steps or is bent");
}

static double steepest(const spw_remap *r) {
    return fmax(fabs(r->segment[0].gain), fabs(r->segment[r->segments - 1].gain));
}

static void check_latency(spw_verifier *f) {
    spw_verification *v = f->v;
    if (v->method != SPW_VERIFY_PULSES || v->latency_ms.n == 0)
        return;
    double frame_ms = f->before->period_us.mean * 1e-3;
    /* An adapter that repeats what it measured last is never later than one frame. */
    int pass = f->late_known ? f->late == 0 : -1;
    spw_check *c = spw_verify_add(f, "latency", v->latency_ms.median, frame_ms, pass, false);
    if (pass < 0)
        spw_verify_say(
            c,
            f->moved
                ? "not told: no single input explains an output while the input moves"
                : "not told: the input hardly moved, so the pulse that caused an output cannot be "
                  "picked out; move the controller while recording");
    else if (pass == 0)
        spw_verify_say(
            c,
            "an output answers the input %zu frame%s before the latest one: %.2f ms late (median; "
            "%.2f to %.2f ms), a frame is %.2f ms",
            f->late, f->late == 1 ? "" : "s", v->latency_ms.median, v->latency_ms.min,
            v->latency_ms.max, frame_ms);
    else
        spw_verify_say(
            c,
            "an output follows the input it answers by %.2f ms (median; %.2f to %.2f ms), %.2f "
            "frames",
            v->latency_ms.median, v->latency_ms.min, v->latency_ms.max,
            v->latency_ms.median / frame_ms);
}

/* While the input moves, an adapter that repeats what it measured stays on the line; one
 * that averages comes after it. */
static void check_smoothing(spw_verifier *f) {
    spw_verification *v = f->v;
    if (v->method != SPW_VERIFY_PULSES)
        return;
    double noise = isfinite(f->noise_us) ? f->noise_us : 0;
    double limit = fmax(5, 6 * noise) + spw_planned_tick(&v->planned);
    int pass = f->moving > 0 && f->moved ? f->worst_moving_us <= limit : -1;
    spw_check *c = spw_verify_add(f, "smoothing", f->worst_moving_us, limit, pass, false);
    if (pass < 0)
        spw_verify_say(c,
                       "not told: the input did not move; let it jump from one end to the other");
    else if (pass == 0)
        spw_verify_say(
            c,
            "while the input moved the output was up to %.1f us off the line: it is smoothed over "
            "several frames, or pulses are lost",
            f->worst_moving_us);
    else
        spw_verify_say(c, "while the input moved the output stayed within %.1f us of the line",
                       f->worst_moving_us);
}

static void check_pairing(spw_verifier *f) {
    spw_verification *v = f->v;
    if (v->method != SPW_VERIFY_PULSES)
        return;
    size_t all = v->pairs + v->unpaired_after;
    double share = all > 0 ? 100.0 * (double)v->unpaired_after / (double)all : 0;
    spw_check *c = spw_verify_add(f, "pairing", share, 1, share <= 1, true);
    spw_verify_say(
        c,
        "%zu of %zu output pulses have no input pulse that caused them; %zu input pulses had no "
        "output",
        v->unpaired_after, all, v->unpaired_before);
}

/* The gain multiplies the scatter; an adapter must add no more than its timer's tick. */
static void check_jitter(spw_verifier *f) {
    spw_verification *v = f->v;
    if (!isfinite(v->jitter_gain))
        return;
    double in = 0, dof = 0;
    for (size_t h = 0; h < f->before->holds; h++) {
        const spw_summary *w = &f->before->hold[h].width_us;
        double own = isfinite(w->floor) ? w->floor : 0;
        in += fmax(0, w->sd * w->sd - own * own) * ((double)w->n - 1);
        dof += (double)w->n - 1;
    }
    in = dof > 0 ? sqrt(in / dof) : 0;
    double gain = v->planned.known ? steepest(&v->planned.remap) : fabs(v->gain);
    double tick = spw_planned_tick(&v->planned);
    /* counting adds up to g T / 2 (half the counts one more), rounding T / sqrt 12 */
    double added = hypot(hypot(gain * tick / 2, tick / sqrt(12)), OWN_JITTER_US);
    double limit = in > 0 ? 1.3 * hypot(gain, added / in) : (double)NAN;
    int pass = in > 0 ? v->jitter_gain <= limit : -1;
    spw_check *c = spw_verify_add(f, "jitter", v->jitter_gain, limit, pass, false);
    if (pass < 0)
        spw_verify_say(c,
                       "not told: the input's scatter is below what the recording shows by itself");
    else
        spw_verify_say(
            c,
            "the scatter of the widths is multiplied by %.2f; a gain of %.2f and what an adapter "
            "adds with a tick of %.4g us explain up to %.2f",
            v->jitter_gain, gain, tick, limit);
}

/* How many frames come through. */
static void check_delivery(spw_verifier *f) {
    spw_verification *v = f->v;
    if (f->frames == 0)
        return;
    double share = (double)f->lost / (double)f->frames;
    double rate = v->method == SPW_VERIFY_PULSES && spw_verify_repeats(f) ? f->before->frame_rate_hz
                                                                          : f->after->frame_rate_hz;
    spw_check *c = spw_verify_add(f, "delivery", 100 * share, 100 * LOST_SHARE_MAX,
                                  share <= LOST_SHARE_MAX, true);
    spw_verify_say(c,
                   "%.1f of %.1f frames a second reach the servo: %zu of %zu frames (%.1f %%) have "
                   "no pulse",
                   rate * (1 - share), rate, f->lost, f->frames, 100 * share);
}

static void check_lines(spw_verifier *f) {
    spw_check *c = spw_verify_add(f, "lines", NAN, NAN, -1, true);
    spw_verify_say(c,
                   "the two lines seem exchanged: the plan turns the line after the adapter into "
                   "the one before it; nothing else is judged");
}

static spw_status all_checks(spw_verifier *f) {
    check_line(f);
    check_residual(f);
    spw_verify_check_clamps(f);
    check_latency(f);
    check_smoothing(f);
    check_pairing(f);
    check_delivery(f);
    spw_status status = spw_verify_check_steps(f);
    check_jitter(f);
    return status;
}

spw_status spw_verify_judge(spw_verifier *f) {
    spw_status status = SPW_OK;
    if (f->v->exchanged)
        check_lines(f);
    else
        status = all_checks(f);
    int pass = f->v->planned.known ? 1 : -1;
    spw_verify_doubt(f->v, f->before, f->after);
    for (size_t k = 0; k < f->v->checks && f->v->planned.known; k++) {
        const spw_check *c = &f->v->check[k];
        if (c->pass == 0)
            pass = 0;
        else if (c->pass < 0 && c->matters && pass > 0)
            pass = -1;
    }
    f->v->pass = pass;
    return status;
}
