#include "edges/normal.h"

#include "base/array.h"
#include "edges/dense.h"
#include "edges/two.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BAND 0.62    /* of the sampling rate: above it a slope has no energy */
#define BAND_TOP 6.0 /* the spline itself has none beyond */

/* ------------------------------------------------------------ penalties */

/* Energy above the band in terms of coefficient differences at each lag m:
 * 2 int sinc^6(f/4) cos(2 pi f m / 4) df over [BAND, BAND_TOP], by Simpson; the
 * cosines of one frequency by recurrence. */
static void band_energy(double *energy, size_t n) {
    enum { PANELS = 2000 };
    double h = (BAND_TOP - BAND) / PANELS;
    memset(energy, 0, n * sizeof *energy);
    for (int i = 0; i <= PANELS; i++) {
        double f = BAND + h * i, arc = M_PI * f / SPW_KNOTS, sinc = sin(arc) / arc;
        double weight = i == 0 || i == PANELS ? 1 : i % 2 == 1 ? 4 : 2, s2 = sinc * sinc;
        double scale = 2 * h / 3 * weight * s2 * s2 * s2, turn = 2 * cos(2 * arc);
        double now = 1, before = cos(2 * arc);
        for (size_t lag = 0; lag < n; lag++) {
            energy[lag] += scale * now;
            double next = turn * now - before;
            before = now;
            now = next;
        }
    }
}

/* Row i of lambda D4'D4 + mu H on the free coefficients; knots beyond are 0 or the height. */
static void penalty_row(const double *energy, size_t n, size_t i, double lambda, double mu,
                        double *row) {
    /* differences d[i] = c[i] - c[i - 1], i = 0 ... n - 1, with c[-1] = 0 */
    for (size_t j = 0; j < n; j++) {
        size_t lag = i > j ? i - j : j - i;
        double v = energy[lag];
        v -= i + 1 < n ? energy[i + 1 > j ? i + 1 - j : j - i - 1] : 0;
        v -= j + 1 < n ? energy[j + 1 > i ? j + 1 - i : i - j - 1] : 0;
        v += i + 1 < n && j + 1 < n ? energy[lag] : 0;
        row[j] = mu * v;
    }
    static const double fourth[5] = {1, -4, 6, -4, 1};
    ptrdiff_t top = (ptrdiff_t)n - 1;
    for (ptrdiff_t at = -4; at < top + 4; at++)
        for (int a = 0; a < 5; a++)
            for (int b = 0; b < 5; b++) {
                ptrdiff_t k = at + a < top ? at + a : top, j = at + b < top ? at + b : top;
                if (k == (ptrdiff_t)i && j >= 0)
                    row[j] += lambda * fourth[a] * fourth[b];
            }
}

/* Penalties depend on how far coefficients are apart, but for the last one. */
static void make_penalty(spw_normal *e, double *energy, double lambda, double mu) {
    size_t n = e->n;
    band_energy(energy, n);
    penalty_row(energy, n, 0, lambda, mu, e->apart + n - 1);
    penalty_row(energy, n, n - 1, lambda, mu, e->last);
    for (size_t lag = 1; lag < n; lag++)
        e->apart[n - 1 - lag] = e->apart[n - 1 + lag];
}

/* From here on, penalties of coefficients 0, 1, ... with the i-th (not the last). */
static const double *penalty_of(const spw_normal *e, size_t i) {
    return e->apart + e->n - 1 - i;
}

/* ------------------------------------------------------------ sums */

