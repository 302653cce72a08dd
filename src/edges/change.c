/* What was learned and holds no more: where that begins, and what is done about it. */
#include "edges/finder.h"
#include "edges/learn.h"
#include "edges/scale.h"

#include <math.h>
#include <stdlib.h>

/* Marks from which a shape is learned again; where they cannot be waited for, the fewest. */
enum { AGAIN = 160, AGAIN_LEAST = 40, AGAIN_MOST = 16 };
enum { TO_THE_END = 8 }; /* marks at the end of a stretch that may look like none of either */
/* Of hum's amplitude: rms that its curvature leaves where it is taken out and was not there. */
#define HUM_SHARE 0.01
#define RECENT_S 20.0 /* ten stretches */
/* Doubts that belong to a shape. */
static const uint32_t OF_SHAPE =
    SPW_DOUBT_SATURATION | SPW_DOUBT_NO_SHAPE | SPW_DOUBT_ASYMMETRY | SPW_DOUBT_CLIPPING;

static void leave_in_doubt(spw_edge_finder *f, size_t from, size_t to, uint32_t doubts,
                           double bound_us) {
    for (size_t k = from; k < to && doubts != 0; k++) {
        spw_mark *mark = &f->marks[k];
        bool unknown = mark->doubts != 0 && isnan(mark->bound_us);
        mark->bound_us = (float)(unknown ? (double)NAN : bound_us);
        mark->doubts |= doubts;
    }
}

/* How much each mark from `fresh` on is like the changed ones. */
static double *see(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                   const spw_shape_change *change, const spw_fit *fit) {
    size_t reach = spw_finder_reach(f);
    double *seen = calloc(n, sizeof *seen);
    for (size_t k = fresh; seen != NULL && change != NULL && k < n; k++) {
        spw_fit again = fit[k];
        spw_mark before = f->marks[k];
        f->window.tilt = f->window.sure = 0;
        if (fit[k].dof > 0 && fit[k].clipped == 0 &&
            spw_fit_mark(&f->window, trace, &f->smooth, &f->shape, f->marks, n, k, reach, f->spread,
                         1, true, &again) &&
            f->window.n == 2 * reach + 1)
            seen[k] = spw_change_seen(change, &f->usual, &f->window, &f->marks[k]);
        f->marks[k] = before;
    }
    return seen;
}

/* Everything that depends on the shape. */
typedef struct kept {
    spw_shape shape;
    size_t learned_from;
    spw_profile usual;
    spw_scores scores;
} kept;

static spw_status fit_again(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t from,
                            spw_fit *fit) {
    spw_finder_fit(f, trace, n, from, from, false, fit);
    if (!spw_scale_by_fits(f->marks + from, fit + from, n - from))
        return SPW_ERR_MEMORY;
    f->here = (spw_profile){0};
    spw_finder_fit(f, trace, n, from, from, true, fit);
    return SPW_OK;
}

/* The first shape's doubts end where the second one begins. */
static void close_first(spw_edge_finder *f, double until) {
    for (uint32_t what = 1; what != 0 && what <= f->report.doubts; what <<= 1)
        if ((f->report.doubts & OF_SHAPE & what) != 0)
            spw_finder_doubt(f, what, 0, until,
                             what == SPW_DOUBT_ASYMMETRY ? f->report.u_asymmetry_us : (double)NAN);
}

/* The shape learned again from marks [from, n). *holds when it describes them: it is then the
 * shape; otherwise all is as before. */
static spw_status learn_again(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t from,
                              spw_fit *fit, bool *holds) {
    kept old = {f->shape, f->learned_from, f->usual, f->scores};
    spw_shape shape;
    spw_status status = spw_shape_new(old.shape.half, &shape);
    *holds = false;
    if (status != SPW_OK)
        return status;
    spw_shape_set(&shape, old.shape.free_);
    f->shape = shape;
    f->scores = (spw_scores){0};
    f->judged = false; /* scores are summed up */
    status = spw_shape_learn(trace, &f->smooth, f->marks + from, n - from, f->noise, &f->shape,
                             &f->learned_from);
    bool learned = status == SPW_OK && f->learned_from > 0;
    if (learned)
        status = fit_again(f, trace, n, from, fit);
    f->judged = true;
    double dof, variance = spw_finder_variance(fit, from, n, &dof);
    if (learned && status == SPW_OK && dof > 0) {
        spw_hold_up how = spw_finder_holds(f, variance, dof);
        /* two shapes are no one shape, but what that does to a width is known */
        *holds = how == SPW_HOLDS ||
                 (how == SPW_STRAINED && spw_finder_symmetry(f).doubts == SPW_DOUBT_ASYMMETRY);
    }
    if (*holds) {
        spw_shape_free(&old.shape);
        return SPW_OK;
    }
    spw_shape_free(&f->shape);
    f->shape = old.shape;
    f->learned_from = old.learned_from;
    f->usual = old.usual;
    f->scores = old.scores;
    return status == SPW_OK && learned ? fit_again(f, trace, n, from, fit) : status;
}

