/* Type A uncertainty of the mean of a serially correlated series.
 *
 * s/sqrt(n) is too small when neighbours resemble each other. The series is
 * taken as first-order autoregressive, x_i - m = phi (x_{i-1} - m) + e_i. With
 * phi known, its likelihood (stationary start) integrated over mean and scale
 * (the restricted likelihood) leaves for m a t distribution of n - 1 degrees of
 * freedom. phi is not known, and any estimate in its place makes intervals that
 * cover too seldom, because small estimates go with small intervals. So phi is
 * integrated over as well, in the way of JCGM 101: the distribution of the
 * quantity first, then its interval. The prior sqrt(1 - phi) holds long memory
 * for unlikely; its exponent, the one number not derived, was taken between 0
 * and 1 for coverage nearest 95 % over tests/simulated/test_type_a.c. */
#include "spanwright/stats.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

/* Sums of the deviations z from the sample mean that the likelihood needs. */
typedef struct ar_sums {
    double n;
    double squares;  /* sum z_i^2 */
    double products; /* sum z_i z_{i+1} */
    double first, last;
} ar_sums;

static ar_sums sum_up(const double *values, size_t n) {
    double mean = 0;
    for (size_t i = 0; i < n; i++)
        mean += values[i] - values[0];
    mean /= (double)n;
    ar_sums s = {.n = (double)n};
    double before = 0;
    for (size_t i = 0; i < n; i++) {
        double z = (values[i] - values[0]) - mean;
        s.squares += z * z;
        s.products += z * before;
        before = z;
    }
    s.first = -mean;
    s.last = before;
    return s;
}

/* What one phi contributes. */
typedef struct at_phi {
    double weight; /* restricted likelihood times prior; log of it at first */
    double scale;  /* of the t distribution of m - sample mean */
} at_phi;

/* As a function of d = m - sample mean the residual sum of squares is
 * q - 2 d b + d^2 a, least at b/a: the distribution of m has its centre there,
 * off the sample mean by a part in sqrt(n) of its scale, which is widened for
 * it. `at` is artanh phi. */
static at_phi solve(const ar_sums *s, double at) {
    double phi = tanh(at);
    double a = (1 - phi) * (s->n - (s->n - 2) * phi);
    double b = (1 - phi) * phi * (s->first + s->last);
    double q = s->squares - 2 * phi * s->products +
               phi * phi * (s->squares - s->first * s->first - s->last * s->last);
    double rest = fmax(q - b * b / a, 1e-12 * s->squares);
    double log_likelihood = 0.5 * (log1p(-phi * phi) - log(a) - (s->n - 1) * log(rest));
    double log_prior = 0.5 * log1p(-phi) + log1p(-phi * phi); /* the latter is d phi / d at */
    return (at_phi){.weight = log_likelihood + log_prior,
                    .scale = sqrt(rest / ((s->n - 1) * a) + b * b / (a * a))};
}

enum { NODES = 32 };
typedef struct posterior {
    at_phi node[NODES];
    double log_scale;    /* mean of 2 log scale */
    double log_variance; /* its variance */
    double dof;          /* of each t distribution */
} posterior;

/* Midpoint nodes over artanh phi, as far as |phi| < 0.999 and as far as there
 * is weight: the standard deviation is about 1/sqrt(n (1 - phi^2)). */
static posterior integrate(const ar_sums *s) {
    double most = atanh(0.999);
    double likely = fmax(-0.99, fmin(0.99, s->products / s->squares));
    double reach = 8 / sqrt(s->n * (1 - likely * likely));
    double low = fmax(-most, atanh(likely) - reach);
    double high = fmin(most, atanh(likely) + reach);
    posterior p = {.dof = s->n - 1};
    double largest = -INFINITY;
    for (int k = 0; k < NODES; k++) {
        p.node[k] = solve(s, low + (high - low) * (k + 0.5) / NODES);
        largest = fmax(largest, p.node[k].weight);
    }
    double sum = 0;
    for (int k = 0; k < NODES; k++)
        sum += p.node[k].weight = exp(p.node[k].weight - largest);
    double square = 0;
    for (int k = 0; k < NODES; k++) {
        double l = 2 * log(p.node[k].scale);
        p.node[k].weight /= sum;
        p.log_scale += p.node[k].weight * l;
        square += p.node[k].weight * l * l;
    }
    p.log_variance = fmax(0, square - p.log_scale * p.log_scale);
    return p;
}

