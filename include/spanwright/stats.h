/* spanwright: numerics that know nothing of servos: summaries, uncertainty
 * (JCGM 100, "GUM"), change points, line fits, conformity (JCGM 106). */
#ifndef SPANWRIGHT_STATS_H
#define SPANWRIGHT_STATS_H

#include "base.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

/* Summary of a series. Quantiles interpolate linearly between order
 * statistics (position (n-1)p). sd has n-1 and is NAN for n = 1. Fields that
 * the series alone cannot give (u, U95, dof, floor) are NAN until filled by
 * whoever knows them. All in the unit of the series. */
typedef struct spw_summary {
    size_t n;
    double mean, sd, min, max, median, p05, p95;
    double u;     /* combined standard uncertainty of the mean */
    double dof;   /* its effective degrees of freedom (may be INFINITY) */
    double U95;   /* expanded uncertainty: t quantile(0.975, dof) times u */
    double floor; /* scatter that the capture alone would show on a perfect series */
} spw_summary;

/* A summary with n = 0 and every figure NAN. */
spw_summary spw_summary_none(void);
/*   values   n finite values, any order, untouched
 * SPW_ERR_EMPTY when n is 0. Two-pass mean and sd about a pivot. */
spw_status spw_summarise(const double *values, size_t n, spw_summary *summary) SPW_CHECKED;

/* Median and 1.4826 times the median absolute deviation. SPW_ERR_EMPTY when n is 0. */
spw_status spw_robust_scale(const double *values, size_t n, double *median, double *sd) SPW_CHECKED;

/* Quantile p in [0,1] of values sorted upwards, linear between order statistics. */
double spw_quantile_sorted(const double *sorted, size_t n, double p);

/* Lag-1 autocorrelation as NIST StRD defines it:
 * sum (x_i - m)(x_{i+1} - m) / sum (x_i - m)^2. NAN for n < 2 or no scatter. */
double spw_lag1(const double *values, size_t n);

/* Type A uncertainty of the mean of a serially correlated series, taken as
 * first-order autoregressive.
 *   u            out, standard uncertainty of the mean, s/sqrt(n) at least
 *   dof          out, degrees of freedom to use with it; INFINITY can occur
 *                where neighbours are negatively correlated
 *   n_effective  out, effective number of independent values (1 .. n)
 * mean +- t(0.975, dof) u covers in 93.8-96.6 % of runs for n >= 30 and
 * correlation 0 .. 0.6, in 89-97.6 % for n = 8 .. 29; above 0.6 a short series
 * covers less (n = 30: 91.7 % at 0.75). n = 1 gives NAN u. No scatter gives u = 0. */
spw_status spw_type_a(const double *values, size_t n, double *u, double *dof,
                      double *n_effective) SPW_CHECKED;

/* A slow wander of a series about its mean, found by the means of up to 16 blocks that
 * scatter more than Type A says (chance 0.001), or by fewer than 10 independent values of long
 * memory.
 *   range     largest less smallest block mean; 0: does not wander, or n < 32 cannot tell
 *   u, dof    of where its level is at another time: scatter of the block means
 *   u_rest, dof_rest   Type A of the mean when the wander is taken off; NAN with range 0 */
typedef struct spw_wander {
    double range, u, dof, u_rest, dof_rest;
} spw_wander;
/*   u_type_a, n_effective  of spw_type_a for the same values
 *   known  the source is known to wander (spw_memory_is_long): no test, from 8 values on */
spw_wander spw_wander_of(const double *values, size_t n, double u_type_a, double n_effective,
                         bool known);

/* Evidence, over several stretches of one source, for a slow part under its noise. Start with
 * {0}; a stretch a call, about its own mean. */
#define SPW_MEMORY_SLOW 32
#define SPW_MEMORY_OCTAVES 6
typedef struct spw_memory {
    double n, squares, products, behind;
    double slow[SPW_MEMORY_SLOW]; /* squares that each model with a slow part leaves */
    double octaves[SPW_MEMORY_OCTAVES], log_variance[SPW_MEMORY_OCTAVES]; /* the same of 1/f */
} spw_memory;
void spw_memory_add(spw_memory *memory, const double *values, size_t n);
/* Is there one, or can it not be excluded? Then Type A of first-order noise is too sure. */
bool spw_memory_is_long(const spw_memory *memory);

/* One line of an uncertainty budget; dof may be INFINITY. */
typedef struct spw_component {
    double u;
    double dof;
} spw_component;
/* Combined standard uncertainty and Welch-Satterthwaite degrees of freedom
 * (GUM G.4.1, formula G.2b). Zero components give u = 0, dof = INFINITY. */
void spw_combine(const spw_component *components, size_t n, double *u, double *dof);
/* t quantile for two-sided coverage p (0..1) at dof (not rounded; INFINITY
 * gives the normal quantile). */
double spw_coverage_factor(double p, double dof);

