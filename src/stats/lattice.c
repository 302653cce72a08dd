/* The spacing of an even grid under noisy values.
 *
 * C(f) = |1/n sum exp(2 pi i f x_k)| is 1 where f is one over the spacing (or a
 * multiple), about exp(-2 pi^2 s^2 f^2) with noise of standard deviation s, and
 * about 1/sqrt(n) elsewhere. */
#include "spanwright/stats.h"
#include "stats/spectrum.h"

#include <gsl/gsl_sf_bessel.h>
#include <math.h>

enum {
    LEAST_VALUES = 8,
    BINS_A_STEP = 8,  /* histogram bins in the shortest spacing: C loses under 3 % */
    OVERSAMPLING = 8, /* frequencies for each 1/range */
    CHANCE_PERCENT = 1
};
#define TRANSFORM_MAX ((size_t)1 << 22)

/* Bound on the logarithm of P(C >= c) at one frequency for n independent uniform
 * phases. With S their resultant, E exp(l S.e) over every direction e is
 * E I0(l |S|) = I0(l)^n, and I0 rises: P(|S| >= n c) <= I0(l)^n / I0(l n c) for any l. */
static double log_chance(double c, double n) {
    double best = 0;
    double l = 0.05;
    for (int i = 0; i < 150; i++, l *= 1.1) { /* to 8e4; gsl's scaled form is I0(l) exp(-l) */
        double bound = n * (log(gsl_sf_bessel_I0_scaled(l)) + l * (1 - c)) -
                       log(gsl_sf_bessel_I0_scaled(l * n * c));
        best = fmin(best, bound);
    }
    return best;
}

static double coherence(const double *x, size_t n, double f) {
    double real = 0, imaginary = 0;
    for (size_t k = 0; k < n; k++) {
        double turns = f * (x[k] - x[0]);
        double angle = 2 * M_PI * (turns - floor(turns));
        real += cos(angle);
        imaginary += sin(angle);
    }
    return hypot(real, imaginary) / (double)n;
}

/* Climbs to the top of a peak known to lie within +-half of f. */
static double climb(const double *x, size_t n, double f, double half) {
    double low = f - half, high = f + half;
    const double golden = 0.6180339887498949;
    double a = high - golden * (high - low), b = low + golden * (high - low);
    double at_a = coherence(x, n, a), at_b = coherence(x, n, b);
    for (int i = 0; i < 60; i++) {
        if (at_a > at_b) {
            high = b, b = a, at_b = at_a;
            a = high - golden * (high - low);
            at_a = coherence(x, n, a);
        } else {
            low = a, a = b, at_a = at_b;
            b = low + golden * (high - low);
            at_b = coherence(x, n, b);
        }
    }
    return 0.5 * (low + high);
}

typedef struct scan {
    double f_step; /* spacing of the frequencies */
    size_t first, last;
    fftw_complex *spectrum;
    double n;
} scan;

static double scanned(const scan *s, size_t j) {
    return hypot(creal(s->spectrum[j]), cimag(s->spectrum[j])) / s->n;
}

/* The frequency of the highest peak, climbed; or the lowest one that it is a
 * multiple of and that stands as high: multiples of the true one do when noise
 * is low, and are lower otherwise. */
static double fundamental(const scan *s, const double *x, size_t n, double *top) {
    size_t at = s->first;
    for (size_t j = s->first; j <= s->last; j++)
        if (scanned(s, j) > scanned(s, at))
            at = j;
    double f = climb(x, n, (double)at * s->f_step, 2 * s->f_step);
    *top = coherence(x, n, f);
    for (int m = (int)floor(f / ((double)s->first * s->f_step)); m > 1; m--) {
        double lower = climb(x, n, f / m, 2 * s->f_step / m);
        if (coherence(x, n, lower) >= 0.97 * *top)
            return lower;
    }
    return f;
}

/* Bound on the chance that n values without a grid reach coherence c anywhere in
 * a band of `cycles` = range times width of the band. Over a set of frequencies
 * spaced 1/(o range), some member lies so near that no phase differs by more
 * than e = pi/(2 o) from the peak's, so C there is at least cos(acos(c) + e). */
