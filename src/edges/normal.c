#include "edges/normal.h"

#include <gsl/gsl_linalg.h>
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

/* lambda D4'D4 + mu H on the free coefficients; knots beyond are 0 or the height. */
static void make_penalty(spw_normal *e, double *energy, double lambda, double mu) {
    size_t n = e->n;
    gsl_matrix *penalty = &e->penalty.matrix;
    band_energy(energy, n);
    /* differences d[i] = c[i] - c[i - 1], i = 0 ... n - 1, with c[-1] = 0 */
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            size_t lag = i > j ? i - j : j - i;
            double v = energy[lag];
            v -= i + 1 < n ? energy[i + 1 > j ? i + 1 - j : j - i - 1] : 0;
            v -= j + 1 < n ? energy[j + 1 > i ? j + 1 - i : i - j - 1] : 0;
            v += i + 1 < n && j + 1 < n ? energy[lag] : 0;
            gsl_matrix_set(penalty, i, j, mu * v);
        }
    static const double fourth[5] = {1, -4, 6, -4, 1};
    for (ptrdiff_t at = -4; at < (ptrdiff_t)n + 3; at++)
        for (int a = 0; a < 5; a++)
            for (int b = 0; b < 5; b++) {
                ptrdiff_t i = at + a, j = at + b, top = (ptrdiff_t)n - 1;
                if (i < 0 || j < 0)
                    continue;
                *gsl_matrix_ptr(penalty, (size_t)(i < top ? i : top),
                                (size_t)(j < top ? j : top)) += lambda * fourth[a] * fourth[b];
            }
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

void spw_normal_clear(spw_normal *e, bool gram) {
    memset(e->right, 0, e->n * sizeof *e->right);
    if (!gram)
        return;
    memset(e->gram, 0, e->n * e->n * sizeof *e->gram);
    e->pulses = 0;
}

void spw_normal_add(spw_normal *e, const spw_window *w, const spw_shape *shape,
                    const spw_mark *pair, const double *residual, double (*q)[SPW_NUISANCE]) {
    size_t n = e->n;
    spw_shape_phase phase[2] = {spw_shape_meet(shape, pair[0].at),
                                spw_shape_meet(shape, pair[1].at)};
    if (q != NULL)
        memset(e->nuisance, 0, SPW_NUISANCE * n * sizeof *e->nuisance);
    for (size_t i = 0; i < w->n; i++) {
        size_t index[2 * SPW_SHAPE_TAPS + 1];
        double x[2 * SPW_SHAPE_TAPS + 1];
        if (w->use[i] == 0)
            continue;
        int m = design_row(e, pair, phase, w->first + (ptrdiff_t)i, index, x);
        for (int a = 0; a < m; a++) {
            e->right[index[a]] += x[a] * residual[i];
            if (q == NULL)
                continue;
            double *row = e->gram + index[a] * n;
            for (int p = 0; p < SPW_NUISANCE; p++)
                e->nuisance[(size_t)p * n + index[a]] += x[a] * q[i][p];
            for (int b = 0; b < m; b++)
                if (index[b] <= index[a])
                    row[index[b]] += x[a] * x[b];
        }
    }
    if (q == NULL)
        return;
    e->pulses++;
    const double *c0 = e->nuisance, *c1 = c0 + n, *c2 = c1 + n, *c3 = c2 + n, *c4 = c3 + n;
    for (size_t i = 0; i < n; i++) {
        double *row = e->gram + i * n, a0 = c0[i], a1 = c1[i], a2 = c2[i], a3 = c3[i], a4 = c4[i];
        for (size_t j = 0; j <= i; j++)
            row[j] -= a0 * c0[j] + a1 * c1[j] + a2 * c2[j] + a3 * c3[j] + a4 * c4[j];
    }
}

/* ------------------------------------------------------------ solution */

bool spw_normal_factor(spw_normal *e, double pulses, double pull) {
    size_t n = e->n;
    double scale = e->pulses > 0 ? pulses / e->pulses : 0, share = pulses * 2 / SPW_KNOTS;
    double trace = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            double v = scale * e->gram[i * n + j] +
                       share * gsl_matrix_get(&e->penalty.matrix, i, j) + (i == j ? pull : 0);
            gsl_matrix_set(&e->system.matrix, i, j, v);
            gsl_matrix_set(&e->system.matrix, j, i, v);
        }
        trace += gsl_matrix_get(&e->system.matrix, i, i);
    }
    if (!isfinite(trace) || !(trace > 0))
        return false;
    /* the modified factorisation cannot fail on rounding */
    gsl_linalg_mcholesky_decomp(&e->system.matrix, &e->order, &e->scratch.vector);
    return true;
}

/* The right side to the gradient at coefficients c: penalties join in. */
static void take_gradient(spw_normal *e, double pulses, double pull, const double *c) {
    size_t n = e->n;
    double share = pulses * 2 / SPW_KNOTS;
    for (size_t i = 0; i < n; i++) {
        const double *row = gsl_matrix_const_ptr(&e->penalty.matrix, i, 0);
        double bent = 0;
        for (size_t j = 0; j < n; j++)
            bent += row[j] * c[j];
        e->right[i] += pull * (e->start[i] - c[i]) - share * bent;
    }
}

static void solve(spw_normal *e, double *right, double *x) {
    gsl_vector_view b = gsl_vector_view_array(right, e->n);
    gsl_vector_view solution = gsl_vector_view_array(x, e->n);
    gsl_linalg_mcholesky_solve(&e->system.matrix, &e->order, &b.vector, &solution.vector);
}

static double product(const double *a, const double *b, size_t n) {
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
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
    take_gradient(e, pulses, pull, e->at);
    memcpy(e->gradient, e->right, n * sizeof *e->gradient);
    solve(e, e->gradient, e->direction);
    e->power = product(e->gradient, e->direction, n);
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
    double bend = product(e->direction, e->right, n), step = e->power / bend;
    if (!(bend > 0) || !isfinite(step))
        return 0;
    for (size_t i = 0; i < n; i++) {
        e->at[i] += step * e->direction[i];
        e->gradient[i] -= step * e->right[i];
    }
    double change = step * sqrt(product(e->direction, e->direction, n) / (double)n);
    solve(e, e->gradient, e->solved);
    double power = product(e->gradient, e->solved, n), turn = power / e->power;
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
    e->block = calloc(n * (3 * n + SPW_NUISANCE + 7), sizeof *e->block);
    e->order = (gsl_permutation){.size = n, .data = calloc(n, sizeof(size_t))};
    if (e->block == NULL || e->order.data == NULL)
        return SPW_ERR_MEMORY;
    double *at = e->block;
    e->gram = at;
    e->system = gsl_matrix_view_array(at += n * n, n, n);
    e->penalty = gsl_matrix_view_array(at += n * n, n, n);
    e->nuisance = at += n * n;
    e->right = at += n * SPW_NUISANCE;
    e->start = at += n;
    e->at = at += n;
    e->gradient = at += n;
    e->direction = at += n;
    e->solved = at += n;
    e->scratch = gsl_vector_view_array(at + n, n);
    memcpy(e->start, start, n * sizeof *start);
    make_penalty(e, e->solved, lambda, mu);
    return SPW_OK;
}

void spw_normal_free(spw_normal *e) {
    free(e->order.data);
    free(e->block);
}
