#include "edges/claims.h"

#include "edges/two.h"

#include <math.h>
#include <string.h>

enum { MOST = 64 /* samples of a fit */, NUISANCE = 4 };

/* Takes out of x what it has in common with unit vectors q. */
static void project(double *x, double (*q)[MOST], size_t vectors, size_t n) {
    for (size_t v = 0; v < vectors; v++)
        spw_add_times(x, -spw_dot(x, q[v], n), q[v], n);
}

/* Orthonormal: a constant, a line, a bow, the shape's slope. False where they are not four. */
static bool nuisance(const double *slope, double (*q)[MOST], size_t n) {
    for (size_t i = 0; i < n; i++) {
        q[0][i] = 1;
        q[1][i] = (double)i - (double)(n - 1) / 2;
        q[2][i] = q[1][i] * q[1][i];
        q[3][i] = slope[i];
    }
    for (size_t v = 0; v < NUISANCE; v++) {
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
    double value[MOST + 2], slope[MOST + 2], q[NUISANCE][MOST], x[SPW_DIRECTIONS][MOST];
    double rest[MOST];
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
    memcpy(rest, w->z, n * sizeof *rest);
    project(rest, q, NUISANCE, n);
    double count = ++s->n[rises], all = s->n[0] + s->n[1], arc = 2 * M_PI * mark->at;
    s->misfit += (spw_dot(rest, rest, n) / (double)(n - NUISANCE) - s->misfit) / all;
    s->re[rises] += (cos(arc) - s->re[rises]) / count;
    s->im[rises] += (sin(arc) - s->im[rises]) / count;
    for (size_t d = 0; d < SPW_DIRECTIONS; d++) {
        project(x[d], q, NUISANCE, n);
        double length = spw_dot(x[d], x[d], n);
        if (!(length > 1e-15))
            length = 1;
        double score = spw_dot(x[d], w->z, n) / length / shape->height;
        double off = score - s->mean[rises][d];
        s->mean[rises][d] += off / count;
        s->square[rises][d] += off * (score - s->mean[rises][d]);
        s->length[d] += (length / (double)n - s->length[d]) / all;
    }
}

double spw_scores_locked(const spw_scores *s) {
    return fmin(hypot(s->re[0], s->im[0]), hypot(s->re[1], s->im[1]));
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
