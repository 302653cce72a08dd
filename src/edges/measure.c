/* What the signal is like, and when its transitions are. */
#include "edges/finder.h"

#include "edges/hum.h"
#include "edges/learn.h"
#include "edges/plateau.h"
#include "edges/scale.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

#define SHAPE_S 750e-6     /* how far a transition rings */
#define COARSE_STEPS 256.0 /* a step of more quanta meets enough of them to average */
#define QUIET 3e-4         /* of the step */
enum { QUIET_HALF = 52 };
#define INSTANT_BETWEEN 1.0 /* samples within a transition; a band-limited one has more, or ... */
/* ... leaves the levels for longer (squares, of the step): 2e-4 where a half-band filter meets
 * all transitions midway between two samples, more elsewhere */
#define INSTANT_RINGING 1e-4

/* What all transitions have in common. */
typedef struct survey {
    double between, step;
} survey;

static survey look_at_all(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    double between = 0, ringing = 0, low = 0, high = 0, steps = 0, count = 0;
    for (size_t k = 0; k < n; k++) {
        spw_local local;
        if (!spw_crossing_time(&f->crossing, trace, &f->smooth, f->marks, n, k, f->noise, true,
                               &local))
            continue;
        double step = fmax(local.high - local.low, DBL_MIN);
        between += local.between;
        ringing += local.ringing - 8 * f->noise * f->noise / (step * step);
        steps += step;
        low += local.raw_low;
        high += local.raw_high;
        count++;
    }
    if (count == 0)
        return (survey){0};
    f->report.low = low / count;
    f->report.high = high / count;
    bool instant = between / count < INSTANT_BETWEEN && ringing / count < INSTANT_RINGING;
    f->report.method = instant ? SPW_METHOD_SAMPLES : SPW_METHOD_CROSSING;
    if (instant)
        f->report.doubts |= spw_finder_instant(f);
    f->ringing = ringing / count;
    f->between = between / count;
    return (survey){.between = between / count, .step = steps / count};
}

static size_t short_intervals(const spw_mark *marks, size_t n, double samples) {
    size_t count = 0;
    for (size_t k = 1; k < n; k++)
        count += marks[k].at - marks[k - 1].at < samples;
    return count;
}

/* What the shape is learned from, each time: what the last one learned of noise is no start. */
static void start_shape(spw_edge_finder *f, double step) {
    spw_shape_ideal(&f->shape, step, 0.94 * fmin(1, 1.05 / fmax(f->between, 0.1)));
}

/* Heights that vary are told by the shape better than by levels; the shape is learned anew
 * with them. */
static spw_status learn_heights(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    spw_fit *fit = calloc(n, sizeof *fit);
    if (fit == NULL)
        return SPW_ERR_MEMORY;
    f->window.tilt = f->window.sure = 0;
    for (size_t k = 0; k < n; k++)
        if (!spw_fit_mark(&f->window, trace, &f->smooth, &f->shape, f->marks, n, k,
                          spw_finder_reach(f), f->noise, 2, false, &fit[k]))
            fit[k].dof = 0;
    bool done = spw_scale_by_fits(f->marks, fit, n);
    free(fit);
    if (!done)
        return SPW_ERR_MEMORY;
    start_shape(f, f->shape.height);
    return spw_shape_learn(trace, &f->smooth, f->marks, n, f->noise, &f->shape, &f->learned_from);
}

static spw_status learn_shape(spw_edge_finder *f, const spw_trace *trace, size_t n, survey s) {
    size_t half = spw_trace_samples(trace->rate_hz, SHAPE_S, 36);
    /* a minimum-phase filter rings on above this noise; but where pulses are shorter than
     * the shape, the rest of one edge's shape trades against the other's instant */
    if (f->noise < QUIET * s.step && short_intervals(f->marks, n, QUIET_HALF) < n / 10)
        half = half > QUIET_HALF ? half : QUIET_HALF;
    half = half < 64 ? half : 64;
    if (!(s.step > 0) || s.between > 0.3 * (double)half)
        return SPW_OK; /* slower than the shape can hold: a crossing is all there is */
    f->overlap = short_intervals(f->marks, n, (double)half) > n / 10;
    double widest = (double)(SPW_WINDOW_MOST - 2 * half - 4);
    if (n >= 2 * SPW_PULSES_ENOUGH && short_intervals(f->marks, n, widest) < SPW_PULSES_ENOUGH)
        return SPW_OK; /* and so it is where pulses have more samples than can be learned from */
    spw_status status = spw_shape_new(half, &f->shape);
    if (status != SPW_OK)
        return status;
    start_shape(f, s.step);
    bool steady = spw_scale_by_steps(f->marks, n, s.step, f->noise);
    spw_finder_restore(f, trace, n);
    status = spw_shape_learn(trace, &f->smooth, f->marks, n, f->noise, &f->shape, &f->learned_from);
    if (status == SPW_OK && f->learned_from > 0 && !steady)
        status = learn_heights(f, trace, n);
    if (status == SPW_OK && f->learned_from > 0 && f->report.clipped_samples > 0) {
        /* only the shape tells what the clipped samples were, and without them it was bent */
        spw_finder_restore(f, trace, n);
        status =
            spw_shape_learn(trace, &f->smooth, f->marks, n, f->noise, &f->shape, &f->learned_from);
    }
    f->report.method = SPW_METHOD_TEMPLATE;
    if (f->learned_from == 0)
        f->report.doubts |= n < 2 * SPW_PULSES_ENOUGH ? SPW_DOUBT_FEW : SPW_DOUBT_NO_SHAPE;
    return status;
}

spw_status spw_finder_hum(spw_edge_finder *f, const spw_trace *trace, size_t n, bool *hum) {
    double noise = spw_plateau_noise(trace, f->marks, n);
    spw_smooth smooth = {0};
    double quantum = spw_finder_quantum(f);
    noise = fmax(noise > 0 ? noise : 1e-7 * f->size.typical, quantum / sqrt(12.0));
    spw_plateau_signal signal = {f->size.typical, noise, quantum};
    spw_status status = spw_plateau_fit(trace, f->marks, n, &signal, true, &smooth);
    *hum = status == SPW_OK && smooth.hum > 0;
    if (*hum)
        f->smooth = smooth;
    return status;
}

spw_status spw_finder_learn(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    f->noise = spw_plateau_noise(trace, f->marks, n);
    spw_finder_flat_tops(f);
    double noise = f->noise > 0 ? f->noise : 1e-7 * f->size.typical;
    f->coarse = f->quantum / sqrt(12.0) > noise && f->size.typical < COARSE_STEPS * f->quantum;
    noise = fmax(noise, f->quantum / sqrt(12.0));
    spw_plateau_signal signal = {f->size.typical, noise, f->quantum};
    spw_status status = spw_plateau_fit(trace, f->marks, n, &signal, true, &f->smooth);
    if (status != SPW_OK)
        return status;
    f->noise = f->spread = noise;
    survey s = look_at_all(f, trace, n);
    if (f->report.method == SPW_METHOD_CROSSING)
        status = learn_shape(f, trace, n, s);
    f->report.noise_sd = noise;
    f->report.droop_corner_hz = f->smooth.p * trace->rate_hz / (2 * M_PI);
    f->report.hum_hz = f->smooth.hum * trace->rate_hz / (2 * M_PI);
    f->report.hum_amplitude = spw_hum_amplitude(&f->smooth);
    return status;
}
