/* Pairs of two captures, one before and one after the adapter: the same commands,
 * level by level. With a plan each level before goes to the level after it that
 * the plan sends it to; without one the levels must be as many, and go in order. */
#include "adapter/verify/verify.h"
#include "base/array.h"

#include <math.h>
#include <stdlib.h>

/* A hold whose inputs scatter over a corner belongs to neither side; most of its scatter
 * lies within so many sd. */
#define HOLD_SD 2.0
/* The mean of an output that a clamp's corner cuts is off by up to E max(0, z) = 0.4 sd
 * (z normal) times the gain. */
#define CORNER_SHIFT 0.4

/* A level so many times the tolerance off belongs to another input that is so many times nearer. */
#define FAR_TOLERANCES 5.0

typedef struct pool {
    double us, weight, u_own, u_shared, sd;
    size_t frames;
} pool;

static int upwards(const void *a, const void *b) {
    double x = ((const pool *)a)->us, y = ((const pool *)b)->us;
    return (x > y) - (x < y);
}

/* The distinct hold levels of a channel, upwards; holds within their U95 (and 1 us)
 * of each other are one. */
static spw_status levels_of(const spw_channel *c, pool **levels, size_t *n) {
    *levels = malloc((c->holds + 1) * sizeof **levels);
    *n = 0;
    if (*levels == NULL)
        return SPW_ERR_MEMORY;
    for (size_t h = 0; h < c->holds; h++) {
        const spw_hold *hold = &c->hold[h];
        const spw_budget *b = &hold->budget;
        double own = hypot(b->u_scatter, b->u_sampling);
        double shared = hypot(b->u_timebase, hypot(b->u_template, b->u_asymmetry));
        (*levels)[h] = (pool){.us = hold->width_us.mean,
                              .weight = (double)hold->pulses,
                              .u_own = isfinite(own) ? own : 1,
                              .u_shared = isfinite(shared) ? shared : 0,
                              .sd = hold->pulses > 1 ? hold->width_us.sd : 0,
                              .frames = hold->pulses};
    }
    qsort(*levels, c->holds, sizeof **levels, upwards);
    for (size_t h = 0; h < c->holds; h++) {
        pool next = (*levels)[h];
        pool *last = *n > 0 ? &(*levels)[*n - 1] : NULL;
        if (last == NULL || next.us - last->us > fmax(1, 2.5 * hypot(last->u_own, next.u_own))) {
            (*levels)[(*n)++] = next;
            continue;
        }
        double w = last->weight + next.weight;
        last->u_own = hypot(last->weight * last->u_own, next.weight * next.u_own) / w;
        last->us += (next.us - last->us) * next.weight / w;
        last->weight = w;
        last->frames += next.frames;
    }
    return SPW_OK;
}

/* Which level after is meant for a level before: the nearest to the planned output. */
static size_t nearest(const pool *after, size_t n, double us) {
    size_t best = 0;
    for (size_t k = 1; k < n; k++)
        if (fabs(after[k].us - us) < fabs(after[best].us - us))
            best = k;
    return best;
}

/* What the plan makes of an input, with a clock that is off by a factor less 1. */
static double planned_output(const spw_planned *planned, double in_us, double clock) {
    double real = 1 + clock;
    return real * spw_remap_apply(&planned->remap, in_us / real);
}

static void add(spw_verifier *f, const pool *in, const pool *out) {
    spw_verification *v = f->v;
    const spw_planned *plan = &v->planned;
    int side = 0;
    if (plan->known)
        side = spw_planned_clamps(plan, in->us, spw_planned_room(plan, in->us) + HOLD_SD * in->sd);
    bool clamped = abs(side) == 1 || (side == 2 && spw_planned_past_corner(plan, in->us));
    int corner = side == 2 && !clamped ? spw_planned_nearer_clamp(plan, in->us) : 0;
    double shift = corner != 0 ? CORNER_SHIFT * spw_planned_slope(plan, in->us) * in->sd : 0;
    v->pair[v->pairs++] = (spw_pair){.at_s = NAN,
                                     .in_us = in->us,
                                     .out_us = out->us,
                                     .u_in_us = in->u_own,
                                     .u_out_us = out->u_own,
                                     .frames = in->frames < out->frames ? in->frames : out->frames,
                                     .side = side,
                                     .clamped = clamped};
    f->level[f->levels++] =
        (spw_verify_level){.in_us = in->us,
                           .out_us = out->us,
                           .seen_us = out->us,
                           .u_in_us = hypot(in->u_own, in->u_shared),
                           .u_out_us = hypot(shift, hypot(out->u_own, out->u_shared)),
                           .frames = in->frames < out->frames ? in->frames : out->frames,
                           .clamped = clamped,
                           .side = abs(side) == 1 ? side : 0,
                           .corner = corner};
}

/* How far, in the mean, a level of `from` sent through the plan lies from the nearest level
 * of `to`. */
static double misfit(const spw_planned *plan, const pool *from, size_t n_from, const pool *to,
                     size_t n_to) {
    double sum = 0;
    for (size_t k = 0; k < n_from; k++) {
        double us = planned_output(plan, from[k].us, 0);
        sum += fabs(to[nearest(to, n_to, us)].us - us) / (double)n_from;
    }
    return sum;
}

