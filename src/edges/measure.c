/* What the signal is like, and when its transitions are. */
#include "edges/finder.h"

#include "edges/learn.h"
#include "edges/plateau.h"
#include "edges/restore.h"
#include "edges/scale.h"
#include "edges/two.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

#define FLOOR_CROSSING 0.012 /* of a sample period, a width: what phase leaves in a crossing */
#define FLOOR_IDEAL 0.003    /* the same for an ideal shape that was not learned */
#define SHAPE_S 750e-6       /* how far a transition rings */
#define WINDOW_S 250e-6      /* how far it is fitted */
#define MISFIT 3.0           /* residuals over the plateaus' noise: the shape does not hold */
#define COLOURED 1.1 /* residuals where there is no transition over noise from sample to sample */
#define STRAIN 1.2   /* the same: it does not hold quite */
#define POOLED_DOF 20.0    /* weight of the capture's noise in one transition's */
#define SHAPE_DOF 30.0     /* what the shape takes from the residuals */
#define SHAPE_SHARE 1.24   /* variance it adds, over the number of pulses it is from */
#define COARSE_STEPS 256.0 /* a step of more quanta meets enough of them to average */
#define COARSE_SHARE 2.0   /* variance, when rounding exceeds the noise (found by simulation) */
#define UNTOLD 0.05 /* of a sample period, an edge: where the signal is not what it should be */
#define UNLIKE 7e-5 /* of the step, rms difference of rise and fall that matters */
#define CERTAIN 4.0 /* standard deviations above what noise would do */
#define SURE 5.0    /* the same, to say so */
#define SLOW_RINGING 4e-3 /* below: no converter's filter has limited the band */
#define SLOW_REACH 4.0    /* of its samples between the levels, either way */
#define CURVED 0.02 /* samples an edge, of slope times reach^2: mains hum (found by simulation) */
#define QUIET 3e-4  /* of the step */
enum { ENOUGH_PULSES = 8, QUIET_HALF = 52, REACH_MOST = 24, HUM_SEARCHES = 8 };
#define INSTANT_BETWEEN 1.0 /* samples within a transition; a band-limited one has more, or ... */
/* ... leaves the levels for longer (squares, of the step): 2e-4 where a half-band filter meets
 * all transitions midway between two samples, more elsewhere */
#define INSTANT_RINGING 1e-4
#define FLAT_SHARE 0.9 /* of all samples, on the two levels */
#define CLIPPED_SHARE                                                                              \
    0.95 /* of the level's samples, on the more clipped side of each transition                    \
          */

static void clip_limits(const spw_edge_finder *f, float *low, float *high) {
    double full = f->settings.full_scale;
    *low = f->clip_low;
    *high = f->clip_high;
    if (full > 0) {
        *low = fmaxf(*low, (float)(-full * (1 - 0.5 / 32768)));
        *high = fminf(*high, (float)(full * (1 - 1.5 / 32768)));
    }
}

void spw_finder_flag(spw_edge_finder *f) {
    float low, high;
    clip_limits(f, &low, &high);
    for (size_t i = f->flagged, end; i < f->n; i = end) {
        size_t k = (i + f->skip) / f->chunk;
        end = (k + 1) * f->chunk - f->skip;
        end = end < f->n ? end : f->n;
        bool within = f->range[k].high < high && f->range[k].low > low;
        for (; !within && i < end; i++) {
            bool clipped = f->y[i] >= high || f->y[i] <= low;
            if (!clipped || f->flag[i] != 0)
                continue;
            f->flag[i] = SPW_SAMPLE_CLIPPED;
            if (f->report.clipped_samples++ == 0)
                f->report.first_clip_s =
                    f->settings.start_s + (double)(f->base + i) / f->settings.sample_rate_hz;
        }
    }
    f->flagged = f->n;
}

/* The smallest step between neighbours that is one. */
static float smallest_step(const float *y, size_t n) {
    const spw_four none = spw_four_times(FLT_MAX);
    spw_four least = none;
    size_t i = 1;
    for (; i + 4 <= n; i += 4) {
        spw_four d = spw_magnitude(spw_four_at(y + i) - spw_four_at(y + i - 1));
        least = spw_smaller(spw_pick((spw_four_masks)(d > 0), d, none), least);
    }
    float smallest = spw_least_of(least);
    for (; i < n; i++) {
        float d = fabsf(y[i] - y[i - 1]);
        smallest = d > 0 && d < smallest ? d : smallest;
    }
    return smallest;
}