static double chance(double c, double n, double cycles) {
    double best = 0;
    double o = OVERSAMPLING;
    for (int i = 0; i < 8; i++, o *= 2) {
        double least = cos(acos(fmin(c, 1)) + M_PI / (2 * o));
        if (least > 0)
            best = fmin(best, log(o * cycles + 1) + log_chance(least, n));
    }
    return exp(best);
}

/* Are all grid numbers at 1/f multiples of one number? Then the grid of these
 * values is coarser than 1/f. */
static bool common_factor(const double *x, size_t n, double f) {
    unsigned long long common = 0;
    for (size_t k = 0; k < n; k++) {
        unsigned long long a = (unsigned long long)fabs(round(f * (x[k] - x[0]))), b = common;
        while (a != 0) {
            unsigned long long rest = b % a;
            b = a;
            a = rest;
        }
        common = b;
    }
    return common != 1;
}

/* Step and uncertainty at the peak. The phases' dispersion (Fisher, Statistical
 * Analysis of Circular Data, 2.28; from memory) is d^2 = (1 - |mean exp(2 i phase)|) / (2 C^2),
 * their squared standard deviation when small; a frequency fitted through phases of
 * that scatter has variance d^2 / (4 pi^2 sum (x - mean)^2). */
static spw_lattice at_peak(const double *x, size_t n, double f, double c, double p) {
    double mean = 0, squares = 0;
    for (size_t k = 0; k < n; k++)
        mean += (x[k] - x[0]) / (double)n;
    for (size_t k = 0; k < n; k++)
        squares += (x[k] - x[0] - mean) * (x[k] - x[0] - mean);
    double dispersion = sqrt(fmax(0, 1 - coherence(x, n, 2 * f)) / (2 * c * c));
    double step = 1 / f;
    return (spw_lattice){.step = step,
                         .u = step * step * dispersion / (2 * M_PI * sqrt(squares)),
                         .residual_sd = step * dispersion / (2 * M_PI),
                         .p = p};
}

static spw_status search(const double *x, size_t n, double low, double range, double step_low,
                         double step_high, spw_lattice *lattice) {
    double bin = step_low / BINS_A_STEP;
    size_t size = 1;
    while ((double)size * bin < OVERSAMPLING * range)
        size *= 2;
    if (size > TRANSFORM_MAX)
        return SPW_ERR_LIMIT;
    scan s = {.f_step = 1 / ((double)size * bin), .n = (double)n};
    s.first = (size_t)ceil(1 / step_high / s.f_step);
    s.last = (size_t)floor(1 / step_low / s.f_step);
    if (s.first < 1 || s.last <= s.first || s.last > size / 2)
        return SPW_OK;
    double *histogram = fftw_alloc_real(size);
    s.spectrum = fftw_alloc_complex(size / 2 + 1);
    spw_status status = SPW_ERR_MEMORY;
    if (histogram == NULL || s.spectrum == NULL)
        goto done;
    for (size_t i = 0; i < size; i++)
        histogram[i] = 0;
    for (size_t k = 0; k < n; k++)
        histogram[(size_t)((x[k] - low) / bin)] += 1;
    if (!spw_transform(histogram, s.spectrum, size))
        goto done;
    status = SPW_OK;
    double top;
    double f = fundamental(&s, x, n, &top);
    double p = chance(top, (double)n, range * (1 / step_low - 1 / step_high));
    if (p * 100 > CHANCE_PERCENT)
        goto done;
    if (!common_factor(x, n, f))
        *lattice = at_peak(x, n, f, top, p);
done:
    fftw_free(histogram);
    fftw_free(s.spectrum);
    return status;
}

spw_status spw_find_lattice(const double *values, size_t n, double step_low, double step_high,
                            spw_lattice *lattice) {
    if (!(step_low > 0) || !(step_high > step_low) || !isfinite(step_high))
        return SPW_ERR_ARGUMENT;
    if (n < LEAST_VALUES)
        return SPW_ERR_EMPTY;
    *lattice = (spw_lattice){.step = NAN, .u = NAN, .residual_sd = NAN, .p = NAN};
    double low = values[0], high = values[0];
    for (size_t k = 1; k < n; k++) {
        low = fmin(low, values[k]);
        high = fmax(high, values[k]);
    }
    double range = high - low;
    if (!(range > 2 * step_low))
        return SPW_OK;
    return search(values, n, low, range, step_low, fmin(step_high, range / 2), lattice);
}
