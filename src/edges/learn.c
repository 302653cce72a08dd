/* A shape folded from transitions of unknown instants fits any relabelling of their
 * phases, so folding alone keeps the error it starts with. Two things settle it:
 *   - the recorder passes nothing above about 0.55 of the sampling rate, so energy
 *     of the slope above 0.62 is penalised;
 *   - instants and backgrounds are eliminated from the shape's own equations
 *     (variable projection: Golub and Pereyra 1973), so that the shape cannot trade
 *     against them.
 * Weights of the penalties follow the noise. */
#include "edges/learn.h"

#include "edges/solve.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BAND 0.62       /* of the sampling rate: above it a slope has no energy */
#define BAND_TOP 6.0    /* the spline itself has none beyond */
#define WIDEST_S 3.5e-3 /* a pulse wider than this does not share one background */
#define SETTLED 1e-3    /* of the noise: rms step of the coefficients */
enum { PULSES_LEAST = 5, PULSES_MOST = 200, ROUNDS = 12, NUISANCE = 5 };
enum { ROUGH_ROUNDS = 3, ROUGH_FROM = 45 };

typedef struct learner {
    const spw_trace *trace;
    const spw_smooth *smooth;
    spw_shape *shape;
    spw_window window;
    size_t n;                   /* coefficients */
    size_t unit[PULSES_MOST];   /* first mark of each pulse */
    double misfit[PULSES_MOST]; /* its mean square residual */
    size_t units;
    /* views of one block of ours: GSL's own allocation would abort without memory */
    double *block;
    gsl_matrix_view normal, penalty, nuisance; /* n x n, n x n, n x NUISANCE units */
    gsl_vector_view right, start, solution, scratch;
    gsl_permutation order;
} learner;

/* ------------------------------------------------------------ penalties */

/* Energy above the band in terms of coefficient differences at lag m:
 * 2 int sinc^6(f/4) cos(2 pi f m / 4) df over [BAND, BAND_TOP], by Simpson. */
static double band_energy(size_t lag) {
    enum { PANELS = 2000 };
    double h = (BAND_TOP - BAND) / PANELS, sum = 0;
    for (int i = 0; i <= PANELS; i++) {
        double f = BAND + h * i, arc = M_PI * f / SPW_KNOTS, sinc = sin(arc) / arc;
        double weight = i == 0 || i == PANELS ? 1 : i % 2 == 1 ? 4 : 2;
        double s2 = sinc * sinc;
        sum += weight * s2 * s2 * s2 * cos(2 * arc * (double)lag);
    }
    return 2 * sum * h / 3;
}

/* lambda D4'D4 + mu H on the free coefficients; knots beyond are 0 or the height. */
static spw_status make_penalty(learner *l, double lambda, double mu) {
    size_t n = l->n;
    double *energy = malloc(n * sizeof *energy);
    if (energy == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i < n; i++)
        energy[i] = band_energy(i);
    /* differences d[i] = c[i] - c[i - 1], i = 0 ... n - 1, with c[-1] = 0 */
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            size_t lag = i > j ? i - j : j - i;
            double v = energy[lag];
            v -= i + 1 < n ? energy[i + 1 > j ? i + 1 - j : j - i - 1] : 0;
            v -= j + 1 < n ? energy[j + 1 > i ? j + 1 - i : i - j - 1] : 0;
            v += i + 1 < n && j + 1 < n ? energy[lag] : 0;
            gsl_matrix_set(&l->penalty.matrix, i, j, mu * v);
        }
    free(energy);
    static const double fourth[5] = {1, -4, 6, -4, 1};
    for (ptrdiff_t at = -4; at < (ptrdiff_t)n + 3; at++)
        for (int a = 0; a < 5; a++)
            for (int b = 0; b < 5; b++) {
                ptrdiff_t i = at + a, j = at + b, top = (ptrdiff_t)n - 1;
                if (i < 0 || j < 0)
                    continue;
                double *cell = gsl_matrix_ptr(&l->penalty.matrix, (size_t)(i < top ? i : top),
                                              (size_t)(j < top ? j : top));
                *cell += lambda * fourth[a] * fourth[b];
            }
    return SPW_OK;
}

/* ------------------------------------------------------------ one pulse */

/* Loads pulse `u`; its rows are the window's samples. */
static void load(learner *l, const spw_mark *marks, size_t n_marks, size_t k) {
    double half = (double)l->shape->half;
    spw_window_load(&l->window, l->trace, l->smooth, l->shape, marks, n_marks, k, 2,
                    marks[k].at - half, marks[k + 1].at + half);
}

