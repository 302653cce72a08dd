/* When the transitions of a stretch are. */
#include "edges/finder.h"

#include "edges/hum.h"
#include "edges/plateau.h"
#include "edges/scale.h"

#include <math.h>
#include <stdlib.h>

#define FLOOR_CROSSING 0.012 /* of a sample period, a width: what phase leaves in a crossing */
#define FLOOR_IDEAL 0.003    /* the same for an ideal shape that was not learned */
#define UNTOLD 0.05     /* of a sample period, an edge: where the signal is not what it should be */
#define WINDOW_S 250e-6 /* how far a transition is fitted */
#define SLOW_REACH 4.0  /* of its samples between the levels, either way */
#define COLOURED 1.1 /* residuals where there is no transition over noise from sample to sample */
#define POOLED_DOF 20.0    /* weight of the capture's noise in one transition's */
#define PASSED_DOF 440.0   /* weight of earlier stretches in that */
#define SHAPE_DOF 30.0     /* what the shape takes from the residuals */
#define SHAPE_SHARE 1.24   /* variance it adds, over the number of pulses it is from */
#define COARSE_SHARE 2.0   /* variance, when rounding exceeds the noise (found by simulation) */
#define COARSE_LOCKED 10.0 /* the same, where all transitions meet the same steps */
#define CURVED 0.02 /* samples an edge, of slope times reach^2: mains hum (found by simulation) */
#define CERTAIN 4.0 /* standard deviations above what noise would do */
#define LESS 0.6    /* of the noise's variance */
#define EVEN 0.7    /* deviation of windows' mean squares, of them; white: sqrt(2 / 22) */
#define OTHER_NOISE 1.3 /* of its variance: worth a look */
enum { REACH_MOST = 24, HUM_SEARCHES = 8, WINDOWS = 100 };

size_t spw_finder_reach(const spw_edge_finder *f) {
    size_t reach = spw_trace_samples(f->settings.sample_rate_hz, WINDOW_S, 12);
    if ((double)reach < SLOW_REACH * f->between) /* a slow transition has more to tell */
        reach = (size_t)fmin(SLOW_REACH * f->between, REACH_MOST);
    /* a level that is clipped on one side is told by more samples of the other */
    return reach < REACH_MOST && f->report.clipped_samples == 0 ? reach : REACH_MOST;
}

/* Doubts that hold for a mark. */
static uint32_t doubts_of(const spw_edge_finder *f, const spw_mark *mark) {
    return mark->doubts | (f->report.doubts & ~f->placed);
}