/* Whether the plan turns the levels after into those before: each then goes to the level
 * before that it is turned into, for spw_verify_exchanged to see. */
static bool turned_round(spw_verifier *f, const pool *in, size_t n_in, const pool *out,
                         size_t n_out) {
    const spw_planned *plan = &f->v->planned;
    if (!plan->known || !spw_verify_much_better(plan, misfit(plan, in, n_in, out, n_out),
                                                misfit(plan, out, n_out, in, n_in)))
        return false;
    for (size_t k = 0; k < n_out; k++)
        add(f, &in[nearest(in, n_in, planned_output(plan, out[k].us, 0))], &out[k]);
    return true;
}

static int upwards_number(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The clock's factor less 1 by which most levels are off the plan: the median of the free ones,
 * each sent to the nearest level after it; within what the clock is known to. */
static spw_status find_clock(const spw_planned *plan, const pool *in, size_t n_in, const pool *out,
                             size_t n_out, double *clock) {
    double most = SPW_VERIFY_K * plan->clock_ppm * 1e-6;
    double *off = malloc((n_in + 1) * sizeof *off);
    size_t n = 0;
    *clock = 0;
    if (off == NULL)
        return SPW_ERR_MEMORY;
    for (size_t k = 0; k < n_in; k++) {
        double us = planned_output(plan, in[k].us, 0), room = spw_planned_room(plan, in[k].us);
        double offset = us - spw_planned_slope(plan, in[k].us) * in[k].us;
        if (spw_planned_clamps(plan, in[k].us, room) == 0 && offset != 0)
            off[n++] = (out[nearest(out, n_out, us)].us - us) / offset;
    }
    qsort(off, n, sizeof *off, upwards_number);
    if (n > 0)
        *clock = fmin(fmax(off[n / 2], -most), most);
    free(off);
    return SPW_OK;
}

/* Whether the level nearest to where an input is sent is meant for another one: far off, and
 * its neighbour's. The hold was not recorded, or was none. */
static bool has_none(const spw_planned *plan, const pool *in, size_t n_in, size_t k,
                     const pool *out, double clock) {
    double off = fabs(planned_output(plan, in[k].us, clock) - out->us);
    if (off < FAR_TOLERANCES * plan->tolerance_us + spw_planned_clock_us(plan, out->us))
        return false;
    for (size_t i = k > 0 ? k - 1 : 0; i <= k + 1 && i < n_in; i++)
        if (fabs(planned_output(plan, in[i].us, clock) - out->us) < off / FAR_TOLERANCES)
            return true;
    return false;
}

static spw_status match(spw_verifier *f, const pool *in, size_t n_in, const pool *out, size_t n_out,
                        spw_error *error) {
    const spw_planned *plan = &f->v->planned;
    if (n_in != n_out && !plan->known)
        return spw_error_set(error, SPW_ERR_EMPTY,
                             "%zu levels before the adapter and %zu after it cannot be paired: "
                             "record the same holds in both captures, or give the plan",
                             n_in, n_out);
    if (turned_round(f, in, n_in, out, n_out))
        return SPW_OK;
    double clock = 0;
    if (plan->known && find_clock(plan, in, n_in, out, n_out, &clock) != SPW_OK)
        return SPW_ERR_MEMORY;
    bool *used = calloc(n_out + 1, sizeof *used);
    if (used == NULL)
        return SPW_ERR_MEMORY;
    for (size_t k = 0; k < n_in; k++) {
        size_t to = k;
        if (plan->known)
            to = nearest(out, n_out, planned_output(plan, in[k].us, clock));
        if (plan->known && has_none(plan, in, n_in, k, &out[to], clock)) {
            f->v->unpaired_before++;
            continue;
        }
        used[to] = true;
        add(f, &in[k], &out[to]);
    }
    for (size_t k = 0; k < n_out; k++)
        f->v->unpaired_after += !used[k];
    free(used);
    return SPW_OK;
}

spw_status spw_verify_pair_holds(spw_verifier *f, spw_error *error) {
    pool *in = NULL, *out = NULL;
    size_t n_in, n_out;
    spw_status status = levels_of(f->before, &in, &n_in);
    if (status == SPW_OK)
        status = levels_of(f->after, &out, &n_out);
    if (status == SPW_OK && (n_in == 0 || n_out == 0))
        status = spw_error_set(error, SPW_ERR_EMPTY,
                               "the line %s the adapter holds no level still: record low end, "
                               "neutral and high end for 2 s each",
                               n_in == 0 ? "before" : "after");
    if (status == SPW_OK) {
        size_t room = (n_in > n_out ? n_in : n_out) + 1;
        spw_pair *pair = malloc(room * sizeof *pair);
        spw_verify_level *level = malloc(room * sizeof *level);
        f->v->pair = pair;
        f->level = level;
        status =
            pair == NULL || level == NULL ? SPW_ERR_MEMORY : match(f, in, n_in, out, n_out, error);
    }
    spw_verify_sort_levels(f);
    free(in);
    free(out);
    return status;
}
