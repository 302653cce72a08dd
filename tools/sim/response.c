#include "sim/response.h"

#include "sim/elliptic.h"

#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PAD = 8, CELLS_A_SAMPLE = 64 };

/* Linear-phase kernels: Kaiser-windowed sincs (J. F. Kaiser, 1974), continuous
 * in time. Half length in samples, corner in fs, and the window's beta. */
typedef struct kernel {
    double half, corner, beta;
} kernel;

static kernel kernel_of(char filter) {
    if (filter == 'a')
        return (kernel){53, 0.47, 8};
    return (kernel){32, 0.5, 10}; /* stop band of 100 dB from 0.55 fs */
}

static double kernel_at(const kernel *k, double x) {
    double r = x / k->half;
    if (fabs(r) >= 1)
        return 0;
    double arc = 2 * M_PI * k->corner * x;
    double sinc = fabs(arc) < 1e-9 ? 1 : sin(arc) / arc;
    return 2 * k->corner * sinc * gsl_sf_bessel_I0(k->beta * sqrt(1 - r * r)) /
           gsl_sf_bessel_I0(k->beta);
}

/* Integral of the four-point cubic through f[-1..2] over [0, 1] cell. */
static double cell_integral(const double *f) {
    return (-f[-1] + 13 * f[0] + 13 * f[1] - f[2]) / 24;
}

/* The converter's step response on the grid; one-sided filters start at PAD. */
static void converter_step(const sim_channel *channel, double *out, size_t n, double cell_samples,
                           double first_samples) {
    if (channel->filter == '-') {
        for (size_t i = 0; i < n; i++)
            out[i] = i >= PAD ? 1 : 0;
    } else if (channel->filter == 'b') {
        sim_elliptic filter = sim_elliptic_design(0.05, 80);
        for (size_t i = 0; i < n; i++)
            out[i] = i < PAD ? 0
                             : sim_elliptic_step(&filter, 2 * M_PI * 0.45 * cell_samples *
                                                              (double)(i - PAD));
    } else {
        kernel k = kernel_of(channel->filter);
        double f[4], sum = 0;
        for (int j = 0; j < 4; j++)
            f[j] = kernel_at(&k, first_samples + (j - 1) * cell_samples);
        for (size_t i = 0; i < n; i++) {
            out[i] = sum;
            sum += cell_integral(f + 1) * cell_samples;
            memmove(f, f + 1, 3 * sizeof f[0]);
            f[3] = kernel_at(&k, first_samples + ((double)i + 3) * cell_samples);
        }
        for (size_t i = 0; i < n; i++)
            out[i] /= sum;
    }
}

/* First-order low-pass of x in place: exact for an input that is a cubic between
 * grid points (order 1: straight line at the ends). a = cell / tau. Derivation:
 * y(1) = y(0) e^-a + a e^-a int_0^1 e^(a u) x(u) du by 8-point Gauss-Legendre
 * weights would cost more than the series below needs. */
static void low_pass(double *x, size_t n, double a, bool one_sided) {
    if (a > 500)
        return;
    /* moments m_k = a int_0^1 e^(a(u-1)) u^k du, k = 0..3 */
    double decay = exp(-a), m[4];
    if (a > 0.5) {
        m[0] = 1 - decay;
        for (int k = 1; k < 4; k++)
            m[k] = 1 - k * m[k - 1] / a;
    } else { /* the recurrence loses digits for small a: power series */
        for (int k = 0; k < 4; k++) {
            double term = a, sum = 0;
            for (int j = 0; j < 24; j++) {
                sum += term / (k + 1 + j);
                term *= a / (j + 1);
            }
            m[k] = decay * sum;
        }
    }
    double y = x[0];
    size_t from = one_sided ? PAD : 0;
    if (one_sided)
        y = 0;
    double before = x[from], here = x[from];
    for (size_t i = from; i + 1 < n; i++) {
        double next = x[i + 1], after = i + 2 < n ? x[i + 2] : next;
        if (one_sided && i == from)
            before = 3 * here - 3 * next + after; /* extrapolated: nothing across the edge */
        /* cubic through (-1, before) (0, here) (1, next) (2, after) */
        double c1 = next - before / 3 - here / 2 - after / 6;
        double c2 = (before + next) / 2 - here;
        double c3 = (after - before) / 6 + (here - next) / 2;
        double drive = here * m[0] + c1 * m[1] + c2 * m[2] + c3 * m[3];
        x[i] = y;
        y = y * decay + drive;
        before = here;
        here = next;
    }
    x[n - 1] = y;
}

static double interpolate(const double *v, double f) {
    /* Lagrange through v[-2..3] at f in [0, 1) */
    double a = f + 2, b = f + 1, d = f - 1, e = f - 2, g = f - 3;
    return -v[-2] * b * f * d * e * g / 120 + v[-1] * a * f * d * e * g / 24 -
           v[0] * a * b * d * e * g / 12 + v[1] * a * b * f * e * g / 12 -
           v[2] * a * b * f * d * g / 24 + v[3] * a * b * f * d * e / 120;
}

/* Mean of x over [i - width, i] cells for every i, by the running integral. */
static bool slew(double *x, size_t n, double width) {
    double *sum = malloc((n + 1) * sizeof *sum);
    if (sum == NULL)
        return false;
    sum[0] = 0;
    for (size_t i = 0; i + 1 < n; i++)
        sum[i + 1] = sum[i] + (i > 0 && i + 2 < n ? cell_integral(x + i) : (x[i] + x[i + 1]) / 2);
    for (size_t i = n; i-- > 0;) {
        double at = (double)i - width;
        double low = 0;
        if (at >= 2 && at < (double)n - 4) {
            size_t j = (size_t)at;
            low = interpolate(sum + j, at - (double)j);
        }
        x[i] = (sum[i] - low) / width;
    }
    free(sum);
    return true;
}

