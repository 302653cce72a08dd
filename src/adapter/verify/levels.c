/* Levels: stretches of pairs in which the input stood still.
 *
 * An input's jitter splits no level. Where it carries a level's inputs over the plan's
 * corner, each pair counts where its own input lies: free of the clamps, held by one, or
 * too near to the corner to tell. What makes the choice is the input alone, so that no
 * clamp lifts the mean of the outputs that are left. */
#include "adapter/verify/verify.h"
#include "base/array.h"

#include <math.h>
#include <stdlib.h>

/* A level that straddles a corner is made of its free pairs where there are so many. */
#define FREE_PAIRS 8
/* Where an input's scatter of sd meets a clamp's corner that lies elsewhere than planned,
 * the mean of the output is off by up to E max(0, z) = 0.4 sd (z normal) times the gain. */
#define CORNER_SHIFT 0.4

/* Which pairs of a stretch make a level. */
typedef enum part { PART_ALL, PART_FREE, PART_NOT_HELD, PART_LOW, PART_HIGH } part;

static bool belongs(const spw_pair *p, part which) {
    switch (which) {
    case PART_ALL:
        return true;
    case PART_FREE:
        return p->side == 0;
    case PART_NOT_HELD:
        return p->side == 0 || p->side == 2;
    case PART_LOW:
        return p->side == -1;
    case PART_HIGH:
        return p->side == 1;
    }
    return false;
}

typedef struct sums {
    size_t n;
    double in, out, u_in, u_out;      /* means */
    double in_sd, scatter, departure; /* departure from the plan: its mean and scatter */
} sums;

/* What an output departs by from what the plan makes of its own input. */
static double departure_of(const spw_planned *plan, const spw_pair *p) {
    return plan->known ? p->out_us - spw_remap_apply(&plan->remap, p->in_us) : p->out_us;
}

static sums sum_up(const spw_verifier *f, size_t first, size_t end, part which) {
    sums s = {0};
    for (size_t k = first; k < end; k++) {
        const spw_pair *p = &f->v->pair[k];
        if (!belongs(p, which))
            continue;
        s.n++;
        s.in += p->in_us;
        s.out += p->out_us;
        s.u_in += p->u_in_us;
        s.u_out += p->u_out_us;
        s.departure += departure_of(&f->v->planned, p);
    }
    double n = s.n > 0 ? (double)s.n : 1;
    s.in /= n, s.out /= n, s.u_in /= n, s.u_out /= n, s.departure /= n;
    for (size_t k = first; k < end; k++) {
        const spw_pair *p = &f->v->pair[k];
        if (!belongs(p, which))
            continue;
        double d = departure_of(&f->v->planned, p) - s.departure;
        s.in_sd += (p->in_us - s.in) * (p->in_us - s.in);
        s.scatter += d * d;
    }
    double dof = s.n > 1 ? (double)(s.n - 1) : 1;
    s.in_sd = sqrt(s.in_sd / dof);
    s.scatter = sqrt(s.scatter / dof);
    return s;
}

static spw_status add(spw_verifier *f, size_t *room, const spw_verify_level *level) {
    spw_status status = spw_array_room((void **)&f->level, room, f->levels, 1, sizeof *f->level);
    if (status == SPW_OK)
        f->level[f->levels++] = *level;
    return status;
}

/* Sampling may be locked to the frames: what is left of it is not averaged. */
static spw_verify_level level_of(const sums *s, double out_us) {
    return (spw_verify_level){.in_us = s->in,
                              .out_us = out_us,
                              .seen_us = s->out,
                              .u_in_us = s->u_in,
                              .u_out_us = hypot(s->u_out, s->scatter / sqrt((double)s->n)),
                              .scatter_us = s->scatter,
                              .frames = s->n};
}

/* The part that no clamp holds: of its free pairs alone where they are enough. */
static spw_status add_free(spw_verifier *f, size_t *room, size_t first, size_t end) {
    const spw_planned *plan = &f->v->planned;
    sums s = sum_up(f, first, end, PART_FREE);
    if (s.n < FREE_PAIRS) {
        sums with_corner = sum_up(f, first, end, PART_NOT_HELD);
        s = with_corner.n > s.n ? with_corner : s;
    }
    if (s.n == 0 || spw_planned_past_corner(plan, s.in))
        return SPW_OK;
    spw_verify_level level = level_of(&s, spw_planned_line(plan, s.in) + s.departure);
    level.corner = spw_planned_corner(plan, s.in);
    if (level.corner != 0) {
        double moved =
            spw_planned_clock_us(plan, s.in) + 0.5 * (isfinite(plan->tick_us) ? plan->tick_us : 0);
        double shift = fmin(CORNER_SHIFT * s.in_sd, 0.5 * moved) * spw_planned_slope(plan, s.in);
        level.u_out_us = hypot(level.u_out_us, shift);
    }
    return add(f, room, &level);
}

