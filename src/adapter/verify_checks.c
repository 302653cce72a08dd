/* What a verification says yes or no to. */
#include "adapter/verify.h"
#include "base/plain.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

static spw_check *add(spw_verifier *f, const char *name, double value, double limit, int pass,
                      bool matters) {
    spw_check *c = &f->v->check[f->v->checks++];
    *c =
        (spw_check){.name = name, .value = value, .limit = limit, .pass = pass, .matters = matters};
    return c;
}

static void say(spw_check *c, const char *format, ...) SPW_PRINTF(2, 3);
static void say(spw_check *c, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    if (spw_plain_print(c->why, sizeof c->why, format, arguments) < 0)
        c->why[0] = '\0';
    va_end(arguments);
}

/* Guard band (JCGM 106): yes below limit - U95, no above limit + U95. */
static int judge(double value, double U95, double limit) {
    if (value <= limit - U95)
        return 1;
    return value > limit + U95 ? 0 : -1;
}

/* Tolerance of a single figure: a timer's rounding is half a tick either way. */
static double tick_of(const spw_verifier *f) {
    return isfinite(f->v->planned.tick_us) ? f->v->planned.tick_us : 1;
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
    double limit = v->planned.tolerance_us;
    int pass = judge(fabs(worst), U95, limit);
    spw_check *c = add(f, "line", fabs(worst), limit, pass, true);
    double gain_off = (v->gain / r->gain - 1) * 100;
    const char *verdict = pass > 0    ? "within"
                          : pass == 0 ? "outside"
                                      : "too uncertain to judge against";
    say(c,
        "the fitted line is %+.2f us (U95 %.2f us) off the plan at an input of %.1f us, %s the "
        "tolerance of %.1f us: gain %.5f against %.5f (%+.2f %%), at mid range %+.2f us%s",
        worst, U95, at_us, verdict, limit, v->gain, r->gain, gain_off,
        v->offset_us - r->offset_us + (v->gain - r->gain) * 0.5 * (ends[0] + ends[1]),
        pass < 0 ? "; hold more levels, for longer" : "");
}

static size_t free_levels(const spw_verifier *f) {
    size_t n = 0;
    for (size_t k = 0; k < f->levels; k++)
        n += !f->level[k].clamped;
    return n;
}

/* Levels at rest about the line: a coarse timer shows here. Half a tick, the levels'
 * own uncertainty, and what the input's jitter may leave. */