static void cross(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t k) {
    bool counted = f->report.method == SPW_METHOD_SAMPLES;
    spw_mark *mark = &f->marks[k];
    if (!spw_crossing_time(&f->crossing, trace, &f->smooth, f->marks, n, k, f->noise, !counted,
                           NULL)) {
        mark->flags |= SPW_EDGE_DOUBTFUL;
        mark->u = 1;
        return;
    }
    f->glitches += (mark->flags & SPW_EDGE_DOUBTFUL) != 0; /* no plateau */
    bool untold =
        (doubts_of(f, mark) & (SPW_DOUBT_SATURATION | SPW_DOUBT_NO_SHAPE | SPW_DOUBT_SHAPE)) != 0;
    if (counted)
        mark->u = 1 / sqrt(12.0);
    else
        mark->u = hypot(mark->u, untold ? UNTOLD : FLOOR_CROSSING / M_SQRT2);
    mark->u = hypot(mark->u, f->settings.codec_samples / M_SQRT2);
    if (f->fallen_back)
        mark->flags |= SPW_EDGE_FALLBACK | SPW_EDGE_DOUBTFUL;
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
    uint32_t doubts = doubts_of(f, mark);
    if ((doubts & SPW_DOUBT_CLIPPING) != 0)
        floor = FLOOR_CROSSING / M_SQRT2;
    bool bounded = mark->doubts != 0 && mark->bound_us > 0;
    uint32_t untold = SPW_DOUBT_SATURATION | SPW_DOUBT_NO_SHAPE | (bounded ? 0 : SPW_DOUBT_SHAPE);
    if ((doubts & untold) != 0 || (mark->doubts & SPW_DOUBT_CLIPPING) != 0)
        floor = UNTOLD;
    if (bounded) /* 2 u of a width reach it */
        floor =
            hypot(floor, (double)mark->bound_us * f->settings.sample_rate_hz / 1e6 / 2 / M_SQRT2);
    if (floor > FLOOR_IDEAL)
        mark->flags |= SPW_EDGE_DOUBTFUL;
    if (fit->dof <= 0) {
        mark->flags |= SPW_EDGE_DOUBTFUL | SPW_EDGE_FALLBACK;
        mark->u = hypot(mark->u, FLOOR_CROSSING);
        return;
    }
    double s2 = (POOLED_DOF * variance + fit->rss) / (POOLED_DOF + fit->dof);
    /* plateaus that hold more than noise tell nothing of how little noise moves */
    s2 *= variance < LESS * f->quiet.variance ? fmax(f->quiet.moves, 1) : f->quiet.moves;
    if (f->coarse) /* steps of the converter, not noise: no help from averaging over samples */
        s2 *= spw_finder_locked(f) ? COARSE_LOCKED : COARSE_SHARE;
    double gain = spw_finder_locked(f) ? fmax(fit->gain, f->quiet.gain) : fit->gain;
    mark->u = hypot(sqrt(s2 * gain * share), hypot(floor, bent));
    mark->u = hypot(mark->u, fit->lean * fit->u_higher);
    mark->u = hypot(mark->u, f->settings.codec_samples / M_SQRT2);
    if (fit->clipped > 0)
        mark->flags |= SPW_EDGE_CLIPPED;
    if (mark->doubts != 0)
        return;
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
    if (used < 2 * SPW_PULSES_ENOUGH)
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
    spw_plateau_signal signal = {f->size.typical, f->noise, f->quantum};
    spw_status status = spw_plateau_fit(trace, f->marks, n, &signal, false, &smooth);
    if (status != SPW_OK || !(smooth.hum > 0))
        return status;
    *found = true;
    f->smooth = smooth;
    return SPW_OK;
}

void spw_finder_fit(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t first,
                    size_t fresh, bool again, spw_fit *fit) {
    size_t reach = spw_finder_reach(f);
    spw_tilts tilts = {{0}, {0}};
    spw_finder_restore(f, trace, n);
    if (again && f->report.clipped_samples > 0)
        tilts = spw_tilts_clipped(f->marks + first, fit + first, n - first, f->noise);
    for (size_t k = first; k < n; k++) {
        size_t rises = f->marks[k].sign > 0;
        f->window.tilt = tilts.mean[rises];
        f->window.sure = fit[k].clipped > 0 ? tilts.sure[rises] : 0;
        if (!spw_fit_mark(&f->window, trace, &f->smooth, &f->shape, f->marks, n, k, reach,
                          f->spread, again ? 3 : 2, again, &fit[k])) {
            fit[k].dof = 0;
        } else if (again && k >= fresh && fit[k].clipped == 0 && f->window.n == 2 * reach + 1) {
            spw_profile_add(&f->here, &f->window, &f->marks[k]);
            spw_finder_block_add(f, k);
            if (!f->judged || (f->learned_again > 0 && f->now == 0))
                spw_scores_add(&f->scores, &f->window, &f->shape, &f->marks[k]);
        }
    }
}

double spw_finder_variance(const spw_fit *fit, size_t first, size_t n, double *dof) {
    double rss = 0;
    *dof = 0;
    for (size_t k = first; k < n; k++) {
        rss += fit[k].rss;
        *dof += fit[k].dof;
    }
    return *dof > 0 ? rss / *dof : 0;
}

/* What noise does to fits. White noise has been measured from sample to sample; where fits
 * see more of it than that, it is coloured. */
