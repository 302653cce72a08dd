#include "edges/scale.h"

#include <math.h>
#include <stdlib.h>

#define CERTAIN 4.0      /* standard deviations beyond which heights are not even */
#define STEP_SHARE 0.03  /* of a step, what ringing and phase leave in it */
#define LEVEL_SHARE 0.46 /* of the noise: that of a step between levels of 200 us at 48 kHz */
#define UNEVEN 0.03      /* of the height, rise against fall of a pulse */
#define UNEVEN_SURE 8.0  /* standard deviations */
#define MUCH 10.0        /* see spw_scale_uneven */
enum { LEAST = 6 };

/* Sums of everything before a mark. */
typedef struct sums {
    double w, x, xx, a, ax, aa;
} sums;

/* What an even one tells of a mark. */
typedef struct stretch {
    double value, variance;
} stretch;

static bool even_at(const sums *sum, size_t from, size_t to, double x, stretch *out) {
    const sums *p = &sum[from], *q = &sum[to];
    double w = q->w - p->w, sx = q->x - p->x, sxx = q->xx - p->xx;
    double a = q->a - p->a, ax = q->ax - p->ax, aa = q->aa - p->aa, n = (double)(to - from);
    if (n < LEAST || !(w > 0))
        return false;
    double middle = sx / w, spread = sxx - sx * middle, mean = a / w, cross = ax - sx * mean;
    double slope = spread > 0 ? cross / spread : 0;
    double chi = aa - a * mean - slope * cross, dof = n - 2;
    *out = (stretch){mean + slope * (x - middle),
                     1 / w + (spread > 0 ? (x - middle) * (x - middle) / spread : 0)};
    return chi < dof + CERTAIN * sqrt(2 * dof);
}

/* From the longest to the shortest. */
static bool longest_even(const sums *sum, size_t n, size_t k, double x, stretch *out) {
    static const struct {
        size_t before, after;
    } reach[] = {{64, 64}, {24, 24}, {10, 10}, {16, 0}, {0, 16}, {4, 4}, {8, 0}, {0, 8}};
    for (size_t i = 0; i < sizeof reach / sizeof reach[0]; i++) {
        size_t from = k > reach[i].before ? k - reach[i].before : 0, to = k + reach[i].after + 1;
        if (even_at(sum, from, to < n ? to : n, x, out))
            return true;
    }
    return false;
}

static void add(sums *sum, double x, double a, double w) {
    sum[1] = (sums){sum->w + w,     sum->x + w * x,      sum->xx + w * x * x,
                    sum->a + w * a, sum->ax + w * a * x, sum->aa + w * a * a};
}

bool spw_scale_by_fits(spw_mark *marks, spw_fit *fit, size_t n) {
    sums *sum = calloc(n + 1, sizeof *sum);
    if (sum == NULL)
        return false;
    double last = fmax(marks[n - 1].at, 1); /* what sums are of should be about 1 */
    for (size_t k = 0; k < n; k++) {
        double a = marks[k].scale * (1 + fit[k].higher), s = marks[k].scale * fit[k].u_higher;
        add(&sum[k], marks[k].at / last, a - 1, fit[k].dof > 0 && s > 0 ? 1 / (s * s) : 0);
    }
    for (size_t k = 0; k < n; k++) {
        stretch s;
        if (longest_even(sum, n, k, marks[k].at / last, &s)) {
            fit[k].u_higher = sqrt(s.variance) / marks[k].scale;
            fit[k].higher = (1 + s.value) / marks[k].scale - 1;
        }
        if (!(fit[k].higher > -1))
            fit[k].higher = 0;
        marks[k].scale *= 1 + fit[k].higher;
    }
    free(sum);
    return true;
}

bool spw_scale_by_steps(spw_mark *marks, size_t n, double usual, double noise) {
    bool steady = true;
    double limit = fmax(STEP_SHARE, CERTAIN * LEVEL_SHARE * noise / usual);
    for (size_t k = 0; k < n; k++) {
        double scale = marks[k].step / usual;
        marks[k].scale = fabs(scale - 1) > limit && scale > 0 ? scale : 1;
        steady = steady && marks[k].scale == 1;
    }
    return steady;
}

bool spw_scale_uneven(const spw_mark *marks, const spw_fit *fit, size_t n, double *seen) {
    bool any = false;
    for (size_t k = 0; k + 1 < n; k++) {
        double to = marks[k + 1].at - marks[k].at;
        bool pulse = (k == 0 || to < marks[k].at - marks[k - 1].at) &&
                     (k + 2 >= n || to < marks[k + 2].at - marks[k + 1].at);
        if (!pulse || !(fit[k].dof > 0) || !(fit[k + 1].dof > 0) ||
            fit[k].clipped + fit[k + 1].clipped > 0)
            continue;
        double off = fabs(marks[k].scale - marks[k + 1].scale);
        double u =
            hypot(marks[k].scale * fit[k].u_higher, marks[k + 1].scale * fit[k + 1].u_higher);
        if (off < UNEVEN * marks[k].scale || off < UNEVEN_SURE * u)
            continue;
        any = true;
        for (size_t i = k; seen != NULL && i < k + 2; i++)
            seen[i] += MUCH;
    }
    return any;
}
