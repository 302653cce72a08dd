#include "edges/claims.h"

#include "edges/two.h"

#include <math.h>
#include <string.h>

enum { MOST = 64 }; /* samples of a fit */

/* Takes out of x what it has in common with unit vectors q. */
static void project(double *x, double (*q)[MOST], size_t vectors, size_t n) {
    for (size_t v = 0; v < vectors; v++)
        spw_add_times(x, -spw_dot(x, q[v], n), q[v], n);
}

/* Orthonormal: the shape's slope, a constant, a line. False where they are not three. */
static bool nuisance(const double *slope, double (*q)[MOST], size_t n) {
    for (size_t i = 0; i < n; i++) {
        q[0][i] = 1;
        q[1][i] = (double)i - (double)(n - 1) / 2;
        q[2][i] = slope[i];
    }
    for (size_t v = 0; v < 3; v++) {
        project(q[v], q, v, n);
        double norm = sqrt(spw_dot(q[v], q[v], n));
        if (!(norm > 1e-12))
            return false;
        for (size_t i = 0; i < n; i++)
            q[v][i] /= norm;
    }
    return true;
}

void spw_scores_add(spw_scores *s, const spw_window *w, const spw_shape *shape,
                    const spw_mark *mark) {
    double value[MOST + 2], slope[MOST + 2], q[3][MOST], x[SPW_DIRECTIONS][MOST];
    size_t n = w->n, rises = mark->sign > 0;
    if (n + 2 > MOST || n < 8)
        return;
    spw_shape_at(shape, mark->at, w->first - 1, n + 2, value, slope);
    if (!nuisance(slope + 1, q, n))
        return;
    for (size_t i = 0; i < n; i++) {
        double done = value[i + 1] / shape->height;
        x[SPW_BEND][i] = (slope[i + 2] - slope[i]) / 2 / shape->height;
        x[SPW_LEVEL_BOW][i] = done * (1 - done);
    }
    s->n[rises]++;
    double count = s->n[rises];
    for (size_t d = 0; d < SPW_DIRECTIONS; d++) {
        project(x[d], q, 3, n);
        double length = spw_dot(x[d], x[d], n);
        if (!(length > 1e-15))
            length = 1;
        double score = spw_dot(x[d], w->z, n) / length / shape->height;
        double off = score - s->mean[rises][d];
        s->mean[rises][d] += off / count;
        s->square[rises][d] += off * (score - s->mean[rises][d]);
        s->length[d] += (length / (double)n - s->length[d]) / (s->n[0] + s->n[1]);
    }
}

bool spw_scores_differ(const spw_scores *s, size_t d, spw_difference *out) {
    if (s->n[0] < 3 || s->n[1] < 3)
        return false;
    double variance = 0;
    for (size_t rises = 0; rises < 2; rises++)
        variance += s->square[rises][d] / (s->n[rises] - 1) / s->n[rises];
    double value = s->mean[1][d] - s->mean[0][d];
    *out = (spw_difference){.value = value,
                            .rms = fabs(value) * sqrt(s->length[d]),
                            .certain = variance > 0 ? fabs(value) / sqrt(variance) : 0};
    return true;
}
