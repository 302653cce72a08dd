#include "spanwright/stats.h"
#include "stats/order.h"

#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

spw_summary spw_summary_none(void) {
    return (spw_summary){.n = 0,
                         .mean = NAN,
                         .sd = NAN,
                         .min = NAN,
                         .max = NAN,
                         .median = NAN,
                         .p05 = NAN,
                         .p95 = NAN,
                         .u = NAN,
                         .dof = NAN,
                         .U95 = NAN,
                         .floor = NAN};
}

/* Mean about the first value, so that a small scatter on a large level keeps
 * its digits (NIST StRD, NumAcc3 and NumAcc4). */
static double mean_about_pivot(const double *values, size_t n) {
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += values[i] - values[0];
    return values[0] + sum / (double)n;
}

/* Sum of squares about the mean, less what the mean's own rounding added
 * (corrected two-pass: Chan, Golub, LeVeque 1983, formula 1.7). */
static double squares_about_mean(const double *values, size_t n, double mean) {
    double squares = 0;
    double rest = 0;
    for (size_t i = 0; i < n; i++) {
        double d = values[i] - mean;
        squares += d * d;
        rest += d;
    }
    double corrected = squares - rest * rest / (double)n;
    return corrected > 0 ? corrected : 0;
}

spw_status spw_summarise(const double *values, size_t n, spw_summary *summary) {
    if (n == 0)
        return SPW_ERR_EMPTY;
    double *work = n <= SIZE_MAX / sizeof *work ? malloc(n * sizeof *work) : NULL;
    if (work == NULL)
        return SPW_ERR_MEMORY;
    memcpy(work, values, n * sizeof *work);
    spw_summary s = spw_summary_none();
    s.n = n;
    gsl_stats_minmax(&s.min, &s.max, values, 1, n);
    s.mean = mean_about_pivot(values, n);
    if (n > 1)
        s.sd = sqrt(squares_about_mean(values, n, s.mean) / (double)(n - 1));
    s.median = spw_quantile(work, n, 0.5);
    s.p05 = spw_quantile(work, n, 0.05);
    s.p95 = spw_quantile(work, n, 0.95);
    free(work);
    *summary = s;
    return SPW_OK;
}

spw_status spw_robust_scale(const double *values, size_t n, double *median, double *sd) {
    if (n == 0)
        return SPW_ERR_EMPTY;
    double *work = n <= SIZE_MAX / sizeof *work ? malloc(n * sizeof *work) : NULL;
    if (work == NULL)
        return SPW_ERR_MEMORY;
    memcpy(work, values, n * sizeof *work);
    *median = gsl_stats_median(work, 1, n);
    *sd = 1.4826 * gsl_stats_mad0(values, 1, n, work);
    free(work);
    return SPW_OK;
}

double spw_quantile_sorted(const double *sorted, size_t n, double p) {
    if (n == 0 || !(p >= 0 && p <= 1))
        return NAN;
    return gsl_stats_quantile_from_sorted_data(sorted, 1, n, p);
}

double spw_lag1(const double *values, size_t n) {
    if (n < 2)
        return NAN;
    double mean = mean_about_pivot(values, n);
    double squares = 0;
    double products = 0;
    double before = 0;
    for (size_t i = 0; i < n; i++) {
        double d = values[i] - mean;
        squares += d * d;
        products += d * before;
        before = d;
    }
    return squares > 0 ? products / squares : NAN;
}
