#include "edges/trace.h"

#include <math.h>

size_t spw_trace_samples(double rate_hz, double time_s, size_t least) {
    double samples = rint(rate_hz * time_s);
    return samples > (double)least ? (size_t)samples : least;
}

void spw_smooth_shift(spw_smooth *smooth, size_t by) {
    for (int k = 0; k < SPW_HUM_LINES; k++) {
        double arc = fmod(smooth->hum * (k + 1) * (double)by, 2 * M_PI);
        double c = cos(arc), s = sin(arc), re = smooth->re[k], im = smooth->im[k];
        smooth->re[k] = re * c + im * s;
        smooth->im[k] = im * c - re * s;
    }
}

/* Over a window that is short against its lines' periods the hum is a polynomial about the
 * middle: Taylor's, of order 9; the rest is below arc^10 / 10! of a line. */
enum { ORDER = 9 };
#define SHORT_ARC 1.35 /* of the last line, from the middle to an end */

static void subtract_short(const spw_smooth *smooth, size_t first, size_t n, double *z) {
    double w = smooth->hum, middle = (double)(n - 1) / 2;
    double arc = fmod(w * ((double)first + middle), 2 * M_PI), one_re = cos(arc), one_im = sin(arc);
    double re = 1, im = 0, coefficient[ORDER + 1] = {0};
    for (int k = 0; k < SPW_HUM_LINES; k++) {
        double next = re * one_re - im * one_im, term = 1;
        im = re * one_im + im * one_re;
        re = next;
        double even = smooth->re[k] * re + smooth->im[k] * im;
        double odd = smooth->im[k] * re - smooth->re[k] * im;
        for (int j = 0; j <= ORDER; j++) {
            coefficient[j] += term * (j % 2 == 0 ? even : odd);
            term *= (j % 2 == 0 ? 1 : -1) * w * (k + 1) / (j + 1);
        }
    }
    for (size_t i = 0; i < n; i++) {
        double x = (double)i - middle, value = coefficient[ORDER];
        for (int j = ORDER; j-- > 0;)
            value = value * x + coefficient[j];
        z[i] -= value;
    }
}

static void subtract_hum(const spw_smooth *smooth, size_t first, size_t n, double *z) {
    if (smooth->hum * SPW_HUM_LINES * (double)n / 2 < SHORT_ARC) {
        subtract_short(smooth, first, n, z);
        return;
    }
    for (int k = 0; k < SPW_HUM_LINES; k++) {
        double w = smooth->hum * (k + 1), start = fmod(w * (double)first, 2 * M_PI);
        double turn_re = cos(w), turn_im = sin(w);
        double c = cos(start), s = sin(start), re = smooth->re[k], im = smooth->im[k];
        for (size_t i = 0; i < n; i++) {
            z[i] -= re * c + im * s;
            double next = c * turn_re - s * turn_im;
            s = s * turn_re + c * turn_im;
            c = next;
        }
    }
}

/* Trapezoids, here as below: exact for the integral of a band-limited step once it has passed.
 * Chains of additions are the slow part, so they go by four. */
static void integrate_once(const float *y, size_t n, double offset, double p, double *z) {
    double one = 0, before = n > 0 ? (double)y[0] - offset : 0;
    size_t i = 0;
    if (n > 0)
        z[i++] = before;
    for (; i + 4 <= n; i += 4) {
        double a = (double)y[i] - offset, b = (double)y[i + 1] - offset;
        double c = (double)y[i + 2] - offset, d = (double)y[i + 3] - offset;
        double ab = (before + a) / 2, bc = ab + (a + b) / 2, cd = bc + (b + c) / 2;
        z[i] = a + p * (one + ab);
        z[i + 1] = b + p * (one + bc);
        z[i + 2] = c + p * (one + cd);
        one += cd + (c + d) / 2;
        z[i + 3] = d + p * one;
        before = d;
    }
    for (; i < n; i++) {
        double here = (double)y[i] - offset;
        one += (before + here) / 2;
        z[i] = here + p * one;
        before = here;
    }
}

static void integrate_more(const float *y, size_t n, const spw_smooth *smooth, double *z) {
    double one = 0, two = 0, three = 0, offset = smooth->offset, before = offset;
    for (size_t i = 0; i < n; i++) {
        double here = (double)y[i] - offset, sum = i > 0 ? one + (before + here) / 2 : 0;
        double area = two + (one + sum) / 2;
        three += (two + area) / 2;
        two = area;
        one = sum;
        before = here;
        z[i] = here + smooth->p * one + smooth->q * two + smooth->r * three;
    }
}

void spw_trace_smooth(const spw_trace *trace, const spw_smooth *smooth, size_t first, size_t n,
                      double *z) {
    const float *y = trace->y + first;
    if (smooth->p == 0 && smooth->q == 0) {
        for (size_t i = 0; i < n; i++)
            z[i] = (double)y[i];
    } else if (smooth->q == 0) {
        integrate_once(y, n, smooth->offset, smooth->p, z);
    } else {
        integrate_more(y, n, smooth, z);
    }
    if (smooth->hum > 0)
        subtract_hum(smooth, first, n, z);
}
