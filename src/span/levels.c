/* Pools holds into levels.
 *
 * The lowest of many holds of one level is too low: of 20 it lies 1.9 standard
 * uncertainties under the truth. So an end is a pool: starting at the extreme
 * hold, the next one joins while its difference from the pool's mean and from
 * the extreme itself is within what their uncertainties explain. With n holds
 * there are n - 1 such comparisons, and the coverage of each is raised so that
 * one level of n holds stays whole in 95 % of cases (Bonferroni: 1 - 0.05/(n-1)).
 *
 * Within a capture the sampling term is taken as fully shared (a frame that is
 * locked to the sampling makes the same error in every hold), between captures
 * as independent. Time base, template and asymmetry are fully shared by all:
 * captures are mostly made by one recorder. Wander is too: where a level will be is
 * not known better by having seen it wander twice. All are the careful choices. */
#include "span/levels.h"

#include <math.h>
#include <stdlib.h>

/* Running sums of a pool, each hold weighted by its frames. */
typedef struct pool {
    size_t holds, frames;
    double seconds;
    double pivot, width;                  /* mean of the first hold; frames * (mean - pivot) */
    double timebase, template, asymmetry; /* frames * u */
    double wander, wander_dof, wander_us; /* frames * u, their least dof, the largest */
    double scatter2, scatter4;            /* (frames * u)^2, and its square over its dof */
    double *sampling;                     /* a capture: frames * u */
    double sampling2;                     /* sum of their squares */
    spw_doubt doubt;
} pool;

static double square(double x) {
    return x * x;
}

/* A figure that may be missing counts as none. */
static double known(double value) {
    return isfinite(value) ? value : 0;
}

static int by_width(const void *a, const void *b) {
    double x = ((const spw_held *)a)->hold->width_us.mean;
    double y = ((const spw_held *)b)->hold->width_us.mean;
    return (x > y) - (x < y);
}

void spw_held_sort(spw_held *held, size_t n) {
    if (n > 1)
        qsort(held, n, sizeof *held, by_width);
}

static void join(pool *p, const spw_held *held) {
    const spw_hold *hold = held->hold;
    double frames = (double)hold->pulses;
    if (p->holds++ == 0)
        p->pivot = hold->width_us.mean;
    p->frames += hold->pulses;
    p->seconds += hold->end_s - hold->start_s;
    p->width += frames * (hold->width_us.mean - p->pivot);
    p->timebase += frames * known(hold->budget.u_timebase);
    p->template += frames * known(hold->budget.u_template);
    p->asymmetry += frames * known(hold->budget.u_asymmetry);
    if (hold->budget.u_wander > 0) {
        p->wander += frames * hold->budget.u_wander;
        bool first = p->wander_us <= 0;
        p->wander_dof =
            first ? hold->budget.dof_wander : fmin(p->wander_dof, hold->budget.dof_wander);
        p->wander_us = fmax(p->wander_us, hold->budget.wander_us);
    }
    double scatter2 = square(frames * known(hold->budget.u_scatter));
    p->scatter2 += scatter2;
    if (hold->budget.dof_scatter > 0 && isfinite(hold->budget.dof_scatter))
        p->scatter4 += square(scatter2) / hold->budget.dof_scatter;
    double *of_capture = &p->sampling[held->channel];
    double before = *of_capture;
    *of_capture += frames * known(hold->budget.u_sampling);
    p->sampling2 += square(*of_capture) - square(before);
    spw_doubt doubt = spw_held_doubt(held);
    spw_doubt_join(&p->doubt, &doubt);
}

static spw_span_point level_of(const pool *p) {
    double frames = (double)p->frames;
    double wander = p->wander / frames;
    spw_component part[4] = {
        /* Welch-Satterthwaite over the independent scatters (GUM G.4.1) */
        {sqrt(p->scatter2) / frames,
         p->scatter4 > 0 ? square(p->scatter2) / p->scatter4 : INFINITY},
        {sqrt(fmax(p->sampling2, 0)) / frames, INFINITY},
        {sqrt(square(p->timebase) + square(p->template) + square(p->asymmetry)) / frames, INFINITY},
        {wander, wander > 0 ? p->wander_dof : INFINITY},
    };
    spw_span_point level = {.us = p->pivot + p->width / frames,
                            .u_own = hypot(part[0].u, part[1].u),
                            .u_shared = hypot(part[2].u, wander),
                            .u_sampling = part[1].u,
                            .frames = p->frames,
                            .seconds = p->seconds,
                            .wander_us = p->wander_us,
                            .doubt = p->doubt};
    spw_combine(part, 4, &level.u, &level.dof);
    level.U95 = spw_coverage_factor(0.95, level.dof) * level.u;
    return level;
}

/* Whether two figures differ by no more than their uncertainties explain. */
static bool agree(double difference, spw_component a, spw_component b, double coverage) {
    double u, dof;
    spw_combine((spw_component[]){a, b}, 2, &u, &dof);
    /* A noiseless simulation gives u = 0; times in a double are good to 1e-6 us
     * up to a capture of hours. */
    return fabs(difference) <= spw_coverage_factor(coverage, dof) * u + 1e-6;
}

static spw_component component_of(const spw_summary *width) {
    return (spw_component){known(width->u), isnan(width->dof) ? INFINITY : width->dof};
}

spw_status spw_level_grow(const spw_held *held, size_t from, int direction, size_t reach,
                          size_t all, size_t channels, spw_span_point *level, size_t *taken) {
    double coverage = 1 - 0.05 / (double)(all > 2 ? all - 1 : 1);
    pool p = {.sampling = calloc(channels, sizeof(double))};
    if (p.sampling == NULL)
        return SPW_ERR_MEMORY;
    const spw_summary *extreme = &held[from].hold->width_us;
    join(&p, &held[from]);
    *level = level_of(&p);
    while (p.holds < reach) {
        const spw_held *next = direction > 0 ? held + from + p.holds : held + from - p.holds;
        const spw_summary *width = &next->hold->width_us;
        spw_component own = component_of(width);
        if (!agree(width->mean - level->us, own, (spw_component){level->u, level->dof}, coverage) ||
            !agree(width->mean - extreme->mean, own, component_of(extreme), coverage))
            break;
        join(&p, next);
        *level = level_of(&p);
    }
    *taken = p.holds;
    free(p.sampling);
    return SPW_OK;
}