/* Samples at one end of the range, and those a few steps of the converter next to it. */
typedef struct pile {
    size_t at, near;
} pile;

static bool piled_up(const pile *p) {
    return p->at >= 8 && p->at > 2 * p->near;
}

static void count_piles(const spw_edge_finder *f, float low, float high, float quantum,
                        pile end[2]) {
    size_t chunks = (f->skip + f->n + f->chunk - 1) / f->chunk;
    float low_end = low + 3.5F * quantum, high_end = high - 3.5F * quantum;
    for (size_t k = 0; k < chunks; k++) {
        if (f->range[k].low >= low_end && f->range[k].high <= high_end)
            continue;
        size_t from = k > 0 ? k * f->chunk - f->skip : 0, to = (k + 1) * f->chunk - f->skip;
        for (size_t i = from; i < to && i < f->n; i++) {
            end[0].at += f->y[i] == low;
            end[1].at += f->y[i] == high;
            end[0].near += f->y[i] > low && f->y[i] < low_end;
            end[1].near += f->y[i] < high && f->y[i] > high_end;
        }
    }
}

/* Flat tops: a recorder (or the stage before it) that clips piles its samples up
 * on one value at the end of the range; noise never does. Where that leaves no noise at
 * all, both levels are flat, and nothing of a converter's ringing is beyond them. */
static void find_flat_tops(spw_edge_finder *f) {
    float quantum = smallest_step(f->y, f->n);
    f->quantum = (double)quantum < 0.1 * f->size.typical ? (double)quantum : 0;
    bool noisy = f->noise > 1.5 * f->quantum;
    if (!(f->settings.full_scale > 0) || (!noisy && f->quantum == 0))
        return;
    spw_range all = spw_range_none();
    (void)spw_range_take(NULL, f->y, f->n, &all);
    pile end[2] = {{0, 0}, {0, 0}};
    count_piles(f, all.low, all.high, quantum, end);
    bool low = piled_up(&end[0]), high = piled_up(&end[1]);
    f->flat = low && high && (double)(end[0].at + end[1].at) > FLAT_SHARE * (double)f->n;
    if (!noisy)
        return;
    if (low)
        f->clip_low = all.low;
    if (high)
        f->clip_high = all.high;
    f->flagged = 0;
    spw_finder_flag(f);
}

/* Share of clipped samples where levels are taken. */
static void count_clipped(spw_edge_finder *f, const spw_mark *marks, size_t n) {
    size_t guard = spw_trace_samples(f->settings.sample_rate_hz, 60e-6, 1);
    size_t reach = spw_trace_samples(f->settings.sample_rate_hz, 260e-6, 3);
    for (size_t k = 0; f->report.clipped_samples > 0 && k < n; k++) {
        for (size_t d = guard; d < reach; d++) {
            size_t at = (size_t)fmax(marks[k].at, 0);
            if (at < d || at + d >= f->n)
                continue;
            f->plateau_samples++; /* of the more clipped side: half of the transitions' samples */
            f->plateau_clipped += ((f->flag[at - d] | f->flag[at + d]) & SPW_SAMPLE_CLIPPED) != 0;
        }
    }
    if (f->plateau_samples > 0 &&
        (double)f->plateau_clipped > CLIPPED_SHARE * (double)f->plateau_samples)
        f->report.doubts |= SPW_DOUBT_CLIPPING;
}

/* Before the shape is fitted: see restore.h. */
static void restore(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    spw_clip clip = {.y = f->y, .flag = f->flag, .noise = f->noise};
    clip_limits(f, &clip.low, &clip.high);
    if (f->report.clipped_samples > 0)
        spw_restore_clipped(&clip, trace, &f->smooth, &f->shape, f->marks, n);
}

/* What all transitions have in common. */
typedef struct survey {
    double between, step;
} survey;