/* The sparse row of sample i: coefficient numbers and values. */
static int design_row(const spw_normal *e, const spw_mark *pair, const spw_shape_phase *phase,
                      ptrdiff_t i, size_t *index, double *x) {
    int n = 0;
    double height = 0;
    for (int edge = 0; edge < 2; edge++) {
        double sign = (double)pair[edge].sign;
        if (i >= phase[edge].to) {
            height += sign;
            continue;
        }
        if (i < phase[edge].from)
            continue;
        ptrdiff_t knot = phase[edge].knot + SPW_KNOTS * (i - phase[edge].from);
        for (int s = 0; s < SPW_SHAPE_TAPS; s++, knot++) {
            if (knot < 2)
                continue;
            if (knot - 2 >= (ptrdiff_t)e->n - 1) {
                height += sign * phase[edge].weight[s];
                continue;
            }
            index[n] = (size_t)(knot - 2);
            x[n++] = sign * phase[edge].weight[s];
        }
    }
    if (height != 0) {
        index[n] = e->n - 1;
        x[n++] = height;
    }
    return n;
}

/* Of residuals by knots; the shape's rows have as many. */
static size_t row_length(const spw_normal *e) {
    return (e->n + 2) / SPW_KNOTS + 4;
}

void spw_normal_clear(spw_normal *e, bool gram) {
    memset(e->row[0], 0, SPW_KNOTS * row_length(e) * sizeof *e->row[0]);
    e->high = 0;
    if (!gram)
        return;
    memset(e->gram, 0, e->n * spw_dense_stride(e->n) * sizeof *e->gram);
    memset(e->nuisance, 0, spw_dense_rows(e->n) * SPW_BATCH_COLUMNS * sizeof *e->nuisance);
    e->pulses = 0;
    e->batch = 0;
}

/* Takes the nuisance of a batch out of the Gram matrix. */
static void project(spw_normal *e) {
    if (e->batch == 0)
        return;
    spw_dense_less(e->gram, spw_dense_stride(e->n), e->nuisance, SPW_BATCH_COLUMNS, e->n,
                   e->batch * SPW_NUISANCE);
    memset(e->nuisance, 0, spw_dense_rows(e->n) * SPW_BATCH_COLUMNS * sizeof *e->nuisance);
    e->batch = 0;
}

/* Rows of the design times residuals: each tap of a transition meets every sample with the
 * same weight. */
static void add_residuals(spw_normal *e, const spw_window *w, const spw_mark *pair,
                          const spw_shape_phase *phase, const double *residual) {
    ptrdiff_t end = w->first + (ptrdiff_t)w->n;
    for (int edge = 0; edge < 2; edge++) {
        const spw_shape_phase *p = &phase[edge];
        double sign = (double)pair[edge].sign;
        ptrdiff_t from = p->from > w->first ? p->from : w->first, to = p->to < end ? p->to : end;
        for (int s = 0; s < SPW_SHAPE_TAPS && from < to; s++) {
            ptrdiff_t at = p->knot + 4 + s;
            spw_add_times(e->row[at % SPW_KNOTS] + at / SPW_KNOTS + (from - p->from),
                          sign * p->weight[s], residual + (from - w->first), (size_t)(to - from));
        }
        to = to > w->first ? to : w->first;
        if (to < end)
            e->high += sign * spw_sum(residual + (to - w->first), (size_t)(end - to));
    }
}

/* The rows of knots to a right side. */
static void gather(spw_normal *e) {
    size_t n = e->n;
    memset(e->right, 0, n * sizeof *e->right);
    e->right[n - 1] = e->high;
    for (size_t at = 6; at < SPW_KNOTS * row_length(e); at++) /* from knot 2 on */
        e->right[at - 6 < n - 1 ? at - 6 : n - 1] += e->row[at % SPW_KNOTS][at / SPW_KNOTS];
}

