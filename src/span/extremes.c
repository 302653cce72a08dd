/* The ends of a control that was swept and never held.
 *
 * Taken over the frames outside holds: a stick that rests at neutral for most of
 * the capture and then goes from end to end has both ends in the last percent of
 * all its frames. The 1 and 99 % quantiles lie inside the true ends, so each end's
 * uncertainty reaches at least to the widest width that was seen. */
#include "span/parts.h"

#include <math.h>
#include <stdlib.h>

#define FRAMES_MIN 100
/* Less travel than this is drift or jitter, not a sweep. */
#define SWEEP_MIN_US 50.0
/* Half of all neighbouring frames differ by less than this part of the range:
 * random widths have 0.29 (uniform) or 0.2 (normal), a sine of 1 s at 50 Hz 0.05. */
#define SWEEP_STEP_MAX 0.125

typedef struct widths {
    double *width, *step;
    size_t n, steps;
    double timebase_ratio; /* u_timebase over the width; the largest */
    double sampling_us;    /* u of one width; the largest */
    spw_doubt doubt;       /* of any part of it */
} widths;

static int by_value(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The widths of pulses [first, end) outside of holds. */
static void add_pulses(const spw_channel *channel, size_t first, size_t end, widths *w) {
    size_t hold = 0;
    double last = NAN;
    for (size_t i = first; i < end; i++) {
        while (hold < channel->holds && channel->hold[hold].end_pulse <= i)
            hold++;
        bool held = hold < channel->holds && channel->hold[hold].first_pulse <= i;
        if (held || (channel->pulse[i].flags & (SPW_PULSE_OUT | SPW_PULSE_ODD)) != 0) {
            last = NAN;
            continue;
        }
        double width = (channel->pulse[i].trail_s - channel->pulse[i].lead_s) * 1e6;
        w->width[w->n++] = width;
        if (!isnan(last))
            w->step[w->steps++] = fabs(width - last);
        last = width;
        w->sampling_us = fmax(w->sampling_us, (double)channel->pulse[i].u_width_us);
    }
}

static void add_channel(const spw_channel *channel, widths *w) {
    for (size_t r = 0; r < channel->regimes; r++)
        if (spw_regime_judged(channel, r))
            add_pulses(channel, channel->regime[r].first_pulse, channel->regime[r].end_pulse, w);
    if (channel->regimes == 0)
        add_pulses(channel, 0, channel->pulses, w);
    for (size_t i = 0; i < channel->doubts; i++)
        spw_doubt_join(&w->doubt, &channel->doubt[i]);
    if (channel->budget.u_timebase > 0 && channel->width_us.mean > 0)
        w->timebase_ratio =
            fmax(w->timebase_ratio, channel->budget.u_timebase / channel->width_us.mean);
}

/* An end from the sorted widths. `p` 0.01 or 0.99. The quantile's own interval
 * is the one of its order statistics (binomial, normal approximation). */
static spw_span_point end_point(const widths *w, double p) {
    double n = (double)w->n, half = 1.96 * sqrt(p * (1 - p) / n);
    double at = spw_quantile_sorted(w->width, w->n, p);
    double below = spw_quantile_sorted(w->width, w->n, fmax(0, p - half));
    double above = spw_quantile_sorted(w->width, w->n, fmin(1, p + half));
    double outer = p < 0.5 ? w->width[0] : w->width[w->n - 1];
    double reach = fmax(fmax(at - below, above - at), fabs(outer - at));
    spw_span_point point = {.us = at,
                            .dof = INFINITY,
                            .u_own = hypot(reach / 1.96, w->sampling_us),
                            .u_shared = w->timebase_ratio * at,
                            .u_sampling = w->sampling_us,
                            .frames = w->n,
                            .doubt = w->doubt};
    point.u = hypot(point.u_own, point.u_shared);
    point.U95 = spw_coverage_factor(0.95, INFINITY) * point.u;
    return point;
}

static void judge_sweep(widths *w, spw_span *span) {
    if (w->n < FRAMES_MIN || w->steps == 0)
        return;
    qsort(w->width, w->n, sizeof *w->width, by_value);
    qsort(w->step, w->steps, sizeof *w->step, by_value);
    spw_span_point low = end_point(w, 0.01), high = end_point(w, 0.99);
    double range = high.us - low.us;
    if (range < SWEEP_MIN_US ||
        spw_quantile_sorted(w->step, w->steps, 0.5) > SWEEP_STEP_MAX * range)
        return;
    span->known = true;
    span->basis = SPW_SPAN_EXTREMES;
    span->low = low;
    span->high = high;
}

spw_status spw_span_extremes(const spw_channel *const *channels, size_t n, spw_span *span) {
    size_t most = 0;
    for (size_t i = 0; i < n; i++)
        most += channels[i]->pulses;
    if (most < FRAMES_MIN)
        return SPW_OK;
    spw_status status = SPW_ERR_MEMORY;
    widths w = {.width = malloc(most * sizeof(double)), .step = malloc(most * sizeof(double))};
    if (w.width == NULL || w.step == NULL)
        goto done;
    for (size_t i = 0; i < n; i++)
        add_channel(channels[i], &w);
    judge_sweep(&w, span);
    status = SPW_OK;
done:
    free(w.width);
    free(w.step);
    return status;
}
