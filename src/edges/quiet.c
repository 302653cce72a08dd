#include "edges/quiet.h"

#include "edges/solve.h"

#include <math.h>
#include <stdlib.h>

enum {
    FEW = 30,       /* windows, not to go nearer */
    CLEAR = 2,      /* times reach: of a window's middle to transitions */
    ENOUGH = 100,   /* windows, to tell how noise moves an instant */
    WINDOWS = 4000, /* at most */
    AN_INTERVAL = 4 /* at most: its windows do not overlap */
};
#define CERTAIN 3.0    /* standard deviations from white */
#define NO_NOISE 8.0   /* times the median of mean squares: one of 250 even of two free samples */
#define PLACE 0.618034 /* of a sample: phases that spread evenly */

/* Of one window. */
typedef struct sight {
    double variance, straight, gain, moves;
} sight;

/* The fit of instant, offset and line to what a plateau holds. */
static bool see_window(spw_window *w, const spw_shape *shape, size_t number, sight *s) {
    double middle = (double)(w->n - 1) / 2, a[9] = {0}, b[3] = {0}, rss = 0, bow = 0, bend = 0;
    for (size_t i = 0; i < w->n; i++)
        if (w->use[i] == 0)
            return false;
    double place = (double)w->first + middle + fmod((double)number * PLACE, 1) - 0.5;
    spw_shape_at(shape, place, w->first, w->n, w->value, w->slope);
    for (size_t i = 0; i < w->n; i++) {
        double x[3] = {w->slope[i], 1, ((double)i - middle) / middle};
        double arch = x[2] * x[2] - (middle + 1) / (3 * middle); /* free of offset and line */
        bow += arch * w->z[i];
        bend += arch * arch;
        rss += w->z[i] * w->z[i];
        for (int p = 0; p < 3; p++) {
            b[p] += x[p] * w->z[i];
            for (int q = 0; q <= p; q++)
                a[p * 3 + q] += x[p] * x[q];
        }
    }
    double x[3] = {b[0], b[1], b[2]}, e[3] = {1, 0, 0};
    if (!(a[0] > 0) || !spw_cholesky(a, 3))
        return false;
    spw_cholesky_solve(a, 3, x);
    spw_cholesky_solve(a, 3, e);
    double left = fmax(rss - x[0] * b[0] - x[1] * b[1] - x[2] * b[2], 0), dof = (double)w->n - 3;
    s->variance = left / dof;
    s->straight = fmax(left - bow * bow / bend, 0) / (dof - 1);
    s->gain = e[0];
    s->moves = e[0] > 0 ? x[0] * x[0] / e[0] : 0;
    return true;
}

static const spw_quiet none = {
    .variance = (double)NAN, .straight = (double)NAN, .unsure = (double)NAN, .moves = 1};

static int rising(const void *a, const void *b) {
    double x = ((const sight *)a)->variance, y = ((const sight *)b)->variance;
    return (x > y) - (x < y);
}

/* Windows that another line's steps or a jump of level are in are not noise. */
static spw_quiet sum_up(sight *s, size_t n, double quantum) {
    spw_quiet q = none;
    if (n < 2)
        return q;
    qsort(s, n, sizeof *s, rising);
    double limit = NO_NOISE * fmax(s[n / 2].variance, quantum * quantum / 12), sum = 0, square = 0,
           move = 0, straight = 0, gain = 0;
    size_t used = 0;
    for (; used < n && (used < 2 || s[used].variance <= limit); used++) {
        sum += s[used].variance;
        straight += s[used].straight;
        gain += s[used].gain;
        square += s[used].straight * s[used].straight;
        move += s[used].moves;
    }
    q.n = (double)used;
    q.variance = sum / q.n;
    q.straight = straight / q.n;
    q.gain = gain / q.n;
    q.unsure = sqrt(fmax(square / q.n - q.straight * q.straight, 0) / (q.n - 1));
    double moves = sum > 0 ? move / sum : 1;
    if (q.n >= ENOUGH && moves - 1 > CERTAIN * sqrt(2 / q.n))
        q.moves = moves;
    return q;
}

/* Windows whose middle keeps `clear` samples to all transitions; how many. */
static size_t see_all(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                      const spw_shape *shape, const spw_mark *marks, size_t n, size_t reach,
                      double clear, sight *s) {
    size_t seen = 0;
    double r = (double)reach;
    for (size_t k = 1; k < n && seen < WINDOWS; k++) {
        double from = marks[k - 1].at + clear, to = marks[k].at - clear;
        for (int i = 0; i < AN_INTERVAL && from <= to && !marks[k].gap; i++, from += 2 * r + 1) {
            double middle = rint(from);
            spw_window_plateau(w, trace, smooth, shape, marks, n, k, middle - r, middle + r);
            if (w->n == 2 * reach + 1 && seen < WINDOWS)
                seen += see_window(w, shape, seen, &s[seen]);
        }
    }
    return seen;
}

spw_quiet spw_quiet_measure(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                            const spw_shape *shape, const spw_mark *marks, size_t n, size_t reach,
                            double quantum) {
    sight *s = malloc(WINDOWS * sizeof *s);
    double r = (double)reach, far = (double)shape->half + r;
    if (s == NULL)
        return none;
    /* where the shape has ended, so that what it lacks is not taken for noise */
    size_t seen = see_all(w, trace, smooth, shape, marks, n, reach, far, s);
    if (seen < FEW)
        seen = see_all(w, trace, smooth, shape, marks, n, reach, CLEAR * r, s);
    spw_quiet q = sum_up(s, seen, quantum);
    free(s);
    return q;
}
