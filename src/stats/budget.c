/* Combining uncertainties, coverage factors, probabilities.
 *
 * GSL's error handler ends the program by default and is the program's to
 * change, so every argument is checked here before GSL sees it. */
#include "spanwright/stats.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

void spw_combine(const spw_component *components, size_t n, double *u, double *dof) {
    double largest = 0;
    for (size_t i = 0; i < n; i++)
        largest = fmax(largest, fabs(components[i].u));
    double variance = 0; /* in units of the largest component: no overflow in u^4 */
    double doubt = 0;
    for (size_t i = 0; i < n && largest > 0; i++) {
        double r = components[i].u / largest;
        variance += r * r;
        if (r != 0)
            doubt += r * r * r * r / components[i].dof;
    }
    *u = largest * sqrt(variance);
    *dof = doubt == 0 ? INFINITY : variance * variance / doubt;
}

double spw_coverage_factor(double p, double dof) {
    if (!(p >= 0 && p <= 1) || !(dof > 0))
        return NAN;
    if (p == 0)
        return 0;
    double tail = (1 - p) / 2;
    if (tail <= 0)
        return INFINITY;
    /* From 1e8 on the two quantiles agree to eight digits. */
    return dof > 1e8 ? gsl_cdf_ugaussian_Qinv(tail) : gsl_cdf_tdist_Qinv(tail, dof);
}

double spw_conformity(double y, double u, double low, double high) {
    if (isnan(y) || isnan(low) || isnan(high) || !(u >= 0) || isinf(y) || isinf(u))
        return NAN;
    if (high < low)
        return 0;
    if (u == 0)
        return y >= low && y <= high ? 1 : 0;
    double z_low = (low - y) / u;
    double z_high = (high - y) / u;
    /* The difference of the smaller tails keeps its digits. */
    if (z_low > 0)
        return gsl_cdf_ugaussian_Q(z_low) - gsl_cdf_ugaussian_Q(z_high);
    return gsl_cdf_ugaussian_P(z_high) - gsl_cdf_ugaussian_P(z_low);
}

/* Both counts this large: GSL's continued fraction stops converging at some
 * 1.5E6, and the expansion below is good to 1E-5 standard deviations. */
static const double many = 1e5;

/* Cornish and Fisher's expansion of a beta quantile, skewness included. */
static double beta_quantile_many(double p, double a, double b) {
    double sum = a + b;
    double sd = sqrt(a * b / (sum + 1)) / sum;
    double skewness = 2 * (b - a) * sqrt(sum + 1) / ((sum + 2) * sqrt(a * b));
    double z = gsl_cdf_ugaussian_Pinv(p);
    return fmin(1, fmax(0, a / sum + sd * (z + (z * z - 1) * skewness / 6)));
}

/* The x in (0,1) where the beta(a,b) distribution function reaches p. Bisection,
 * because gsl_cdf_beta_Pinv calls GSL's error handler when it does not converge. */
static double beta_quantile(double p, double a, double b) {
    if (a > many && b > many)
        return beta_quantile_many(p, a, b);
    double low = 0;
    double high = 1;
    for (int i = 0; i < 80 && high - low > 1e-15 * high; i++) {
        double middle = (low + high) / 2;
        if (gsl_cdf_beta_P(middle, a, b) < p)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

void spw_binomial_interval(size_t k, size_t n, double confidence, double *low, double *high) {
    *low = *high = NAN;
    if (k > n || !(confidence > 0 && confidence < 1))
        return;
    double tail = (1 - confidence) / 2;
    double hits = (double)k;
    double misses = (double)(n - k);
    *low = k == 0 ? 0 : beta_quantile(tail, hits, misses + 1);
    *high = k == n ? 1 : beta_quantile(1 - tail, hits + 1, misses);
}