/* Marks [from, n) have a shape of their own from now on. */
static void adopt(spw_edge_finder *f, size_t n, size_t fresh, size_t from) {
    double at = (double)f->base + f->marks[from].at;
    if (f->learned_again == 0) {
        close_first(f, at);
        leave_in_doubt(f, fresh, from, f->report.doubts & OF_SHAPE, (double)NAN);
        f->learned_least = f->learned_from;
        f->report.shape_changed_s = f->settings.start_s + at / f->settings.sample_rate_hz;
    }
    f->report.shapes_more = ++f->learned_again;
    f->learned_least = f->learned_from < f->learned_least ? f->learned_from : f->learned_least;
    spw_claim claim = spw_finder_symmetry(f);
    f->now = claim.doubts;
    f->asymmetry_us = claim.doubts == SPW_DOUBT_ASYMMETRY ? claim.asymmetry_us : (double)NAN;
    f->usual = f->here;
    f->recent = (spw_profile){0};
    f->from = at;
    f->pooled_rss = f->pooled_dof = 0;
    leave_in_doubt(f, from, n, f->now, f->asymmetry_us);
}

/* A change that begins with mark `from` and lasts up to `to`. True when it is dealt with;
 * otherwise those marks are in doubt. */
static spw_status meet(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                       size_t from, size_t *to, spw_fit *fit, bool *met) {
    bool stays = *to + TO_THE_END >= n;
    *met = false;
    *to = stays ? n : *to;
    if (stays && n - from < AGAIN && f->can_wait && f->learned_again < AGAIN_MOST) {
        double before = from > fresh ? f->marks[from - 1].at : f->marks[from].at - 2;
        f->hold = (before + f->marks[from].at) / 2;
        *met = true;
        return SPW_OK;
    }
    spw_status status = SPW_OK;
    if (stays && n - from >= AGAIN_LEAST && f->learned_again < AGAIN_MOST)
        status = learn_again(f, trace, n, from, fit, met);
    if (*met)
        adopt(f, n, fresh, from);
    return status;
}

/* Residuals that are larger: from where to where. */
static void misfits(const spw_edge_finder *f, size_t n, size_t fresh, const spw_fit *fit,
                    double variance, double *seen, size_t *from, size_t *to) {
    double usual = f->spread * f->spread, limit = (usual + variance) / 2;
    size_t first, end;
    for (size_t k = fresh; k < n; k++)
        seen[k] = fit[k].dof > 0 ? (fit[k].rss / fit[k].dof - limit) / limit : 0;
    (void)spw_scale_uneven(f->marks + fresh, fit + fresh, n - fresh, seen + fresh);
    spw_change_place(seen + fresh, n - fresh, &first, &end);
    if (end > first && *to > *from) {
        *from = fresh + first < *from ? fresh + first : *from;
        *to = fresh + end > *to ? fresh + end : *to;
    } else if (end > first) {
        *from = fresh + first;
        *to = fresh + end;
    }
}

static double bound_us(const spw_edge_finder *f, const spw_shape_change *change) {
    return spw_change_bound(change, spw_finder_reach(f), &f->shape) * 1e6 /
           f->settings.sample_rate_hz;
}

static bool changed_in(const spw_edge_finder *f, const spw_profile *profile, double variance,
                       spw_shape_change *change) {
    return spw_profile_changed(profile, &f->usual, 2 * spw_finder_reach(f) + 1, variance,
                               f->spread > f->noise, &f->shape, change);
}