/* Log of the probability that m is farther than `half` from the sample mean. */
static double log_outside(const posterior *p, double half) {
    double sum = 0;
    for (int k = 0; k < NODES; k++)
        if (p->node[k].weight > 1e-6)
            sum += p->node[k].weight * 2 * gsl_cdf_tdist_Q(half / p->node[k].scale, p->dof);
    return log(fmax(sum, 1e-300));
}

/* Half width of the 95 % interval, by the secant method on logarithms, where
 * the tail is nearly straight. */
static double half_width(const posterior *p) {
    double at = 0.5 * p->log_scale + log(2.1);
    double excess = log_outside(p, exp(at)) - log(0.05);
    double step = 0.1;
    for (int i = 0; i < 40 && fabs(step) > 1e-6; i++) {
        double next = log_outside(p, exp(at + step)) - log(0.05);
        double slope = (next - excess) / step;
        at += step;
        excess = next;
        step = slope < 0 ? fmax(-1, fmin(1, -excess / slope)) : 0.1;
    }
    return exp(at);
}

/* Degrees of freedom of a variance from the variance of its logarithm. For a
 * scaled chi-squared one that is trigamma(dof/2), here 1/y + 1/(2 y^2), y = dof/2
 * (GUM G.3 in logarithms, which long tails do not upset). */
static double dof_of_posterior(const posterior *p) {
    double y = p->dof / 2;
    double sum = 1 / y + 1 / (2 * y * y) + p->log_variance;
    return (1 + sqrt(1 + 2 * sum)) / sum;
}

/* Degrees of freedom whose 95 % coverage factor is k; INFINITY below 1.96. From
 * the expansion t = z + (z^3 + z)/(4 dof) + (5 z^5 + 16 z^3 + 3 z)/(96 dof^2)
 * (Abramowitz and Stegun 26.7.5), good to 1 % from 5 degrees of freedom on. */
static double dof_of_factor(double k, double least) {
    double z = spw_coverage_factor(0.95, INFINITY);
    if (k <= z)
        return INFINITY;
    double g1 = (z * z * z + z) / 4;
    double g2 = (5 * pow(z, 5) + 16 * z * z * z + 3 * z) / 96;
    return fmax(least, 2 * g2 / (sqrt(g1 * g1 + 4 * g2 * (k - z)) - g1));
}

spw_status spw_type_a(const double *values, size_t n, double *u, double *dof, double *n_effective) {
    if (n == 0)
        return SPW_ERR_EMPTY;
    *u = n == 1 ? NAN : 0;
    *dof = n == 1 ? NAN : (double)n - 1;
    *n_effective = (double)n;
    if (n == 1)
        return SPW_OK;
    ar_sums s = sum_up(values, n);
    double plain = sqrt(s.squares / ((s.n - 1) * s.n)); /* s/sqrt(n) */
    if (!(plain > 0) || isinf(plain)) {
        *u = plain == 0 ? 0 : NAN; /* NAN: a value was not finite */
        return SPW_OK;
    }
    posterior p = integrate(&s);
    double wide = half_width(&p);
    *dof = dof_of_posterior(&p);
    *u = wide / spw_coverage_factor(0.95, *dof);
    if (*u < plain) {
        /* Values that lean away from their neighbours make a mean better than
         * s/sqrt(n), but how much better is not to be relied on. */
        *u = plain;
        *dof = dof_of_factor(wide / plain, *dof);
    }
    *n_effective = fmin(s.n, fmax(1, s.n * plain * plain / (*u * *u)));
    return SPW_OK;
}