static void check_residual(spw_verifier *f) {
    spw_verification *v = f->v;
    double worst = 0, at_us = NAN, limit = 0;
    for (size_t k = 0; k < f->levels; k++) {
        const spw_verify_level *l = &f->level[k];
        if (l->clamped)
            continue;
        double planned = v->planned.known ? spw_planned_line(&v->planned, l->in_us) : NAN;
        double r = v->planned.known && v->planned.remap.segments > 1
                       ? l->out_us - planned
                       : l->out_us - v->offset_us - v->gain * l->in_us;
        double own = 3 * hypot(l->u_out_us, v->gain * l->u_in_us);
        double allowed = fmax(0.75 * tick_of(f), 0.25) + own;
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
    spw_check *c = add(f, "residual", fabs(worst), limit, pass, true);
    if (pass < 0 && free_levels(f) > 2)
        say(c,
            "the level at %.1f us departs %+.2f us from the fitted line: a clamp, a bend or a "
            "coarse timer; the plan would tell which",
            at_us, worst);
    else if (pass < 0)
        say(c, "two levels always lie on a line: hold a third one, such as neutral");
    else
        say(c,
            "the level at %.1f us departs %+.2f us from the fitted line; half a timer tick and the "
            "recordings explain up to %.2f us%s",
            at_us, worst, limit, pass ? "" : ": the output moves in coarse steps or is bent");
}

static void check_clamp(spw_verifier *f, bool high) {
    spw_verification *v = f->v;
    if (!v->planned.known)
        return;
    double limit = high ? v->planned.remap.clamp_high_us : v->planned.remap.clamp_low_us;
    const spw_remap *r = &v->planned.remap;
    bool input_high = (r->gain > 0) == high;
    double corner = input_high ? r->segment[r->segments - 1].to_us : r->segment[0].from_us;
    double seen = high ? v->clamp_high_us : v->clamp_low_us;
    double furthest = NAN; /* output beyond the clamp, whatever the input */
    for (size_t k = 0; k < v->pairs; k++) {
        double out = v->pair[k].out_us;
        if (isnan(furthest) || (high ? out > furthest : out < furthest))
            furthest = out;
    }
    double room =
        tick_of(f) + 3 * fmax(f->after->width_us.floor > 0 ? f->after->width_us.floor : 0, 0.1);
    const char *name = high ? "clamp_high" : "clamp_low";
    bool beyond = high ? furthest > limit + room : furthest < limit - room;
    bool exercised = isfinite(seen);
    if (beyond) {
        spw_check *c = add(f, name, furthest, limit, 0, true);
        say(c, "an output of %.1f us went beyond the %s clamp of %.1f us", furthest,
            high ? "high" : "low", limit);
    } else if (!exercised) {
        spw_check *c = add(f, name, NAN, limit, -1, false);
        say(c,
            "not exercised: no input went beyond %.1f us, where the output is to stay at %.1f us; "
            "feed the adapter a wider input, horn off, to see it hold",
            corner, limit);
    } else {
        int pass = fabs(seen - limit) <= room + v->planned.tolerance_us;
        spw_check *c = add(f, name, seen, limit, pass, true);
        say(c, "beyond an input of %.1f us the output stays at %.2f us (planned %.1f us)", corner,
            seen, limit);
    }
}

static void check_latency(spw_verifier *f) {
    spw_verification *v = f->v;
    if (v->method != SPW_VERIFY_PULSES || v->latency_ms.n == 0)
        return;
    double frame_ms = f->before->period_us.mean * 1e-3;
    /* An adapter that repeats what it measured last is never later than one frame. */
    int pass = f->late_known ? f->late == 0 : -1;
    spw_check *c = add(f, "latency", v->latency_ms.median, frame_ms, pass, false);
    if (pass < 0)
        say(c,
            f->moved
                ? "not told: no single input explains an output while the input moves"
                : "not told: the input hardly moved, so the pulse that caused an output cannot be "
                  "picked out; move the controller while recording");
    else if (pass == 0)
        say(c,
            "an output answers the input %zu frame%s before the latest one: %.2f ms late (median; "
            "%.2f to %.2f ms), a frame is %.2f ms",
            f->late, f->late == 1 ? "" : "s", v->latency_ms.median, v->latency_ms.min,
            v->latency_ms.max, frame_ms);
    else
        say(c,
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
    double limit = fmax(5, 6 * noise) + tick_of(f);
    int pass = f->moving > 0 && f->moved ? f->worst_moving_us <= limit : -1;
    spw_check *c = add(f, "smoothing", f->worst_moving_us, limit, pass, false);
    if (pass < 0)
        say(c, "not told: the input did not move; let it jump from one end to the other");
    else if (pass == 0)
        say(c,
            "while the input moved the output was up to %.1f us off the line: it is smoothed over "
            "several frames, or pulses are lost",
            f->worst_moving_us);
    else
        say(c, "while the input moved the output stayed within %.1f us of the line",
            f->worst_moving_us);
}

static void check_pairing(spw_verifier *f) {
    spw_verification *v = f->v;
    if (v->method != SPW_VERIFY_PULSES)
        return;
    size_t all = v->pairs + v->unpaired_after;
    double share = all > 0 ? 100.0 * (double)v->unpaired_after / (double)all : 0;
    spw_check *c = add(f, "pairing", share, 1, share <= 1, true);
    say(c,
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
    double gain = v->planned.known ? fabs(v->planned.remap.gain) : fabs(v->gain);
    double tick = tick_of(f);
    double limit = in > 0 ? 1.3 * hypot(gain, tick / in) : (double)NAN;
    int pass = in > 0 ? v->jitter_gain <= limit : -1;
    spw_check *c = add(f, "jitter", v->jitter_gain, limit, pass, false);
    if (pass < 0)
        say(c, "not told: the input's scatter is below what the recording shows by itself");
    else
        say(c,
            "the scatter of the widths is multiplied by %.2f; the gain is %.2f and a tick adds "
            "%.2f us",
            v->jitter_gain, gain, tick / sqrt(6));
}

void spw_verify_judge(spw_verifier *f) {
    check_line(f);
    check_residual(f);
    check_clamp(f, false);
    check_clamp(f, true);
    check_latency(f);
    check_smoothing(f);
    check_pairing(f);
    check_jitter(f);
    int pass = f->v->planned.known ? 1 : -1;
    for (size_t k = 0; k < f->v->checks && f->v->planned.known; k++) {
        const spw_check *c = &f->v->check[k];
        if (c->pass == 0)
            pass = 0;
        else if (c->pass < 0 && c->matters && pass > 0)
            pass = -1;
    }
    f->v->pass = pass;
}