/* Model without background, and the nuisance columns. */
static void model(learner *l, const spw_mark *pair, double *value, double (*column)[NUISANCE]) {
    spw_window *w = &l->window;
    double middle = (double)(w->n - 1) / 2;
    for (size_t i = 0; i < w->n; i++) {
        double u = ((double)i - middle) / middle;
        value[i] = 0;
        column[i][2] = 1;
        column[i][3] = u;
        column[i][4] = u * u;
    }
    for (int e = 0; e < 2; e++) {
        double sign = (double)pair[e].sign;
        spw_shape_at(l->shape, pair[e].at, w->first, w->n, w->value, w->slope);
        double left = e == 1 ? l->shape->height : 0; /* anything constant: the background's */
        for (size_t i = 0; i < w->n; i++) {
            value[i] += sign * (w->value[i] - left);
            column[i][e] = -sign * w->slope[i];
        }
    }
}

/* Two Gauss-Newton steps of both instants and the background. */
static bool settle(learner *l, spw_mark *pair, double *value, double (*column)[NUISANCE],
                   double *misfit) {
    spw_window *w = &l->window;
    for (int round = 0; round < 2; round++) {
        double a[NUISANCE * NUISANCE] = {0}, b[NUISANCE] = {0}, rss = 0, rows = 0;
        model(l, pair, value, column);
        for (size_t i = 0; i < w->n; i++) {
            double use = w->use[i], r = use * (w->z[i] - value[i]);
            const double *c = column[i];
            rss += r * r;
            rows += use;
            for (int p = 0; p < NUISANCE; p++) {
                b[p] += c[p] * r;
                for (int q = 0; q <= p; q++)
                    a[p * NUISANCE + q] += use * c[p] * c[q];
            }
        }
        double x[NUISANCE];
        memcpy(x, b, sizeof x);
        if (rows < 4 * NUISANCE || !spw_cholesky(a, NUISANCE))
            return false;
        spw_cholesky_solve(a, NUISANCE, x);
        for (int p = 0; p < NUISANCE; p++)
            rss -= x[p] * b[p];
        *misfit = fmax(rss, 0) / (rows - NUISANCE);
        if (!(fabs(x[0]) < 2) || !(fabs(x[1]) < 2))
            return false;
        pair[0].at += x[0];
        pair[1].at += x[1];
    }
    model(l, pair, value, column);
    return true;
}

/* Orthonormal nuisance columns (modified Gram-Schmidt, twice would change nothing:
 * five columns, condition below 100), rows left out being zero. */
static bool orthonormal(spw_window *w, double (*column)[NUISANCE]) {
    for (size_t i = 0; i < w->n; i++)
        for (int p = 0; p < NUISANCE && w->use[i] == 0; p++)
            column[i][p] = 0;
    for (int p = 0; p < NUISANCE; p++) {
        for (int q = 0; q <= p; q++) {
            double dot = 0;
            for (size_t i = 0; i < w->n; i++)
                dot += column[i][p] * column[i][q];
            double norm = q == p ? 1 / sqrt(dot) : 0;
            if (q == p && !(dot > 1e-20))
                return false;
            for (size_t i = 0; i < w->n; i++)
                column[i][p] = q == p ? column[i][p] * norm : column[i][p] - dot * column[i][q];
        }
    }
    return true;
}

/* The sparse row of sample i: coefficient numbers and values. */
static int design_row(const learner *l, const spw_mark *pair, const spw_shape_phase *phase,
                      ptrdiff_t i, size_t *index, double *x) {
    int n = 0;
    double height = 0;
    for (int e = 0; e < 2; e++) {
        double sign = (double)pair[e].sign;
        if (i >= phase[e].to) {
            height += sign;
            continue;
        }
        if (i < phase[e].from)
            continue;
        ptrdiff_t knot = phase[e].knot + SPW_KNOTS * (i - phase[e].from);
        for (int s = 0; s < SPW_SHAPE_TAPS; s++, knot++) {
            if (knot < 2)
                continue;
            if (knot - 2 >= (ptrdiff_t)l->n - 1) {
                height += sign * phase[e].weight[s];
                continue;
            }
            index[n] = (size_t)(knot - 2);
            x[n++] = sign * phase[e].weight[s];
        }
    }
    if (height != 0) {
        index[n] = l->n - 1;
        x[n++] = height;
    }
    return n;
}

