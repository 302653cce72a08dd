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
 * captures are mostly made by one recorder. Both choices are the careful ones. */
#include "span/levels.h"

#include <math.h>
#include <stdlib.h>

static double square(double x) {
    return x * x;
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

/* A figure that may be missing counts as none. */
static double known(double value) {
    return isfinite(value) ? value : 0;
}

/* Whether two figures differ by no more than their uncertainties explain. */
static bool agree(double difference, double u_a, double dof_a, double u_b, double dof_b,
                  double coverage) {
    double u, dof;
    spw_combine((spw_component[]){{u_a, dof_a}, {u_b, dof_b}}, 2, &u, &dof);
    /* Where a fixed frame and noiseless sampling give u = 0, equal is equal. */
    return fabs(difference) <= spw_coverage_factor(coverage, dof) * u + 1e-9;
}

size_t spw_level_reach(const spw_held *held, size_t from, int direction, size_t reach, size_t all) {
    double coverage = 1 - 0.05 / (double)(all > 2 ? all - 1 : 1);
    const spw_summary *extreme = &held[from].hold->width_us;
    size_t n = 1, first = from;
    while (n < reach) {
        size_t next = direction > 0 ? from + n : from - n;
        spw_span_point pool = spw_level_pool(held, first, n);
        const spw_summary *w = &held[next].hold->width_us;
        double u = known(w->u);
        if (!agree(w->mean - pool.us, u, w->dof, pool.u, pool.dof, coverage) ||
            !agree(w->mean - extreme->mean, u, w->dof, known(extreme->u), extreme->dof, coverage))
            break;
        n++;
        if (direction < 0)
            first = next;
    }
    return n;
}

/* Sums over a pool, weights adding up to one. */
typedef struct sums {
    double mean, timebase, template, asymmetry;
    size_t frames;
    double seconds;
} sums;

static sums add_up(const spw_held *held, size_t n) {
    sums s = {0};
    for (size_t i = 0; i < n; i++) {
        s.frames += held[i].hold->pulses;
        s.seconds += held[i].hold->end_s - held[i].hold->start_s;
    }
    for (size_t i = 0; i < n; i++) {
        const spw_hold *hold = held[i].hold;
        double weight = (double)hold->pulses / (double)s.frames;
        s.mean += weight * (hold->width_us.mean - held[0].hold->width_us.mean);
        s.timebase += weight * known(hold->budget.u_timebase);
        s.template += weight * known(hold->budget.u_template);
        s.asymmetry += weight * known(hold->budget.u_asymmetry);
    }
    s.mean += held[0].hold->width_us.mean;
    return s;
}

/* The sampling term: linear within a capture, quadratic between captures. */
static double pooled_sampling(const spw_held *held, size_t n, size_t frames) {
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        bool seen = false;
        for (size_t j = 0; j < i && !seen; j++)
            seen = held[j].channel == held[i].channel;
        if (seen)
            continue;
        double of_capture = 0;
        for (size_t j = i; j < n; j++)
            if (held[j].channel == held[i].channel)
                of_capture += (double)held[j].hold->pulses / (double)frames *
                              known(held[j].hold->budget.u_sampling);
        sum += square(of_capture);
    }
    return sqrt(sum);
}

/* Welch-Satterthwaite over the independent scatters (GUM G.4.1). */
static void pooled_scatter(const spw_held *held, size_t n, size_t frames, double *u, double *dof) {
    double variance = 0, fourth = 0;
    for (size_t i = 0; i < n; i++) {
        const spw_budget *budget = &held[i].hold->budget;
        double term = square((double)held[i].hold->pulses / (double)frames *
                             known(budget->u_scatter));
        variance += term;
        if (budget->dof_scatter > 0 && isfinite(budget->dof_scatter))
            fourth += square(term) / budget->dof_scatter;
    }
    *u = sqrt(variance);
    *dof = fourth > 0 ? square(variance) / fourth : INFINITY;
}

spw_span_point spw_level_pool(const spw_held *held, size_t first, size_t n) {
    held += first;
    sums s = add_up(held, n);
    spw_span_point point = {.us = s.mean, .frames = s.frames, .seconds = s.seconds};
    double scatter, dof;
    pooled_scatter(held, n, s.frames, &scatter, &dof);
    point.u_sampling = pooled_sampling(held, n, s.frames);
    point.u_own = hypot(scatter, point.u_sampling);
    point.u_shared = sqrt(square(s.timebase) + square(s.template) + square(s.asymmetry));
    spw_combine((spw_component[]){{scatter, dof},
                                  {point.u_sampling, INFINITY},
                                  {point.u_shared, INFINITY}},
                3, &point.u, &point.dof);
    point.U95 = spw_coverage_factor(0.95, point.dof) * point.u;
    return point;
}
