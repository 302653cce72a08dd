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

/* Type A uncertainty of the mean of a serially correlated series.
 *   u            out, standard uncertainty of the mean
 *   dof          out, degrees of freedom to use with it
 *   n_effective  out, effective number of independent values (1 .. n)
 * Calibrated so that mean +- t(0.975, dof) u covers in 93-97 % of runs for
 * n >= 30, n_effective >= 7 and first-order correlation 0 .. 0.6.
 * n = 1 gives NAN u. No scatter gives u = 0. */
spw_status spw_type_a(const double *values, size_t n, double *u, double *dof,
                      double *n_effective) SPW_CHECKED;

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
 * within segments / scale^2 + penalty a segment, exactly, by optimal
 * partitioning with pruning (Killick, Fearnhead, Eckley 2012).
 *   scale    standard deviation of the noise, > 0
 *   penalty  cost of a change, e.g. 3 ln n
 *   ends     out, allocated (free()): index one past the last value of each
 *            segment, upwards; the last is n
 * O(n) memory; SPW_ERR_EMPTY when n is 0. */
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

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