/* Corners in radians a second, none twice (a cascade of equal ones would need more than
 * exponentials). How many. */
static size_t corners(const sim_channel *channel, double w[SIM_POLES]) {
    size_t n = 0;
    for (size_t i = 0; i < SIM_POLES; i++)
        if (channel->high_pass_hz[i] > 0)
            w[n++] = 2 * M_PI * channel->high_pass_hz[i];
    for (size_t i = 1; i < n; i++)
        for (size_t j = 0; j < i; j++)
            if (fabs(w[i] / w[j] - 1) < 1e-4)
                w[i] = w[j] * (1 + 1e-4 * (double)i);
    return n;
}

/* High-passes, one after the other: y = x - lowpass(x). Behind the table x is a sum of
 * exponentials e_j exp(-r_j d), of which one with corner w leaves e_j r_j / (r_j - w), and
 * adds exp(-w d) with what the table's end still lacks. */
static void take_high_passes(const sim_channel *channel, double *x, double *hp, size_t n,
                             double cell, bool one_sided, sim_response *response) {
    size_t end = n - PAD;
    double w[SIM_POLES];
    size_t poles = corners(channel, w);
    response->tail[0] = 1; /* the step itself */
    for (size_t i = 0; i < poles; i++) {
        memcpy(hp, x, n * sizeof *x);
        low_pass(hp, n, cell * w[i], one_sided);
        for (size_t j = 0; j < n; j++)
            x[j] -= hp[j];
        double rest = x[end];
        for (size_t j = 0; j < i; j++) {
            response->tail[j] *= response->rate[j] / (response->rate[j] - w[i]);
            rest -= response->tail[j];
        }
        response->rate[i] = w[i];
        response->tail[i] = rest;
    }
}

bool sim_response_make(const sim_channel *channel, double tau_s, sim_response *response) {
    double period = 1 / channel->sample_rate_hz;
    bool one_sided = channel->filter == 'b' || channel->filter == '-';
    double cell = period / CELLS_A_SAMPLE;
    double before = one_sided ? 0 : 1 + (channel->filter == 'a' ? 53 : 32);
    double after = (channel->filter == 'b' ? 128 : before) * period + channel->slew_s;
    if (channel->filter == '-') {
        double shape = channel->slew_s > 0 ? channel->slew_s : tau_s;
        cell = fmin(cell, shape > 0 ? shape / 128 : cell);
        after = channel->slew_s + 40 * tau_s + 16 * cell;
    }
    double poles_hz[2] = {channel->filter == 'g' ? 15000.0 : 0, channel->low_pass_hz};
    for (int i = 0; i < 2; i++)
        after += poles_hz[i] > 0 ? 40 / (2 * M_PI * poles_hz[i]) : 0;
    if (channel->filter != '-' && channel->slew_s <= 0)
        after += 40 * tau_s;
    size_t lead = (size_t)ceil(before * period / cell);
    size_t n = PAD + lead + (size_t)ceil(after / cell) + PAD;
    double *x = calloc(n, sizeof *x), *hp = calloc(n, sizeof *hp);
    if (x == NULL || hp == NULL)
        goto failed;
    converter_step(channel, x, n, cell / period, -(double)(lead + PAD) * cell / period);
    for (int i = 0; i < 2; i++)
        if (poles_hz[i] > 0)
            low_pass(x, n, cell * 2 * M_PI * poles_hz[i], one_sided);
    if (channel->slew_s > 0) {
        if (!slew(x, n, channel->slew_s / cell))
            goto failed;
    } else if (tau_s > 0) {
        low_pass(x, n, cell / tau_s, one_sided);
    }
    *response = (sim_response){.start_s = -(double)lead * cell, .cell_s = cell, .value = x};
    response->cells = n - PAD - 4;
    response->end_s = response->start_s + (double)(n - 2 * PAD) * cell;
    take_high_passes(channel, x, hp, n, cell, one_sided, response);
    /* the 50 % instant of the source's own waveform is the edge's time */
    double shift = channel->slew_s > 0 ? channel->slew_s / 2 : tau_s * M_LN2;
    response->start_s -= shift;
    response->end_s -= shift;
    free(hp);
    return true;
failed:
    free(x);
    free(hp);
    return false;
}

double sim_response_table(const sim_response *response, double t) {
    double at = (t - response->start_s) / response->cell_s;
    if (at < 0)
        return 0;
    size_t i = (size_t)at;
    if (i >= response->cells)
        i = response->cells - 1;
    double f = at - (double)i;
    const double *v = response->value + PAD + i;
    if (i < 2 && response->value[PAD - 1] == 0) { /* nothing across the start of a causal edge */
        f += (double)i - 2;
        v = response->value + PAD + 2;
    }
    return interpolate(v, f);
}

double sim_response_at(const sim_response *response, double t) {
    if (t < response->end_s)
        return sim_response_table(response, t);
    double sum = 0;
    for (int i = 0; i < SIM_POLES; i++)
        sum += response->tail[i] * exp(-response->rate[i] * (t - response->end_s));
    return sum;
}

void sim_response_free(sim_response *response) {
    free(response->value);
    response->value = NULL;
}