/* Adds the pulse to the normal equations, nuisance projected out of its rows. */
static void accumulate(learner *l, const spw_mark *pair, size_t u, double (*q)[NUISANCE]) {
    spw_window *w = &l->window;
    spw_shape_phase phase[2] = {spw_shape_meet(l->shape, pair[0].at),
                                spw_shape_meet(l->shape, pair[1].at)};
    double dot[NUISANCE] = {0};
    for (size_t i = 0; i < w->n; i++)
        for (int p = 0; p < NUISANCE; p++)
            dot[p] += q[i][p] * w->z[i];
    for (size_t i = 0; i < w->n; i++) {
        size_t index[2 * SPW_SHAPE_TAPS + 1];
        double x[2 * SPW_SHAPE_TAPS + 1], z = w->z[i];
        if (w->use[i] == 0)
            continue;
        int m = design_row(l, pair, phase, w->first + (ptrdiff_t)i, index, x);
        for (int p = 0; p < NUISANCE; p++)
            z -= q[i][p] * dot[p];
        for (int a = 0; a < m; a++) {
            double *column = gsl_matrix_ptr(&l->nuisance.matrix, index[a], NUISANCE * u);
            for (int p = 0; p < NUISANCE; p++)
                column[p] += x[a] * q[i][p];
            *gsl_vector_ptr(&l->right.vector, index[a]) += x[a] * z;
            for (int b = 0; b < m; b++)
                if (index[b] <= index[a])
                    *gsl_matrix_ptr(&l->normal.matrix, index[a], index[b]) += x[a] * x[b];
        }
    }
}

/* ------------------------------------------------------------ all pulses */

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* One round: instants from the shape, then the shape. The rms change, or NAN. */
static double round_of(learner *l, spw_mark *marks, size_t n_marks, size_t stride, double pull,
                       double strictest) {
    double value[SPW_WINDOW_MOST] = {0}, column[SPW_WINDOW_MOST][NUISANCE] = {{0}};
    size_t n = l->n, used = 0;
    gsl_matrix_set_zero(&l->normal.matrix);
    gsl_matrix_set_zero(&l->nuisance.matrix);
    gsl_vector_set_zero(&l->right.vector);
    for (size_t u = 0; u < l->units; u += stride) {
        spw_mark *pair = &marks[l->unit[u]];
        spw_mark before[2] = {pair[0], pair[1]};
        load(l, marks, n_marks, l->unit[u]);
        if (!settle(l, pair, value, column, &l->misfit[u]) || l->misfit[u] > strictest ||
            !orthonormal(&l->window, column)) {
            pair[0].at = before[0].at;
            pair[1].at = before[1].at;
            continue;
        }
        accumulate(l, pair, u, column);
        used++;
    }
    if (used < PULSES_LEAST)
        return (double)NAN;
    gsl_blas_dsyrk(CblasLower, CblasNoTrans, -1, &l->nuisance.matrix, 1, &l->normal.matrix);
    double share = (double)used * 2 / SPW_KNOTS, trace = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            double v = gsl_matrix_get(&l->normal.matrix, i, j) +
                       share * gsl_matrix_get(&l->penalty.matrix, i, j) + (i == j ? pull : 0);
            gsl_matrix_set(&l->normal.matrix, i, j, v);
            gsl_matrix_set(&l->normal.matrix, j, i, v);
        }
        *gsl_vector_ptr(&l->right.vector, i) += pull * gsl_vector_get(&l->start.vector, i);
        trace += gsl_matrix_get(&l->normal.matrix, i, i);
    }
    if (!isfinite(trace) || !(trace > 0))
        return (double)NAN;
    /* the modified factorisation cannot fail on rounding */
    gsl_linalg_mcholesky_decomp(&l->normal.matrix, &l->order, &l->scratch.vector);
    gsl_linalg_mcholesky_solve(&l->normal.matrix, &l->order, &l->right.vector, &l->solution.vector);
    double change = 0;
    for (size_t i = 0; i < n; i++) {
        double d = gsl_vector_get(&l->solution.vector, i) - l->shape->free_[i];
        change += d * d;
    }
    if (!isfinite(change))
        return (double)NAN;
    spw_shape_set(l->shape, gsl_vector_const_ptr(&l->solution.vector, 0));
    return sqrt(change / (double)n);
}