/* What one stretch does not show, ten may: the widths since then are in doubt. */
static void watch_recent(spw_edge_finder *f, size_t n, size_t fresh, double variance) {
    spw_shape_change change;
    double at = (double)f->base + f->marks[fresh].at;
    if (f->recent.weight[0] + f->recent.weight[1] <= 0)
        f->recent_from = at;
    f->recent_from = fmax(f->recent_from, at - RECENT_S * f->settings.sample_rate_hz);
    spw_profile_follow(&f->recent, &f->here);
    if (!changed_in(f, &f->recent, variance, &change))
        return;
    double bound = bound_us(f, &change);
    spw_finder_doubt(f, SPW_DOUBT_SHAPE, f->recent_from, at, bound);
    leave_in_doubt(f, fresh, n, SPW_DOUBT_SHAPE, bound);
}

/* Of a shape that was learned again: has it turned out that rises are unlike falls? */
static void watch_symmetry(spw_edge_finder *f, double until) {
    if (f->learned_again == 0 || f->now != 0)
        return;
    spw_claim claim = spw_finder_symmetry(f);
    if (claim.doubts == 0)
        return;
    f->now = claim.doubts;
    f->asymmetry_us = claim.doubts == SPW_DOUBT_ASYMMETRY ? claim.asymmetry_us : (double)NAN;
    for (uint32_t what = 1; what <= f->now; what <<= 1)
        if ((f->now & what) != 0)
            spw_finder_doubt(f, what, f->from, until, f->asymmetry_us);
}

/* Where it is seen that marks are changed, or fit worse than they should. */
static spw_status place(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                        const spw_shape_change *change, bool strained, spw_fit *fit) {
    spw_status status = SPW_OK;
    size_t from = fresh, to = fresh;
    bool met = false;
    double dof, variance = spw_finder_variance(fit, fresh, n, &dof);
    double *seen = see(f, trace, n, fresh, change, fit);
    if (seen == NULL)
        return SPW_ERR_MEMORY;
    if (change != NULL) {
        spw_change_place(seen + fresh, n - fresh, &from, &to);
        from += fresh;
        to += fresh;
        status = to > from ? meet(f, trace, n, fresh, from, &to, fit, &met) : SPW_OK;
    }
    if (status == SPW_OK && !met) {
        if (strained)
            misfits(f, n, fresh, fit, variance, seen, &from, &to);
        leave_in_doubt(f, from, to, SPW_DOUBT_SHAPE, strained ? (double)NAN : bound_us(f, change));
    }
    free(seen);
    return status;
}

spw_status spw_finder_watch(spw_edge_finder *f, const spw_trace *trace, size_t n, size_t fresh,
                            spw_tilted tilted, spw_fit *fit, bool *again) {
    size_t times = f->learned_again;
    *again = false;
    watch_symmetry(f, fresh < n ? (double)f->base + f->marks[fresh].at : f->from);
    leave_in_doubt(f, fresh, n, f->now, f->asymmetry_us);
    if (f->settings.lossy || f->learned_from == 0 || n < fresh + TO_THE_END)
        return SPW_OK;
    spw_shape_change change;
    double dof, variance = spw_finder_variance(fit, fresh, n, &dof);
    double samples = 2 * (2 * (double)spw_finder_reach(f) + 1);
    bool changed = changed_in(f, &f->here, variance, &change);
    changed = changed && change.square > pow(HUM_SHARE * tilted.hum, 2) * samples;
    bool told = f->now != 0 ||
                (f->report.doubts & ~f->placed & (SPW_DOUBT_SATURATION | SPW_DOUBT_NO_SHAPE)) != 0;
    bool strained = (changed || (!tilted.more && !(tilted.hum > 0))) && !told &&
                    spw_finder_holds(f, variance, dof) != SPW_HOLDS;
    changed = changed && change.square > spw_profile_unlike(&f->usual) * (f->now != 0);
    bool uneven = !told && (changed || !(tilted.hum > 0)) &&
                  spw_scale_uneven(f->marks + fresh, fit + fresh, n - fresh, NULL);
    if (!changed && !strained && !uneven) {
        if (!told && !(tilted.hum > 0))
            watch_recent(f, n, fresh, variance);
        return SPW_OK;
    }
    spw_status status =
        place(f, trace, n, fresh, changed ? &change : NULL, strained || uneven, fit);
    *again = f->learned_again > times;
    return status;
}