static void add_gram(spw_normal *e, const spw_window *w, const spw_mark *pair,
                     const spw_shape_phase *phase, double (*q)[SPW_WINDOW_MOST]) {
    size_t stride = spw_dense_stride(e->n), column = e->batch * SPW_NUISANCE;
    for (size_t i = 0; i < w->n; i++) {
        size_t index[2 * SPW_SHAPE_TAPS + 1];
        double x[2 * SPW_SHAPE_TAPS + 1];
        if (w->use[i] == 0)
            continue;
        int m = design_row(e, pair, phase, w->first + (ptrdiff_t)i, index, x);
        for (int a = 0; a < m; a++) {
            double *row = e->gram + index[a] * stride;
            double *common = e->nuisance + spw_dense_at(index[a], column, SPW_BATCH_COLUMNS);
            for (int p = 0; p < SPW_NUISANCE; p++)
                common[p * SPW_DENSE_ROWS] += x[a] * q[p][i];
            for (int b = 0; b < m; b++)
                if (index[b] <= index[a])
                    row[index[b]] += x[a] * x[b];
        }
    }
    e->pulses++;
    if (++e->batch == SPW_BATCH)
        project(e);
}

void spw_normal_add(spw_normal *e, const spw_window *w, const spw_shape *shape,
                    const spw_mark *pair, const double *residual, double (*q)[SPW_WINDOW_MOST]) {
    spw_shape_phase phase[2] = {spw_shape_meet(shape, pair[0].at),
                                spw_shape_meet(shape, pair[1].at)};
    add_residuals(e, w, pair, phase, residual);
    if (q != NULL)
        add_gram(e, w, pair, phase, q);
}

/* ------------------------------------------------------------ solution */

/* The system with so much more on its diagonal; false when it is not positive. */
static bool factor(spw_normal *e, double pulses, double more) {
    size_t n = e->n, stride = spw_dense_stride(n);
    double scale = e->pulses > 0 ? pulses / e->pulses : 0, share = pulses * 2 / SPW_KNOTS;
    for (size_t i = 0; i < n; i++) {
        double *row = e->system + i * stride;
        const double *gram = e->gram + i * stride,
                     *penalty = i + 1 < n ? penalty_of(e, i) : e->last;
        for (size_t j = 0; j <= i; j++)
            row[j] = scale * gram[j] + share * penalty[j];
        row[i] += more;
    }
    return spw_dense_factor(e->system, n, e->scratch);
}

bool spw_normal_factor(spw_normal *e, double pulses, double pull) {
    double trace = 0, share = pulses * 2 / SPW_KNOTS;
    const double *penalty = penalty_of(e, 0); /* of any with itself */
    project(e);
    for (size_t i = 0; i < e->n; i++)
        trace += e->gram[i * spw_dense_stride(e->n) + i] +
                 share * (i + 1 < e->n ? *penalty : e->last[i]);
    if (!isfinite(trace) || !(trace > 0))
        return false;
    /* rounding alone can make it look indefinite: as much on the diagonal as it may be */
    double more = pull;
    for (int attempt = 0; attempt < 4; attempt++) {
        if (factor(e, pulses, more))
            return true;
        more = fmax(more, DBL_EPSILON * trace) * 16;
    }
    return false;
}

/* The right side to the gradient at coefficients c: penalties join in. */
static void take_gradient(spw_normal *e, double pulses, double pull, const double *c) {
    size_t n = e->n;
    double share = pulses * 2 / SPW_KNOTS;
    gather(e);
    for (size_t i = 0; i < n; i++) {
        double bent = i + 1 < n ? spw_dot(penalty_of(e, i), c, n - 1) + e->last[i] * c[n - 1]
                                : spw_dot(e->last, c, n);
        e->right[i] += pull * (e->start[i] - c[i]) - share * bent;
    }
}

static void solve(const spw_normal *e, const double *right, double *x) {
    memcpy(x, right, e->n * sizeof *x);
    spw_dense_solve(e->system, e->n, x);
}

/* Nothing tells a shift of the shape, which the pulses' instants would follow, and what
 * rounding makes of it can be large: steps leave it out. Its direction, and what the system
 * answers to it. */
static void take_shift(spw_normal *e) {
    size_t n = e->n;
    const double *c = e->at;
    for (size_t i = 0; i + 1 < n; i++)
        e->shift[i] = c[i + 1] - (i > 0 ? c[i - 1] : 0);
    e->shift[n - 1] = 0;
    solve(e, e->shift, e->answer);
}

