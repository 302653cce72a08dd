#include "edges/shape.h"

#include "edges/two.h"

#include <gsl/gsl_sf_expint.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static size_t row_length(size_t half) {
    return 2 * half + 4;
}

spw_status spw_shape_new(size_t half, spw_shape *shape) {
    *shape = (spw_shape){.half = half, .n = 8 * half - 2};
    size_t row = row_length(half);
    shape->block = calloc(SPW_KNOTS * row + shape->n, sizeof *shape->block);
    if (shape->block == NULL)
        return SPW_ERR_MEMORY;
    for (size_t r = 0; r < SPW_KNOTS; r++)
        shape->row[r] = shape->block + r * row;
    shape->free_ = shape->block + SPW_KNOTS * row;
    return SPW_OK;
}

void spw_shape_free(spw_shape *shape) {
    free(shape->block);
    *shape = (spw_shape){0};
}

void spw_shape_set(spw_shape *shape, const double *coefficients) {
    if (coefficients != shape->free_)
        memcpy(shape->free_, coefficients, shape->n * sizeof *coefficients);
    shape->height = coefficients[shape->n - 1];
    size_t last = shape->n; /* knot of the last free coefficient but the height: n */
    for (size_t at = 0; at < SPW_KNOTS * row_length(shape->half); at++) {
        double value = at < 6          ? 0 /* knots below 2 */
                       : at - 4 > last ? shape->height
                                       : coefficients[at - 6];
        shape->row[at % SPW_KNOTS][at / SPW_KNOTS] = value;
    }
}

void spw_shape_ideal(spw_shape *shape, double height, double corner) {
    double *c = shape->free_, half = (double)shape->half;
    for (size_t i = 0; i + 1 < shape->n; i++) {
        double x = ((double)i + 2) / SPW_KNOTS - half, value[3];
        for (int k = -1; k <= 1; k++) {
            double at = x + (double)k / SPW_KNOTS, away = fabs(at) / half;
            double ideal = 0.5 + gsl_sf_Si(corner * M_PI * at) / M_PI, flat = at > 0;
            double taper = away < 0.5 ? 1 : away < 1 ? pow(cos(M_PI * (away - 0.5)), 2) : 0;
            value[k + 1] = flat + (ideal - flat) * taper;
        }
        /* samples to spline coefficients, to second order */
        c[i] = height * (value[1] - (value[0] - 2 * value[1] + value[2]) / 6);
    }
    c[shape->n - 1] = height;
    spw_shape_set(shape, c);
}

spw_shape_phase spw_shape_meet(const spw_shape *shape, double t) {
    double half = (double)shape->half, from = ceil(t - half);
    double g = SPW_KNOTS * (from - t + half), knot = floor(g), f = g - knot, e = 1 - f;
    double count = ceil(t + half) - from;
    return (spw_shape_phase){
        .from = (ptrdiff_t)from,
        .to = (ptrdiff_t)(from + count),
        .knot = (ptrdiff_t)knot - 1,
        .weight = {e * e * e / 6, (4 - 6 * f * f + 3 * f * f * f) / 6,
                   (1 + 3 * f + 3 * f * f - 3 * f * f * f) / 6, f * f * f / 6},
        .slope = {-2 * e * e, 2 * (3 * f * f - 4 * f), 2 * (1 + 2 * f - 3 * f * f), 2 * f * f},
    };
}

/* Four rows of coefficients by four weights. */
static void blend(const double *tap[SPW_SHAPE_TAPS], const double *weight, size_t n, double *out) {
    spw_two a = spw_twice(weight[0]), b = spw_twice(weight[1]), c = spw_twice(weight[2]),
            d = spw_twice(weight[3]);
    size_t i = 0;
    for (; i + 2 <= n; i += 2)
        spw_two_put(out + i, a * spw_two_at(tap[0] + i) + b * spw_two_at(tap[1] + i) +
                                 c * spw_two_at(tap[2] + i) + d * spw_two_at(tap[3] + i));
    for (; i < n; i++)
        out[i] = weight[0] * tap[0][i] + weight[1] * tap[1][i] + weight[2] * tap[2][i] +
                 weight[3] * tap[3][i];
}

size_t spw_shape_part(const spw_shape *shape, const spw_shape_phase *phase, ptrdiff_t first,
                      ptrdiff_t end, double *value, double *slope, ptrdiff_t *from) {
    ptrdiff_t start = phase->from > first ? phase->from : first;
    ptrdiff_t to = phase->to < end ? phase->to : end;
    start = start < end ? start : end;
    *from = start;
    if (to <= start)
        return 0;
    const double *tap[SPW_SHAPE_TAPS];
    for (int s = 0; s < SPW_SHAPE_TAPS; s++) {
        ptrdiff_t at = phase->knot + 4 + s;
        tap[s] = shape->row[at % SPW_KNOTS] + at / SPW_KNOTS + (start - phase->from);
    }
    size_t n = (size_t)(to - start);
    blend(tap, phase->weight, n, value);
    if (slope != NULL)
        blend(tap, phase->slope, n, slope);
    return n;
}

void spw_shape_at(const spw_shape *shape, double t, ptrdiff_t first, size_t n, double *value,
                  double *slope) {
    spw_shape_phase p = spw_shape_meet(shape, t);
    ptrdiff_t end = first + (ptrdiff_t)n, from = p.from > first ? p.from : first;
    from = from < end ? from : end;
    size_t before = (size_t)(from - first);
    size_t part = spw_shape_part(shape, &p, first, end, value + before,
                                 slope != NULL ? slope + before : NULL, &from);
    for (size_t i = 0; i < before; i++)
        value[i] = 0;
    for (size_t i = before + part; i < n; i++)
        value[i] = first + (ptrdiff_t)i < p.from ? 0 : shape->height;
    if (slope == NULL)
        return;
    memset(slope, 0, before * sizeof *slope);
    memset(slope + before + part, 0, (n - before - part) * sizeof *slope);
}
