#include "edges/quiet.h"

#include "edges/solve.h"

#include <math.h>

enum {
    CLEAR = 2,      /* times reach: of a window's middle to transitions */
    ENOUGH = 100,   /* windows, to tell how noise moves an instant */
    WINDOWS = 4000, /* at most */
    AN_INTERVAL = 4 /* at most: its windows do not overlap */
};
#define CERTAIN 3.0    /* standard deviations from white */
#define PLACE 0.618034 /* of a sample: phases that spread evenly */

typedef struct sums {
    double n, variance, square, moves;
} sums;

/* The fit of instant, offset and line to what a plateau holds. */
static void add_window(spw_window *w, const spw_shape *shape, sums *s) {
    double middle = (double)(w->n - 1) / 2, a[9] = {0}, b[3] = {0}, rss = 0;
    for (size_t i = 0; i < w->n; i++)
        if (w->use[i] == 0)
            return;
    double place = (double)w->first + middle + fmod(s->n * PLACE, 1) - 0.5;
    spw_shape_at(shape, place, w->first, w->n, w->value, w->slope);
    for (size_t i = 0; i < w->n; i++) {
        double x[3] = {w->slope[i], 1, ((double)i - middle) / middle};
        rss += w->z[i] * w->z[i];
        for (int p = 0; p < 3; p++) {
            b[p] += x[p] * w->z[i];
            for (int q = 0; q <= p; q++)
                a[p * 3 + q] += x[p] * x[q];
        }
    }
    double x[3] = {b[0], b[1], b[2]}, e[3] = {1, 0, 0};
    if (!(a[0] > 0) || !spw_cholesky(a, 3))
        return;
    spw_cholesky_solve(a, 3, x);
    spw_cholesky_solve(a, 3, e);
    double variance = fmax(rss - x[0] * b[0] - x[1] * b[1] - x[2] * b[2], 0) / ((double)w->n - 3);
    s->n++;
    s->variance += variance;
    s->square += variance * variance;
    s->moves += e[0] > 0 ? x[0] * x[0] / e[0] : 0;
}

spw_quiet spw_quiet_measure(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                            const spw_shape *shape, const spw_mark *marks, size_t n, size_t reach) {
    sums s = {0};
    double r = (double)reach;
    for (size_t k = 1; k < n && s.n < WINDOWS; k++) {
        double from = marks[k - 1].at + CLEAR * r, to = marks[k].at - CLEAR * r;
        for (int i = 0; i < AN_INTERVAL && from <= to && !marks[k].gap; i++, from += 2 * r + 1) {
            double middle = rint(from);
            spw_window_plateau(w, trace, smooth, shape, marks, n, k, middle - r, middle + r);
            if (w->n == 2 * reach + 1)
                add_window(w, shape, &s);
        }
    }
    spw_quiet q = {.n = s.n, .variance = (double)NAN, .unsure = (double)NAN, .moves = 1};
    if (s.n < 2)
        return q;
    q.variance = s.variance / s.n;
    q.unsure = sqrt(fmax(s.square / s.n - q.variance * q.variance, 0) / (s.n - 1));
    double moves = s.variance > 0 ? s.moves / s.variance : 1;
    if (s.n >= ENOUGH && fabs(moves - 1) > CERTAIN * sqrt(2 / s.n))
        q.moves = moves;
    return q;
}
