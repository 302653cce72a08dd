/* Pairs of two captures, one before and one after the adapter: the same commands,
 * level by level. With a plan each level before goes to the level after it that
 * the plan sends it to; without one the levels must be as many, and go in order. */
#include "adapter/verify.h"
#include "base/array.h"

#include <math.h>
#include <stdlib.h>

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

static double planned_output(const spw_planned *planned, double in_us) {
    return spw_remap_apply(&planned->remap, in_us);
}

static spw_status add(spw_verifier *f, const pool *in, const pool *out) {
    spw_verification *v = f->v;
    const spw_planned *plan = &v->planned;
    bool clamped = plan->known && abs(spw_planned_clamps(plan, in->us, 3)) == 1;
    int corner = spw_planned_corner(plan, in->us);
    double shift = corner != 0 ? SPW_CORNER_SHIFT * plan->remap.gain * in->sd : 0;
    v->pair[v->pairs++] = (spw_pair){.at_s = NAN,
                                     .in_us = in->us,
                                     .out_us = out->us,
                                     .u_in_us = in->u_own,
                                     .u_out_us = out->u_own,
                                     .frames = in->frames < out->frames ? in->frames : out->frames,
                                     .clamped = clamped};
    f->level[f->levels++] =
        (spw_verify_level){.in_us = in->us,
                           .out_us = out->us,
                           .u_in_us = hypot(in->u_own, in->u_shared),
                           .u_out_us = hypot(shift, hypot(out->u_own, out->u_shared)),
                           .frames = in->frames < out->frames ? in->frames : out->frames,
                           .clamped = clamped,
                           .corner = corner};
    return SPW_OK;
}

static spw_status match(spw_verifier *f, const pool *in, size_t n_in, const pool *out, size_t n_out,
                        spw_error *error) {
    const spw_planned *plan = &f->v->planned;
    if (n_in != n_out && !plan->known)
        return spw_error_set(error, SPW_ERR_EMPTY,
                             "%zu levels before the adapter and %zu after it cannot be paired: "
                             "record the same holds in both captures, or give the plan",
                             n_in, n_out);
    spw_status status = SPW_OK;
    bool *used = calloc(n_out + 1, sizeof *used);
    if (used == NULL)
        return SPW_ERR_MEMORY;
    for (size_t k = 0; k < n_in && status == SPW_OK; k++) {
        size_t to = k;
        if (n_in != n_out)
            to = nearest(out, n_out, planned_output(plan, in[k].us));
        else if (plan->known && plan->remap.gain < 0)
            to = n_out - 1 - k;
        used[to] = true;
        status = add(f, &in[k], &out[to]);
    }
    for (size_t k = 0; k < n_out; k++)
        f->v->unpaired_after += !used[k];
    free(used);
    return status;
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
        spw_pair *pair = malloc((n_in + 1) * sizeof *pair);
        spw_verify_level *level = malloc((n_in + 1) * sizeof *level);
        f->v->pair = pair;
        f->level = level;
        status =
            pair == NULL || level == NULL ? SPW_ERR_MEMORY : match(f, in, n_in, out, n_out, error);
    }
    free(in);
    free(out);
    return status;
}