/* Why transitions show no ringing: they are cut off, or shorter than a sample. */
static uint32_t instant_because(const spw_edge_finder *f) {
    return f->flat || f->report.clipped_samples > 0 ? SPW_DOUBT_CLIPPING : SPW_DOUBT_TOO_FAST;
}

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
        f->report.doubts |= instant_because(f);
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

static size_t reach_of(const spw_edge_finder *f) {
    size_t reach = spw_trace_samples(f->settings.sample_rate_hz, WINDOW_S, 12);
    if ((double)reach < SLOW_REACH * f->between) /* a slow transition has more to tell */
        reach = (size_t)fmin(SLOW_REACH * f->between, REACH_MOST);
    /* a level that is clipped on one side is told by more samples of the other */
    return reach < REACH_MOST && f->report.clipped_samples == 0 ? reach : REACH_MOST;
}

/* Heights that vary are told by the shape better than by levels; the shape is learned anew
 * with them. */
static spw_status learn_heights(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    spw_fit *fit = calloc(n, sizeof *fit);
    if (fit == NULL)
        return SPW_ERR_MEMORY;
    f->window.tilt = f->window.sure = 0;
    for (size_t k = 0; k < n; k++)
        if (!spw_fit_mark(&f->window, trace, &f->smooth, &f->shape, f->marks, n, k, reach_of(f),
                          f->noise, 2, false, &fit[k]))
            fit[k].dof = 0;
    bool done = spw_scale_by_fits(f->marks, fit, n);
    free(fit);
    if (!done)
        return SPW_ERR_MEMORY;
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
    double widest = (double)(SPW_WINDOW_MOST - 2 * half - 4);
    if (n >= 2 * ENOUGH_PULSES && short_intervals(f->marks, n, widest) < ENOUGH_PULSES)
        return SPW_OK; /* and so it is where pulses have more samples than can be learned from */
    spw_status status = spw_shape_new(half, &f->shape);
    if (status != SPW_OK)
        return status;
    spw_shape_ideal(&f->shape, s.step, 0.94 * fmin(1, 1.05 / fmax(s.between, 0.1)));
    bool steady = spw_scale_by_steps(f->marks, n, s.step, f->noise);
    restore(f, trace, n);
    status = spw_shape_learn(trace, &f->smooth, f->marks, n, f->noise, &f->shape, &f->learned_from);
    if (status == SPW_OK && f->learned_from > 0 && !steady)
        status = learn_heights(f, trace, n);
    if (status == SPW_OK && f->learned_from > 0 && f->report.clipped_samples > 0) {
        /* only the shape tells what the clipped samples were, and without them it was bent */
        restore(f, trace, n);
        status =
            spw_shape_learn(trace, &f->smooth, f->marks, n, f->noise, &f->shape, &f->learned_from);
    }
    f->report.method = SPW_METHOD_TEMPLATE;
    if (f->learned_from == 0)
        f->report.doubts |= n < 2 * ENOUGH_PULSES ? SPW_DOUBT_FEW : SPW_DOUBT_SATURATION;
    return status;
}

spw_status spw_finder_hum(const spw_edge_finder *f, const spw_trace *trace, size_t n, bool *hum) {
    double noise = spw_plateau_noise(trace, f->marks, n);
    spw_smooth smooth = {0};
    noise = noise > 0 ? noise : 1e-7 * f->size.typical;
    spw_status status = spw_plateau_fit(trace, f->marks, n, f->size.typical, noise, true, &smooth);
    *hum = smooth.hum > 0;
    return status;
}