/* Probability that a value known as y with standard uncertainty u (normal)
 * lies in [low, high]; either limit may be infinite (JCGM 106, 7.2-7.4). */
double spw_conformity(double y, double u, double low, double high);

/* Mean-shift segmentation of a series: minimises sum of squared deviations
 * within segments / scale^2 + penalty a change, exactly, by optimal
 * partitioning with functional pruning (Maidstone, Hocking, Fearnhead, Rigaill
 * 2017): about n log n steps, also where nothing changes.
 *   scale    standard deviation of the noise, > 0
 *   penalty  cost of a change, e.g. 3 ln n
 *   minimum_length  shortest segment, 0 counts as 1; a series shorter than
 *            twice that is one segment. Costs minimum_length steps a value.
 *   ends     out, allocated (free()): index one past the last value of each
 *            segment, upwards; the last is n
 * 16 bytes a value while it works; SPW_ERR_EMPTY when n is 0,
 * SPW_ERR_ARGUMENT when scale or penalty is out of range. */
spw_status spw_change_points(const double *values, size_t n, double scale, double penalty,
                             size_t minimum_length, size_t **ends, size_t *segments) SPW_CHECKED;

/* Straight line y = a + b x. */
typedef struct spw_line {
    double intercept, slope;
    double u_intercept, u_slope; /* standard uncertainties from the residuals */
    double covariance;           /* of intercept and slope */
    double residual_sd;          /* n-2 in the divisor */
    double correlation;          /* of x and y */
    size_t n;
} spw_line;
/* Ordinary least squares (GSL). SPW_ERR_EMPTY for n < 2; figures that need
 * n > 2 are NAN at n = 2; SPW_ERR_NUMERIC when every x is equal. */
spw_status spw_fit_line(const double *x, const double *y, size_t n, spw_line *line) SPW_CHECKED;
/* The same with known standard uncertainties of every x and y, uncorrelated:
 * York, Evensen, Lopez Martinez, Delgado, Am. J. Phys. 72 (2004).
 *   ux, uy  n values each, >= 0, never both 0 (SPW_ERR_ARGUMENT)
 *   line    u_intercept, u_slope and covariance follow from ux and uy alone, at
 *           the adjusted points (York 2004); multiply by sqrt(chi2 / (n - 2))
 *           for ones scaled to the scatter. residual_sd is of y, unweighted.
 *   chi2    out, weighted sum of squared residuals, n - 2 degrees of freedom
 * Failures as spw_fit_line; SPW_ERR_NUMERIC too when the iteration does not settle. */
spw_status spw_fit_line_xy(const double *x, const double *ux, const double *y, const double *uy,
                           size_t n, spw_line *line, double *chi2) SPW_CHECKED;

/* Exact interval of a proportion seen as k of n (Clopper and Pearson 1934).
 * NAN unless k <= n and 0 < confidence < 1; n = 0 gives 0 and 1. */
void spw_binomial_interval(size_t k, size_t n, double confidence, double *low, double *high);

/* Fisher's test of the strongest of m periodogram ordinates: probability that
 * its share of their sum is g or more when the series is white normal noise. */
double spw_fisher_g_p(double g, size_t m);
/* Strongest ordinate of the mean-removed series' periodogram among the bins
 * 1 .. (n-1)/2 (FFTW). The first 2^17 values at most are used.
 *   cycles_per_sample  out, of the bin
 *   amplitude          out, peak, of a sine in that bin, unit of the series
 *   p_value            out, spw_fisher_g_p; 1 when there is no scatter
 * SPW_ERR_EMPTY when n < 3. Safe to call from several threads. */
spw_status spw_strongest_line(const double *x, size_t n, double *cycles_per_sample,
                              double *amplitude, double *p_value) SPW_CHECKED;

/* An even grid that values lie on. */
typedef struct spw_lattice {
    double step;        /* NAN: none found */
    double u;           /* its standard uncertainty */
    double residual_sd; /* scatter of the values about the grid */
    double p;           /* bound on the chance that values without a grid look as regular */
} spw_lattice;
/* Finds the spacing of values that lie on an even grid with any origin, each with
 * independent noise of up to about 0.3 of the step.
 *   values               n distinct levels (repeats of one level are no new evidence)
 *   step_low, step_high  spacings looked for, 0 < low < high
 * The step is the largest spacing in that range that explains all values, at a
 * chance p of at most 0.01 over all spacings tried; where the values' grid is
 * coarser than step_high (they were picked too evenly to tell) there is none.
 * SPW_ERR_EMPTY for n < 8, SPW_ERR_ARGUMENT for a bad range. Peak of the empirical
 * characteristic function, by FFTW over a fine histogram; p is a Chernoff bound. */
spw_status spw_find_lattice(const double *values, size_t n, double step_low, double step_high,
                            spw_lattice *lattice) SPW_CHECKED;

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