/* Pulses to learn from: of the two kinds of interval the one that is shorter. */
static void choose(learner *l, const spw_mark *marks, size_t n) {
    size_t shorter[2] = {0, 0}; /* by the direction that starts them: falls, rises */
    for (size_t k = 0; k + 2 < n; k++)
        shorter[(marks[k].sign > 0) ==
                (marks[k + 1].at - marks[k].at < marks[k + 2].at - marks[k + 1].at)]++;
    float sign = n == 2 ? marks[0].sign : shorter[1] > shorter[0] ? 1 : -1;
    double half = (double)l->shape->half, widest = WIDEST_S * l->trace->rate_hz;
    widest = fmax(fmin(widest, SPW_WINDOW_MOST - 2 * half - 4), 2 * half);
    size_t total = 0;
    for (int pass = 0; pass < 2; pass++) {
        size_t step = (total + PULSES_MOST - 1) / PULSES_MOST, seen = 0;
        for (size_t k = 0; k + 1 < n && l->units < PULSES_MOST; k++) {
            bool good = marks[k].sign == sign && marks[k + 1].sign == -sign && !marks[k + 1].gap &&
                        marks[k + 1].at - marks[k].at < widest && marks[k].at > half &&
                        marks[k + 1].at + half < (double)l->trace->n &&
                        ((marks[k].flags | marks[k + 1].flags) & SPW_EDGE_DOUBTFUL) == 0;
            if (!good)
                continue;
            if (pass == 0)
                total++;
            else if (seen++ % (step > 0 ? step : 1) == 0)
                l->unit[l->units++] = k;
        }
    }
}

static spw_status allocate(learner *l) {
    size_t n = l->n, columns = NUISANCE * l->units;
    l->block = calloc(n * (2 * n + columns + 4), sizeof *l->block);
    l->order = (gsl_permutation){.size = n, .data = calloc(n, sizeof(size_t))};
    if (l->block == NULL || l->order.data == NULL)
        return SPW_ERR_MEMORY;
    double *at = l->block;
    l->normal = gsl_matrix_view_array(at, n, n);
    l->penalty = gsl_matrix_view_array(at += n * n, n, n);
    l->nuisance = gsl_matrix_view_array(at += n * n, n, columns);
    l->right = gsl_vector_view_array(at += n * columns, n);
    l->start = gsl_vector_view_array(at += n, n);
    l->solution = gsl_vector_view_array(at += n, n);
    l->scratch = gsl_vector_view_array(at + n, n);
    return SPW_OK;
}

static void release(learner *l) {
    free(l->order.data);
    free(l->block);
    free(l);
}

spw_status spw_shape_learn(const spw_trace *trace, const spw_smooth *smooth, spw_mark *marks,
                           size_t n, double noise, spw_shape *shape, size_t *learned) {
    learner *l = calloc(1, sizeof *l);
    *learned = 0;
    if (l == NULL)
        return SPW_ERR_MEMORY;
    l->trace = trace;
    l->smooth = smooth;
    l->shape = shape;
    l->n = shape->n;
    choose(l, marks, n);
    spw_status status = SPW_OK;
    if (l->units < PULSES_LEAST)
        goto done;
    status = allocate(l);
    /* all in units of the step: the data enter as they are, penalties scale with it */
    double r = noise / shape->height;
    if (status == SPW_OK)
        status = make_penalty(l, fmax(1e-3, 100 * r * r), fmax(3, 3e4 * r * r));
    if (status != SPW_OK)
        goto done;
    for (size_t i = 0; i < l->n; i++)
        gsl_vector_set(&l->start.vector, i, shape->free_[i]);
    double strictest = INFINITY;
    for (int round = 0; round < ROUNDS; round++) {
        /* far from the goal a third of the pulses shows the way */
        bool rough = round < ROUGH_ROUNDS && l->units >= ROUGH_FROM;
        double change = round_of(l, marks, n, rough ? 3 : 1, r * r / (0.05 * 0.05), strictest);
        if (isnan(change)) { /* nothing to learn from: back to the start */
            spw_shape_set(shape, gsl_vector_const_ptr(&l->start.vector, 0));
            goto done;
        }
        if (rough)
            continue;
        double sorted[PULSES_MOST];
        memcpy(sorted, l->misfit, l->units * sizeof *sorted);
        qsort(sorted, l->units, sizeof *sorted, rising);
        strictest = 6 * fmax(sorted[l->units / 2], noise * noise);
        if (round > 1 && change < SETTLED * noise)
            break;
    }
    *learned = l->units;
done:
    release(l);
    return status;
}