spw_status spw_finder_learn(spw_edge_finder *f, const spw_trace *trace, size_t n) {
    f->noise = spw_plateau_noise(trace, f->marks, n);
    find_flat_tops(f);
    double noise = f->noise > 0 ? f->noise : 1e-7 * f->size.typical;
    f->coarse = f->quantum / sqrt(12.0) > noise && f->size.typical < COARSE_STEPS * f->quantum;
    noise = fmax(noise, f->quantum / sqrt(12.0));
    spw_status status =
        spw_plateau_fit(trace, f->marks, n, f->size.typical, noise, true, &f->smooth);
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

static void by_crossing(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh) {
    bool counted = f->report.method == SPW_METHOD_SAMPLES;
    for (size_t k = fresh; k < n; k++) {
        spw_mark *mark = &f->marks[k];
        if (!spw_crossing_time(&f->crossing, trace, &f->smooth, f->marks, n, k, f->noise, !counted,
                               NULL)) {
            mark->flags |= SPW_EDGE_DOUBTFUL;
            mark->u = 1;
            continue;
        }
        f->glitches += (mark->flags & SPW_EDGE_DOUBTFUL) != 0; /* no plateau */
        if (counted)
            mark->u = 1 / sqrt(12.0);
        else
            mark->u = hypot(mark->u, (f->report.doubts & SPW_DOUBT_SATURATION) != 0
                                         ? UNTOLD
                                         : FLOOR_CROSSING / M_SQRT2);
        mark->u = hypot(mark->u, f->settings.codec_samples / M_SQRT2);
        if (f->fallen_back)
            mark->flags |= SPW_EDGE_FALLBACK | SPW_EDGE_DOUBTFUL;
    }
}

/* Rises and falls mirrored should leave the same residuals. A difference d along the bend
 * tells of unequal RC corners: d = (tau_r^2 - tau_f^2) / 2 T'', and a width is then off by
 * (1 - ln 2)(tau_f - tau_r), at most by that of the root of the difference of squares. One
 * that is tied to the level is saturation. */
static void judge_symmetry(spw_edge_finder *f) {
    spw_difference bend, level;
    if (f->settings.lossy || f->noise < 0.8 * f->quantum ||
        !spw_scores_differ(&f->scores, SPW_BEND, &bend) ||
        !spw_scores_differ(&f->scores, SPW_LEVEL_BOW, &level))
        return;
    if (level.certain > SURE && level.rms > UNLIKE && level.rms > bend.rms)
        f->report.doubts |= SPW_DOUBT_SATURATION;
    if (!(bend.certain > SURE && bend.rms > UNLIKE))
        return;
    f->report.doubts |= SPW_DOUBT_ASYMMETRY;
    double us = (1 - M_LN2) * sqrt(2 * fabs(bend.value)) * 1e6 / f->settings.sample_rate_hz;
    f->report.u_asymmetry_us = hypot(f->report.u_asymmetry_us, us);
}

/* The shape does not describe the capture. */
static void fall_back(spw_edge_finder *f) {
    bool few = f->learned_from == 0 && (f->report.doubts & SPW_DOUBT_FEW) != 0;
    bool undersampled = !few && f->ringing < SLOW_RINGING && f->report.clipped_samples == 0 &&
                        (f->report.doubts & SPW_DOUBT_ASYMMETRY) == 0;
    f->report.method = undersampled ? SPW_METHOD_SAMPLES : SPW_METHOD_CROSSING;
    if (undersampled)
        f->report.doubts |= instant_because(f);
    else if (!f->settings.lossy && !few)
        f->report.doubts |= SPW_DOUBT_SATURATION;
    f->fallen_back = true;
}

/* Does the shape hold? Residuals of transitions against those that the same fit leaves where
 * there is none. */
static void judge_shape(spw_edge_finder *f, double variance, double dof) {
    f->judged = true;
    if (f->learned_from > 0)
        judge_symmetry(f);
    double usual = f->spread * f->spread;
    double unsure = hypot(sqrt(2 / dof), f->quiet.n > 1 ? f->quiet.unsure / usual : 0);
    double excess = variance / usual;
    bool bare = f->report.clipped_samples == 0 && !f->settings.lossy;
    if (excess > MISFIT * MISFIT)
        fall_back(f);
    else if (bare && excess > fmax(STRAIN * STRAIN, 1 + SURE * unsure))
        f->report.doubts |= SPW_DOUBT_SATURATION;
}

/* GUM: the transition's own residuals and the capture's pooled ones, weighted by
 * degrees of freedom; what the shape's own uncertainty adds; floors where one holds. */
static void state_uncertainty(spw_edge_finder *f, spw_mark *mark, const spw_fit *fit, double bent) {
    bool learned = f->learned_from > 0;
    double variance = f->pooled_rss / fmax(f->pooled_dof - (learned ? SHAPE_DOF : 0), 1);
    if (f->pooled_dof < 2 * SHAPE_DOF)
        variance = f->pooled_rss / fmax(f->pooled_dof / 2, 1);
    if (f->spread > f->noise)
        variance = fmax(variance, f->spread * f->spread);
    double share = learned ? 1 + SHAPE_SHARE / (double)f->learned_from : 1;
    double floor = learned ? 0 : FLOOR_IDEAL / M_SQRT2;
    if ((f->report.doubts & SPW_DOUBT_CLIPPING) != 0)
        floor = FLOOR_CROSSING / M_SQRT2;
    if ((f->report.doubts & SPW_DOUBT_SATURATION) != 0)
        floor = UNTOLD;
    if (floor > FLOOR_IDEAL)
        mark->flags |= SPW_EDGE_DOUBTFUL;
    if (fit->dof <= 0) {
        mark->flags |= SPW_EDGE_DOUBTFUL | SPW_EDGE_FALLBACK;
        mark->u = hypot(mark->u, FLOOR_CROSSING);
        return;
    }
    double s2 = (POOLED_DOF * variance + fit->rss) / (POOLED_DOF + fit->dof);
    s2 *= f->quiet.moves;
    if (f->coarse) /* steps of the converter, not noise: no help from averaging over samples */
        s2 *= COARSE_SHARE;
    mark->u = hypot(sqrt(s2 * fit->gain * share), hypot(floor, bent));
    mark->u = hypot(mark->u, fit->lean * fit->u_higher);
    mark->u = hypot(mark->u, f->settings.codec_samples / M_SQRT2);
    if (fit->clipped > 0)
        mark->flags |= SPW_EDGE_CLIPPED;
    f->u2_sum += mark->u * mark->u;
    f->u2_n++;
}

/* How much more backgrounds slope than in the first stretch, as a share of what noise
 * makes; 0 when that may be chance. */
static double more_tilted(spw_edge_finder *f, const spw_fit *fit, size_t fresh, size_t n,
                          size_t reach) {
    const spw_mark *marks = f->marks + fresh;
    size_t used;
    spw_tilts tilts = spw_tilts_whole(marks, fit + fresh, n - fresh, reach, &used);
    if (used < 2 * ENOUGH_PULSES)
        return 0;
    bool first = f->tilt_usual <= 0;
    f->tilts = first ? tilts : f->tilts;
    double excess = spw_tilts_excess(marks, fit + fresh, n - fresh, reach, f->spread, &f->tilts);
    f->tilt_usual = first ? fmax(excess, 1) : f->tilt_usual;
    /* a mean square of n values is known to sqrt(2 / n) of itself */
    bool chance = excess < f->tilt_usual * (1.2 + CERTAIN * sqrt(2 / (double)used));
    return first || chance ? 0 : excess - f->tilt_usual;
}

/* Hum that was not there while learning tilts backgrounds; it is looked for only then. */
static spw_status look_for_hum(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                               const spw_fit *fit, size_t reach, bool *found) {
    *found = false;
    double more = f->smooth.hum > 0 ? 0 : more_tilted(f, fit, fresh, n, reach);
    if (more <= 0 || f->hum_searches == HUM_SEARCHES)
        return SPW_OK;
    f->hum_searches++; /* a search is dear, and what tilts may be something else */
    spw_smooth smooth = f->smooth;
    spw_status status =
        spw_plateau_fit(trace, f->marks, n, f->size.typical, f->noise, false, &smooth);
    if (status != SPW_OK || !(smooth.hum > 0))
        return status;
    *found = true;
    f->smooth = smooth;
    return SPW_OK;
}

static void fit_all(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                    size_t reach, bool again, spw_fit *fit) {
    spw_tilts tilts = {{0}, {0}};
    restore(f, trace, n);
    if (again && f->report.clipped_samples > 0)
        tilts = spw_tilts_clipped(f->marks, fit, n, f->noise);
    for (size_t k = 0; k < n; k++) {
        size_t rises = f->marks[k].sign > 0;
        f->window.tilt = tilts.mean[rises];
        f->window.sure = fit[k].clipped > 0 ? tilts.sure[rises] : 0;
        if (!spw_fit_mark(&f->window, trace, &f->smooth, &f->shape, f->marks, n, k, reach,
                          f->spread, again ? 3 : 2, again, &fit[k]))
            fit[k].dof = 0;
        else if (again && !f->judged && k >= fresh && fit[k].clipped == 0 &&
                 f->window.n == 2 * reach + 1)
            spw_scores_add(&f->scores, &f->window, &f->shape, &f->marks[k]);
    }
}

/* What noise does to fits. White noise has been measured from sample to sample; where fits
 * see more of it than that, it is coloured. */
static void look_at_noise(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t reach) {
    f->quiet = spw_quiet_measure(&f->window, trace, &f->smooth, &f->shape, f->marks, n, reach);
    bool coloured = f->quiet.variance > COLOURED * COLOURED * f->noise * f->noise;
    f->spread = coloured ? sqrt(f->quiet.variance) : f->noise;
}

/* Every transition fitted with the shape; twice, because what the neighbours add
 * depends on their instants. */
static spw_status by_shape(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh) {
    spw_fit *fit = calloc(n, sizeof *fit);
    if (fit == NULL)
        return SPW_ERR_MEMORY;
    size_t reach = reach_of(f);
    for (size_t k = 0; k < n; k++)
        spw_crossing_time(&f->crossing, trace, &f->smooth, f->marks, n, k, f->noise, false, NULL);
    (void)spw_scale_by_steps(f->marks, n, f->shape.height, f->noise);
    for (size_t k = fresh; k < n; k++)
        f->glitches += (f->marks[k].flags & SPW_EDGE_DOUBTFUL) != 0; /* no plateau */
    bool hum;
    fit_all(f, trace, n, fresh, reach, false, fit);
    spw_status status = look_for_hum(f, trace, n, fresh, fit, reach, &hum);
    if (hum)
        fit_all(f, trace, n, fresh, reach, false, fit);
    if (status == SPW_OK && !spw_scale_by_fits(f->marks, fit, n))
        status = SPW_ERR_MEMORY;
    if (!f->judged)
        look_at_noise(f, trace, n, reach);
    if (status == SPW_OK)
        fit_all(f, trace, n, fresh, reach, true, fit);
    /* where hum sets in within the stretch, or none was found, fits meet its curvature */
    double m = 2 * (double)reach + 1, more = more_tilted(f, fit, fresh, n, reach);
    double tilt = f->spread / f->shape.height * sqrt(more * 12 / (m * (m * m - 1)));
    double bent = CURVED * (double)(reach * reach) * tilt;
    double rss = 0, dof = 0;
    for (size_t k = fresh; k < n; k++) {
        rss += fit[k].rss;
        dof += fit[k].dof;
    }
    if (bent == 0) {
        f->pooled_rss += rss;
        f->pooled_dof += dof;
    }
    if (!f->judged && dof > 0)
        judge_shape(f, rss / dof, dof);
    for (size_t k = fresh; k < n; k++)
        state_uncertainty(f, &f->marks[k], &fit[k], bent);
    free(fit);
    return status;
}

spw_status spw_finder_time(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh) {
    count_clipped(f, f->marks + fresh, n - fresh);
    if (f->smooth.hum > 0 && f->any) { /* the mains wander: follow them */
        spw_smooth smooth = f->smooth;
        spw_status status =
            spw_plateau_fit(trace, f->marks, n, f->size.typical, f->noise, false, &smooth);
        if (status != SPW_OK)
            return status;
        if (smooth.hum > 0)
            f->smooth = smooth;
        double amplitude = spw_hum_amplitude(&f->smooth);
        if (amplitude > f->report.hum_amplitude) { /* it came late */
            f->report.hum_hz = f->smooth.hum * trace->rate_hz / (2 * M_PI);
            f->report.hum_amplitude = amplitude;
        }
    }
    spw_status status = SPW_OK;
    if (f->report.method == SPW_METHOD_TEMPLATE)
        status = by_shape(f, trace, n, fresh);
    if (status == SPW_OK && f->report.method != SPW_METHOD_TEMPLATE)
        by_crossing(f, trace, n, fresh);
    return status;
}
