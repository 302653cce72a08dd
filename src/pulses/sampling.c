/* What counting in samples does to a mean width. */
#include "pulses/train.h"

#include <math.h>

static const double PI = 3.14159265358979323846;

/* One edge of each pulse against the samples: its best even frame, in samples, and the
 * scatter about it. */
typedef struct phase {
    double frame;   /* samples a frame */
    double u_frame; /* its standard uncertainty */
    double scatter; /* samples, rms */
} phase;

/*   width_us  NULL: the lead edges, else the trail edges */
static phase phase_of(const double *lead_s, const double *width_us, size_t n, double period_us,
                      double resolution_us) {
    double k = 0, sk = 0, st = 0, skk = 0, skt = 0, stt = 0;
    for (size_t i = 0; i < n; i++) { /* t counts from an even frame of period_us: small numbers */
        if (i > 0)
            k += fmax(1, round((lead_s[i] - lead_s[i - 1]) * 1e6 / period_us));
        double later_us = width_us != NULL ? width_us[i] - width_us[0] : 0;
        double t = ((lead_s[i] - lead_s[0]) * 1e6 + later_us - k * period_us) / resolution_us;
        sk += k;
        st += t;
        skk += k * k;
        skt += k * t;
        stt += t * t;
    }
    double m = (double)n;
    double vk = skk - sk * sk / m;
    double slope = vk > 0 ? (skt - sk * st / m) / vk : 0;
    double rest = stt - st * st / m - slope * slope * vk;
    double scatter = sqrt(fmax(0, rest) / fmax(1, m - 2));
    double u_slope = vk > 0 ? scatter / sqrt(vk) : 0;
    return (phase){period_us / resolution_us + slope, u_slope, scatter};
}

/* An edge at y samples is counted as the next whole one: the count is off by a sawtooth
 * of y, sum over h >= 1 of sin(2 pi h y)/(pi h) about its mean. Over phases y_k the mean
 * count is off by that sum with each term times S_h = 1/n sum exp(2 pi i h y_k), turned; over
 * all common phases its mean square is
 *     e^2 = sum |S_h|^2 / (2 (pi h)^2), in samples.
 * Locked frames have S_h = 1: e = 1/sqrt 12. Frames that advance by d samples
 * have |S_h| <= 1/(n |sin(pi h d)|): it averages once whole samples are swept, and
 * does not when d is a simple fraction (60 Hz on a 1 MHz clock visits three phases), or may be
 * one within its uncertainty (of finer ones little is left).
 * Scatter of this edge, sd s samples, damps S_h by exp(-2 (pi h s)^2); what it
 * adds to the widths is Type A. */
static double edge_error(phase p, size_t n) {
    /* Rounding alone can show a scatter of half a sample: count only what is more. */
    double scatter2 = fmax(0, p.scatter * p.scatter - 0.25);
    double sum = 0, shares = 0;
    enum { HARMONICS = 64, SIMPLE = 8 };
    for (int h = 1; h <= HARMONICS; h++) {
        double turns = h * p.frame;
        double doubt = h <= SIMPLE ? h * p.u_frame : 0;
        double off = fmax(0, fabs(turns - round(turns)) - doubt);
        double s = fmin(1, 1 / fmax((double)n * sin(PI * off), 1e-300));
        double damp = exp(-2 * pow(PI * h, 2) * scatter2);
        double share = 1 / (2 * PI * PI * h * h);
        sum += share * s * s * damp * damp;
        shares += share;
    }
    sum += (1.0 / 12 - shares) / (double)n;
    return sqrt(sum);
}

/* A sawtooth is off by sqrt 3 times its rms at most. Two edges of a locked pulse need not have
 * random phases: one lies on the samples where recorder and controller share a clock. Its
 * error is then all of that, and the other's anything up to it, evenly. */
static double worst_error(double a, double b) {
    return sqrt(3.0) * (fmax(a, b) + 0.95 * fmin(a, b));
}

/* What u has to be beside that of the scatter, as both are combined by squares, for a mean that
 * is off by `worst` to lie within U95: that is worst + 1.645 u_scatter (one side, 5 %). */
static double beside(double worst, double u_scatter) {
    double u = (worst + 1.644853626951473 * u_scatter) / 1.959963984540054;
    return sqrt(fmax(0, u * u - u_scatter * u_scatter));
}

double spw_sampling_u(const double *lead_s, const double *width_us, size_t n, double period_us,
                      double resolution_us, double u_scatter_us) {
    if (!(resolution_us > 0) || n == 0)
        return 0;
    phase lead = {0, 0, 0}, trail = {0, 0, 0};
    if (n >= 3 && period_us > 0) {
        lead = phase_of(lead_s, NULL, n, period_us, resolution_us);
        trail = phase_of(lead_s, width_us, n, period_us, resolution_us);
    }
    double a = edge_error(lead, n), b = edge_error(trail, n);
    double worst = beside(worst_error(a, b), u_scatter_us / resolution_us);
    return resolution_us * fmax(hypot(a, b), worst);
}