static void look_at_noise(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t reach) {
    spw_quiet quiet =
        spw_quiet_measure(&f->window, trace, &f->smooth, &f->shape, f->marks, n, reach, f->quantum);
    /* windows that differ by more than noise does hold something else, another line's steps */
    if (f->judged && (quiet.n < WINDOWS || quiet.variance <= 0))
        return;
    if (f->judged && !(quiet.unsure * sqrt(quiet.n) < EVEN * quiet.variance))
        return;
    f->quiet = quiet;
    /* another line's steps in every plateau pass for noise from sample to sample, not here */
    if (f->noise > 1.5 * f->quantum && quiet.n >= WINDOWS &&
        quiet.variance < LESS * f->noise * f->noise)
        f->noise = fmax(sqrt(quiet.variance), f->quantum / sqrt(12.0));
    if (f->coarse) { /* rounding makes what is no noise */
        f->quiet.moves = 1;
        return;
    }
    bool coloured = quiet.variance > COLOURED * COLOURED * f->noise * f->noise;
    f->spread = coloured ? sqrt(quiet.variance) : f->noise;
}

/* Noise that is more or less than it was. */
static void follow_noise(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                         const spw_fit *fit) {
    double dof, ratio = spw_finder_variance(fit, fresh, n, &dof) / (f->spread * f->spread);
    if (!(dof > PASSED_DOF) || (ratio < OTHER_NOISE && ratio > 1 / OTHER_NOISE))
        return;
    double noise = fmax(spw_plateau_noise(trace, f->marks, n), f->quantum / sqrt(12.0));
    if (!(noise > 0))
        return;
    f->spread *= noise / f->noise;
    f->noise = noise;
    look_at_noise(f, trace, n, spw_finder_reach(f));
}

/* Fits twice, because what the neighbours add depends on their instants; between that,
 * what all of them tell. */
static spw_status fit_twice(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                            spw_fit *fit, bool *hum) {
    size_t reach = spw_finder_reach(f);
    for (size_t k = 0; k < n; k++)
        spw_crossing_time(&f->crossing, trace, &f->smooth, f->marks, n, k, f->noise, false, NULL);
    (void)spw_scale_by_steps(f->marks, n, f->shape.height, f->noise);
    for (size_t k = fresh; k < n; k++)
        f->glitches += (f->marks[k].flags & SPW_EDGE_DOUBTFUL) != 0; /* no plateau */
    spw_finder_fit(f, trace, n, 0, fresh, false, fit);
    spw_status status = look_for_hum(f, trace, n, fresh, fit, reach, hum);
    if (*hum)
        spw_finder_fit(f, trace, n, 0, fresh, false, fit);
    if (status == SPW_OK && !spw_scale_by_fits(f->marks, fit, n))
        status = SPW_ERR_MEMORY;
    if (!f->judged)
        look_at_noise(f, trace, n, reach);
    else
        follow_noise(f, trace, n, fresh, fit);
    f->here = (spw_profile){0};
    if (status == SPW_OK)
        spw_finder_fit(f, trace, n, 0, fresh, true, fit);
    return status;
}

/* Residuals of this stretch weigh more than those of earlier ones, whose noise may differ. */
static void pool(spw_edge_finder *f, double variance, double dof) {
    double passed = f->pooled_dof > PASSED_DOF && f->judged ? PASSED_DOF / f->pooled_dof : 1;
    f->pooled_rss = passed * f->pooled_rss + variance * dof;
    f->pooled_dof = passed * f->pooled_dof + dof;
}

