#include "spanwright/stats.h"

#include <gsl/gsl_fit.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>

static bool all_equal(const double *x, size_t n) {
    for (size_t i = 1; i < n; i++)
        if (x[i] != x[0])
            return false;
    return true;
}

spw_status spw_fit_line(const double *x, const double *y, size_t n, spw_line *line) {
    if (n < 2)
        return SPW_ERR_EMPTY;
    if (all_equal(x, n))
        return SPW_ERR_NUMERIC;
    double c0 = NAN;
    double c1 = NAN;
    double v00 = NAN;
    double v01 = NAN;
    double v11 = NAN;
    double squares = NAN;
    if (gsl_fit_linear(x, 1, y, 1, n, &c0, &c1, &v00, &v01, &v11, &squares) != 0 || !isfinite(c0) ||
        !isfinite(c1))
        return SPW_ERR_NUMERIC;
    bool spare = n > 2;
    *line = (spw_line){.intercept = c0,
                       .slope = c1,
                       .u_intercept = spare ? sqrt(v00) : NAN,
                       .u_slope = spare ? sqrt(v11) : NAN,
                       .covariance = spare ? v01 : NAN,
                       .residual_sd = spare ? sqrt(squares / (double)(n - 2)) : NAN,
                       .correlation = all_equal(y, n) ? NAN : gsl_stats_correlation(x, 1, y, 1, n),
                       .n = n};
    return SPW_OK;
}

/* Weighted means of x and y for the combined weights of slope b
 * (York et al. 2004, equation 13a), and of the quantities that follow. */
typedef struct york {
    double x_mean, y_mean;
    double slope;      /* the next estimate */
    double weight_sum; /* of the combined weights */
} york;

typedef struct york_data {
    const double *x, *ux, *y, *uy;
    size_t n;
} york_data;

static double york_weight(const york_data *d, size_t i, double b) {
    return 1 / (d->uy[i] * d->uy[i] + b * b * d->ux[i] * d->ux[i]);
}

static york york_step(const york_data *d, double b) {
    york s = {0};
    for (size_t i = 0; i < d->n; i++) {
        double w = york_weight(d, i, b);
        s.weight_sum += w;
        s.x_mean += w * (d->x[i] - d->x[0]);
        s.y_mean += w * (d->y[i] - d->y[0]);
    }
    s.x_mean = d->x[0] + s.x_mean / s.weight_sum;
    s.y_mean = d->y[0] + s.y_mean / s.weight_sum;
    double up = 0;
    double down = 0;
    for (size_t i = 0; i < d->n; i++) {
        double w = york_weight(d, i, b);
        double U = d->x[i] - s.x_mean;
        double V = d->y[i] - s.y_mean;
        double beta = w * (U * d->uy[i] * d->uy[i] + b * V * d->ux[i] * d->ux[i]);
        up += w * beta * V;
        down += w * beta * U;
    }
    s.slope = up / down;
    return s;
}

/* Standard uncertainties at the adjusted points (York et al. 2004, 13c, 13d),
 * from the given ux, uy alone. */
static void york_finish(const york_data *d, double b, spw_line *line, double *chi2) {
    york s = york_step(d, b);
    double mean = 0; /* of the adjusted x, from x_mean */
    double squares = 0;
    *chi2 = 0;
    line->slope = b;
    line->intercept = s.y_mean - b * s.x_mean;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i < d->n; i++) {
            double w = york_weight(d, i, b);
            double U = d->x[i] - s.x_mean;
            double V = d->y[i] - s.y_mean;
            double beta = w * (U * d->uy[i] * d->uy[i] + b * V * d->ux[i] * d->ux[i]);
            if (pass == 0) {
                mean += w * beta / s.weight_sum;
                *chi2 += w * (V - b * U) * (V - b * U);
            } else {
                squares += w * (beta - mean) * (beta - mean);
            }
        }
    double at = s.x_mean + mean;
    line->u_slope = sqrt(1 / squares);
    line->u_intercept = sqrt(1 / s.weight_sum + at * at / squares);
    line->covariance = -at / squares;
}

spw_status spw_fit_line_xy(const double *x, const double *ux, const double *y, const double *uy,
                           size_t n, spw_line *line, double *chi2) {
    if (n < 2)
        return SPW_ERR_EMPTY;
    for (size_t i = 0; i < n; i++)
        if (!(ux[i] >= 0) || !(uy[i] >= 0) || !(ux[i] + uy[i] > 0) || isinf(ux[i]) || isinf(uy[i]))
            return SPW_ERR_ARGUMENT;
    spw_line start;
    spw_status status = spw_fit_line(x, y, n, &start);
    if (status != SPW_OK)
        return status;
    york_data d = {x, ux, y, uy, n};
    double b = start.slope;
    double change = INFINITY;
    for (int i = 0; i < 200 && change > 1e-14 * fabs(b); i++) {
        double next = york_step(&d, b).slope;
        change = fabs(next - b);
        b = next;
    }
    if (!(change <= 1e-9 * fabs(b)))
        return SPW_ERR_NUMERIC;
    spw_line fitted = start;
    double square_sum = NAN;
    york_finish(&d, b, &fitted, &square_sum);
    if (!isfinite(fitted.slope) || !isfinite(fitted.u_slope))
        return SPW_ERR_NUMERIC;
    double squares = 0;
    for (size_t i = 0; i < n; i++)
        squares += pow(y[i] - fitted.intercept - fitted.slope * x[i], 2);
    fitted.residual_sd = n > 2 ? sqrt(squares / (double)(n - 2)) : NAN;
    *line = fitted;
    *chi2 = square_sum;
    return SPW_OK;
}
