/* Does a series wander slowly about its mean?
 *
 * Where the noise is of first order, the means of long blocks scatter as Type A says
 * (spw_type_a); where the level itself moves (1/f noise, a walk, a slow swing, a drift) they
 * scatter more, and the mean of the series says little about where the level will be. */
#include "spanwright/stats.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

enum {
    LEAST = 32,      /* values, to tell */
    LEAST_KNOWN = 8, /* where it need not be told */
    BLOCK = 8,       /* of a block, at least */
    MOST_BLOCKS = 16,
    FEW_BLOCKS = 4
};
/* Chance at which the scatter of block means is no chance any more. */
static const double CHANCE = 1e-3;
/* Fewer independent values, each of so many of the series, tell nothing about correlation:
 * to this the model is a walk. */
static const double FEW_INDEPENDENT = 10, LONG_MEMORY = 12;
/* Degrees of freedom of the wander, at least: a walk shows its extent once. */
static const double LEAST_DOF = 3;
/* What did not come back (fewer independent block means than this) may go on: the interval
 * then reaches 1.5 times as far as it was seen to go. A walk's level after as long again lies
 * within that in 96 % (its range is 1.6, the distance from its mean 1.15 sd of a whole walk). */
static const double CAME_BACK = 3, AS_FAR = 1.5;

typedef struct blocks {
    double mean[MOST_BLOCKS];
    size_t n;
    double variance; /* of the means */
    double within;   /* squares about their own means */
} blocks;

static blocks blocks_of(const double *values, size_t n, size_t m) {
    blocks b = {.n = m};
    double all = 0;
    for (size_t j = 0; j < m; j++) {
        size_t from = j * n / m, to = (j + 1) * n / m;
        double mean = 0, squares = 0;
        for (size_t i = from; i < to; i++) {
            double d = values[i] - values[0] - mean;
            mean += d / (double)(i - from + 1);
            squares += d * (values[i] - values[0] - mean);
        }
        b.mean[j] = mean;
        b.within += squares;
        all += mean / (double)m;
    }
    for (size_t j = 0; j < m; j++)
        b.variance += (b.mean[j] - all) * (b.mean[j] - all) / (double)(m - 1);
    return b;
}

/* Independent values among the block means. */
static double independent(const blocks *b) {
    double r = spw_lag1(b->mean, b->n);
    r = isnan(r) ? 0 : fmax(0, fmin(0.99, r + 1 / (double)b->n));
    return (double)b->n * (1 - r) / (1 + r);
}

static bool more_than_chance(const blocks *b, double expected) {
    double dof = (double)b->n - 1;
    return dof * b->variance > gsl_cdf_chisq_Qinv(CHANCE, dof) * expected;
}

spw_wander spw_wander_of(const double *values, size_t n, double u_type_a, double n_effective,
                         bool known) {
    spw_wander none = {0, 0, INFINITY, NAN, NAN};
    if (n < (known ? LEAST_KNOWN : LEAST) || !(u_type_a > 0))
        return none;
    size_t m = n / BLOCK < MOST_BLOCKS ? n / BLOCK : MOST_BLOCKS;
    m = m < FEW_BLOCKS ? FEW_BLOCKS : m;
    blocks fine = blocks_of(values, n, m), coarse = blocks_of(values, n, FEW_BLOCKS);
    double mean_variance = u_type_a * u_type_a; /* of n values: of n/m about m times that */
    bool memory = n_effective < FEW_INDEPENDENT && (double)n > LONG_MEMORY * n_effective;
    if (!known && !memory && !more_than_chance(&fine, mean_variance * (double)m) &&
        !more_than_chance(&coarse, mean_variance * FEW_BLOCKS))
        return none;
    double low = fine.mean[0], high = fine.mean[0];
    for (size_t j = 1; j < m; j++) {
        low = fmin(low, fine.mean[j]);
        high = fmax(high, fine.mean[j]);
    }
    double dof = fmax(LEAST_DOF, independent(&fine) - 1), u = sqrt(fine.variance);
    if (independent(&fine) < CAME_BACK)
        u = fmax(u, AS_FAR * (high - low) / spw_coverage_factor(0.95, dof));
    return (spw_wander){.range = high - low,
                        .u = u,
                        .dof = dof,
                        .u_rest = sqrt(fine.within / (double)(n - m) / (double)n),
                        .dof_rest = (double)(n - m)};
}
