/* Type A uncertainty of the mean of a serially correlated series.
 *
 * s/sqrt(n) is too small when neighbours resemble each other. The series is
 * taken as first-order autoregressive, x_i - m = phi (x_{i-1} - m) + e_i; with
 * phi known, its likelihood (stationary start) integrated over the mean and the
 * scale leaves m a t distribution with n - 1 degrees of freedom. phi is not
 * known and an estimate put in its place covers too seldom, so phi is
 * integrated over as well (JCGM 101 way: the distribution of the quantity,
 * then its interval). */
#include "spanwright/stats.h"

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

/* The conditional answer at one phi. With d = m - sample mean the exponent is
 * Q0 - 2 d B + d^2 A: */
typedef struct at_phi {
    double log_weight; /* log of restricted likelihood times prior */
    double offset;     /* B/A, generalised least squares mean less sample mean */
    double scale2;     /* squared scale of the t distribution of m */
} at_phi;

static at_phi solve(const ar_sums *s, double phi) {
    double a = (1 - phi) * (s->n - (s->n - 2) * phi);
    double b = (1 - phi) * phi * (s->first + s->last);
    double q = s->squares - 2 * phi * s->products +
               phi * phi * (s->squares - s->first * s->first - s->last * s->last);
    double rest = q - b * b / a;
    double prior = log1p(-phi);
    return (at_phi){.log_weight = prior + 0.5 * log1p(-phi * phi) - 0.5 * log(a) -
                                  0.5 * (s->n - 1) * log(rest),
                    .offset = b / a,
                    .scale2 = rest / ((s->n - 1) * a)};
}

enum { NODES = 200 };

spw_status spw_type_a(const double *values, size_t n, double *u, double *dof, double *n_effective) {
    if (n == 0)
        return SPW_ERR_EMPTY;
    if (n == 1) {
        *u = *dof = NAN;
        *n_effective = 1;
        return SPW_OK;
    }
    ar_sums s = sum_up(values, n);
    double plain = s.squares / ((s.n - 1) * s.n); /* s^2/n */
    if (!(plain > 0)) {
        *u = 0;
        *dof = s.n - 1;
        *n_effective = s.n;
        return SPW_OK;
    }
    at_phi node[NODES];
    double largest = -INFINITY;
    for (int k = 0; k < NODES; k++) {
        node[k] = solve(&s, -1 + (k + 0.5) * 2 / NODES);
        largest = fmax(largest, node[k].log_weight);
    }
    double weight = 0;
    double mean = 0;
    double square = 0;
    for (int k = 0; k < NODES; k++) {
        double w = exp(node[k].log_weight - largest);
        double v = fmax(node[k].scale2 + node[k].offset * node[k].offset, plain);
        weight += w;
        mean += w * v;
        square += w * v * v;
    }
    mean /= weight;
    double doubt = fmax(0, square / weight - mean * mean) / (mean * mean);
    *u = sqrt(mean);
    *dof = 2 / (2 / (s.n - 1) + doubt);
    *n_effective = fmax(1, fmin(s.n, s.n * plain / mean));
    return SPW_OK;
}