/* The system's answer among directions without a shift. */
static void solve_still(const spw_normal *e, const double *right, double *x) {
    double own = spw_dot(e->shift, e->answer, e->n);
    solve(e, right, x);
    if (own > 0)
        spw_add_times(x, -spw_dot(e->shift, x, e->n) / own, e->answer, e->n);
}

/* The shape at + direction. */
static void try_on(spw_normal *e, spw_shape *shape) {
    for (size_t i = 0; i < e->n; i++)
        e->solved[i] = e->at[i] + e->direction[i];
    spw_shape_set(shape, e->solved);
}

bool spw_normal_step(spw_normal *e, double pulses, double pull, spw_shape *shape) {
    size_t n = e->n;
    memcpy(e->at, shape->free_, n * sizeof *e->at);
    take_shift(e);
    take_gradient(e, pulses, pull, e->at);
    memcpy(e->gradient, e->right, n * sizeof *e->gradient);
    solve_still(e, e->gradient, e->direction);
    e->power = spw_dot(e->gradient, e->direction, n);
    if (!isfinite(e->power))
        return false;
    try_on(e, shape);
    return true;
}

double spw_normal_descend(spw_normal *e, double pulses, double pull, spw_shape *shape) {
    size_t n = e->n;
    take_gradient(e, pulses, pull, shape->free_);
    for (size_t i = 0; i < n; i++) /* the system's matrix times the direction */
        e->right[i] = e->gradient[i] - e->right[i];
    double bend = spw_dot(e->direction, e->right, n), step = e->power / bend;
    if (!(bend > 0) || !isfinite(step))
        return 0;
    for (size_t i = 0; i < n; i++) {
        e->at[i] += step * e->direction[i];
        e->gradient[i] -= step * e->right[i];
    }
    double change = step * sqrt(spw_dot(e->direction, e->direction, n) / (double)n);
    solve_still(e, e->gradient, e->solved);
    double power = spw_dot(e->gradient, e->solved, n), turn = power / e->power;
    for (size_t i = 0; i < n; i++)
        e->direction[i] = e->solved[i] + turn * e->direction[i];
    e->power = power;
    try_on(e, shape);
    return change;
}

void spw_normal_settle(const spw_normal *e, spw_shape *shape) {
    spw_shape_set(shape, e->at);
}

spw_status spw_normal_new(spw_normal *e, const double *start, size_t n, double lambda, double mu) {
    *e = (spw_normal){.n = n};
    size_t rows = spw_dense_rows(n), matrix = rows * spw_dense_stride(n);
    size_t tall = rows * SPW_BATCH_COLUMNS, panel = rows * SPW_DENSE_PANEL;
    size_t numbers = 2 * matrix + tall + panel + 11 * n + SPW_KNOTS * row_length(e);
    e->block = calloc(numbers, sizeof *e->block);
    if (e->block == NULL)
        return SPW_ERR_MEMORY;
    spw_array_soon(e->block, numbers * sizeof *e->block);
    double *at = e->block;
    e->gram = at;
    e->system = at += matrix;
    e->scratch = at += matrix;
    e->nuisance = at += panel;
    e->right = at += tall;
    e->apart = at += n;
    e->last = at += 2 * n;
    e->start = at += n;
    e->at = at += n;
    e->gradient = at += n;
    e->direction = at += n;
    e->solved = at += n;
    e->shift = at += n;
    e->answer = at += n;
    for (size_t r = 0; r < SPW_KNOTS; r++)
        e->row[r] = at + n + r * row_length(e);
    memcpy(e->start, start, n * sizeof *start);
    make_penalty(e, e->solved, lambda, mu);
    return SPW_OK;
}

void spw_normal_free(spw_normal *e) {
    free(e->block);
}