/* Learns anew from the first `alike` marks, and fits them; the rest is for later looks. */
static spw_status learn_part(spw_edge_finder *f, const spw_trace *trace, size_t alike, size_t fresh,
                             spw_fit *fit) {
    f->hold = (f->marks[alike - 1].at + f->marks[alike].at) / 2;
    spw_trace part = *trace;
    part.n = (size_t)f->hold;
    f->split = true;
    f->report.doubts = 0;
    f->plateau_samples = f->plateau_clipped = 0;
    f->scores = (spw_scores){0};
    f->tilt_usual = 0;
    spw_shape_free(&f->shape);
    spw_status status = spw_finder_learn(f, &part, alike);
    if (status != SPW_OK || f->report.method != SPW_METHOD_TEMPLATE)
        return status;
    spw_finder_count_clipped(f, f->marks + fresh, alike - fresh);
    bool hum;
    return fit_twice(f, &part, alike, fresh, fit, &hum);
}

/* The first time: with the shape just learned. How many marks it is for in *n. */
static spw_status fit_first(spw_edge_finder *f, const spw_trace *trace, size_t *n, size_t fresh,
                            spw_fit *fit, bool *hum) {
    spw_status status = SPW_OK;
    if (!f->settings.lossy && f->learned_from > 0)
        status = spw_finder_blocks(f, *n);
    if (status == SPW_OK)
        status = fit_twice(f, trace, *n, fresh, fit, hum);
    size_t alike = status == SPW_OK ? spw_finder_alike(f, fit, *n) : *n;
    free(f->block);
    f->block = NULL;
    if (alike > fresh && alike < *n) {
        *n = alike;
        status = learn_part(f, trace, alike, fresh, fit);
    }
    return status;
}

static spw_status by_shape(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh) {
    spw_fit *fit = calloc(n, sizeof *fit);
    if (fit == NULL)
        return SPW_ERR_MEMORY;
    bool hum;
    spw_status status = f->judged ? fit_twice(f, trace, n, fresh, fit, &hum)
                                  : fit_first(f, trace, &n, fresh, fit, &hum);
    if (status != SPW_OK || f->report.method != SPW_METHOD_TEMPLATE) {
        free(fit);
        return status;
    }
    size_t reach = spw_finder_reach(f);
    double m = 2 * (double)reach + 1, more = more_tilted(f, fit, fresh, n, reach);
    double dof, variance = spw_finder_variance(fit, fresh, n, &dof);
    bool first = !f->judged, learned_again = false;
    if (first && dof > 0) {
        f->usual = f->here;
        spw_finder_judge(f, variance, dof);
    } else if (status == SPW_OK && dof > 0) {
        spw_tilted tilted = {more > 0, hum ? spw_hum_amplitude(&f->smooth) : 0};
        status = spw_finder_watch(f, trace, n, fresh, tilted, fit, &learned_again);
    }
    if (learned_again) { /* what looked tilted was not */
        f->tilt_usual = 0;
        more = 0;
    }
    /* where hum sets in within the stretch, or none was found, fits meet its curvature */
    double tilt = f->spread / f->shape.height * sqrt(more * 12 / (m * (m * m - 1)));
    double bent = CURVED * (double)(reach * reach) * tilt;
    size_t end = n; /* behind it marks are looked at again */
    while (end > fresh && f->marks[end - 1].at >= f->hold)
        end--;
    variance = spw_finder_variance(fit, fresh, end, &dof);
    /* what bends fits is in their residuals, too; but some noise there must be */
    if (bent == 0 || f->pooled_dof <= 0 || variance * f->pooled_dof < f->pooled_rss)
        pool(f, variance, dof);
    for (size_t k = fresh; k < end; k++)
        state_uncertainty(f, &f->marks[k], &fit[k], bent);
    free(fit);
    return status;
}

spw_status spw_finder_time(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh) {
    spw_finder_count_clipped(f, f->marks + fresh, n - fresh);
    if (f->smooth.hum > 0 && f->any) { /* the mains wander: follow them */
        spw_smooth smooth = f->smooth;
        spw_plateau_signal signal = {f->size.typical, f->noise, f->quantum};
        spw_status status = spw_plateau_fit(trace, f->marks, n, &signal, false, &smooth);
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
    for (size_t k = fresh; status == SPW_OK && f->report.method != SPW_METHOD_TEMPLATE && k < n;
         k++)
        cross(f, trace, n, k);
    return status;
}