static spw_status add_held(spw_verifier *f, size_t *room, size_t first, size_t end, int side) {
    sums s = sum_up(f, first, end, side < 0 ? PART_LOW : PART_HIGH);
    if (s.n == 0)
        return SPW_OK;
    spw_verify_level level = level_of(&s, s.out);
    level.clamped = true;
    level.side = side;
    return add(f, room, &level);
}

/* The levels of a stretch of pairs at rest. */
static spw_status add_stretch(spw_verifier *f, size_t *room, size_t first, size_t end) {
    if (!f->v->planned.known) {
        sums s = sum_up(f, first, end, PART_ALL);
        spw_verify_level level = level_of(&s, s.out);
        level.u_out_us = s.u_out; /* its scatter is the input's, too */
        level.scatter_us = 0;
        return add(f, room, &level);
    }
    spw_status status = add_free(f, room, first, end);
    if (status == SPW_OK)
        status = add_held(f, room, first, end, -1);
    return status == SPW_OK ? add_held(f, room, first, end, 1) : status;
}

/* A level of few pairs does not tell its own scatter: it has at least that of the others, held
 * by a clamp as it is or free. */
static void share_scatter(spw_verifier *f) {
    double squares[2] = {0}, dof[2] = {0};
    for (size_t k = 0; k < f->levels; k++) {
        const spw_verify_level *l = &f->level[k];
        squares[l->clamped] += l->scatter_us * l->scatter_us * (double)(l->frames - 1);
        dof[l->clamped] += (double)(l->frames - 1);
    }
    for (size_t k = 0; k < f->levels; k++) {
        spw_verify_level *l = &f->level[k];
        int which = dof[l->clamped] < FREE_PAIRS ? !l->clamped : l->clamped;
        double others = dof[which] > 0 ? sqrt(squares[which] / dof[which]) : 0;
        if (l->frames < FREE_PAIRS && others > l->scatter_us)
            l->u_out_us = hypot(l->u_out_us, others / sqrt((double)l->frames));
    }
}

static int upwards(const void *a, const void *b) {
    double x = ((const spw_verify_level *)a)->in_us, y = ((const spw_verify_level *)b)->in_us;
    return (x > y) - (x < y);
}

void spw_verify_sort_levels(spw_verifier *f) {
    if (f->levels > 1)
        qsort(f->level, f->levels, sizeof *f->level, upwards);
}

spw_status spw_verify_levels(spw_verifier *f) {
    const spw_verification *v = f->v;
    size_t room = 0;
    free(f->level);
    f->level = NULL;
    f->levels = 0;
    double far = fmax(SPW_VERIFY_CHANGE_US, SPW_VERIFY_CHANGE_SD * f->input_noise_us);
    for (size_t k = 0; k < v->pairs;) {
        if (v->pair[k].moving) {
            k++;
            continue;
        }
        double mean = v->pair[k].in_us;
        size_t end = k + 1;
        /* a slow ramp leaves its level's mean in the end */
        while (end < v->pairs && !v->pair[end].moving &&
               fabs(v->pair[end].in_us - v->pair[end - 1].in_us) <= far &&
               fabs(v->pair[end].in_us - mean) <= far) {
            end++;
            mean += (v->pair[end - 1].in_us - mean) / (double)(end - k);
        }
        spw_status status = add_stretch(f, &room, k, end);
        if (status != SPW_OK)
            return status;
        k = end;
    }
    share_scatter(f);
    spw_verify_sort_levels(f);
    return SPW_OK;
}

double spw_verify_expected(const spw_verifier *f, double in_us) {
    size_t low = 0, high = f->levels; /* the first level above the input lies in [low, high] */
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (f->level[middle].in_us > in_us)
            high = middle;
        else
            low = middle + 1;
    }
    if (f->levels == 0)
        return NAN;
    if (low == 0 || low == f->levels)
        return f->level[low == 0 ? 0 : low - 1].out_us;
    const spw_verify_level *below = &f->level[low - 1], *above = &f->level[low];
    double way = (in_us - below->in_us) / (above->in_us - below->in_us);
    return below->out_us + way * (above->out_us - below->out_us);
}
