#include "edges/quiet.h"

#include "edges/solve.h"

#include <math.h>
#include <stdlib.h>

enum {
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
    double variance, moves;
} sight;

/* The fit of instant, offset and line to what a plateau holds. */
static bool see_window(spw_window *w, const spw_shape *shape, size_t number, sight *s) {
    double middle = (double)(w->n - 1) / 2, a[9] = {0}, b[3] = {0}, rss = 0;
    for (size_t i = 0; i < w->n; i++)
        if (w->use[i] == 0)
            return false;
    double place = (double)w->first + middle + fmod((double)number * PLACE, 1) - 0.5;
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
        return false;
    spw_cholesky_solve(a, 3, x);
    spw_cholesky_solve(a, 3, e);
    s->variance = fmax(rss - x[0] * b[0] - x[1] * b[1] - x[2] * b[2], 0) / ((double)w->n - 3);
    s->moves = e[0] > 0 ? x[0] * x[0] / e[0] : 0;
    return true;
}

static int rising(const void *a, const void *b) {
    double x = ((const sight *)a)->variance, y = ((const sight *)b)->variance;
    return (x > y) - (x < y);
}

/* Windows that another line's steps or a jump of level are in are not noise. */
static spw_quiet sum_up(sight *s, size_t n, double quantum) {
    spw_quiet q = {.n = 0, .variance = (double)NAN, .unsure = (double)NAN, .moves = 1};
    if (n < 2)
        return q;
    qsort(s, n, sizeof *s, rising);
    double limit = NO_NOISE * fmax(s[n / 2].variance, quantum * quantum / 12), sum = 0, square = 0,
           move = 0;
    size_t used = 0;
    for (; used < n && (used < 2 || s[used].variance <= limit); used++) {
        sum += s[used].variance;
        square += s[used].variance * s[used].variance;
        move += s[used].moves;
    }
    q.n = (double)used;
    q.variance = sum / q.n;
    q.unsure = sqrt(fmax(square / q.n - q.variance * q.variance, 0) / (q.n - 1));
    double moves = sum > 0 ? move / sum : 1;
    if (q.n >= ENOUGH && fabs(moves - 1) > CERTAIN * sqrt(2 / q.n))
        q.moves = moves;
    return q;
}

spw_quiet spw_quiet_measure(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                            const spw_shape *shape, const spw_mark *marks, size_t n, size_t reach,
                            double quantum) {
    spw_quiet none = {.n = 0, .variance = (double)NAN, .unsure = (double)NAN, .moves = 1};
    sight *s = malloc(WINDOWS * sizeof *s);
    size_t seen = 0;
    double r = (double)reach;
    for (size_t k = 1; s != NULL && k < n; k++) {
        double from = marks[k - 1].at + CLEAR * r, to = marks[k].at - CLEAR * r;
        for (int i = 0; i < AN_INTERVAL && from <= to && !marks[k].gap; i++, from += 2 * r + 1) {
            double middle = rint(from);
            spw_window_plateau(w, trace, smooth, shape, marks, n, k, middle - r, middle + r);
            if (w->n == 2 * reach + 1 && seen < WINDOWS)
                seen += see_window(w, shape, seen, &s[seen]);
        }
        if (seen == WINDOWS)
            break;
    }
    spw_quiet q = s != NULL ? sum_up(s, seen, quantum) : none;
    free(s);
    return q;
}
