/* A shape folded from transitions of unknown instants fits any relabelling of their
 * phases, so folding alone keeps the error it starts with. Two things settle it:
 *   - the recorder passes nothing above about 0.55 of the sampling rate, so energy
 *     of the slope above 0.62 is penalised;
 *   - instants and backgrounds are eliminated from the shape's own equations
 *     (variable projection: Golub and Pereyra 1973), so that the shape cannot trade
 *     against them.
 * Weights of the penalties follow the noise. */
#include "edges/learn.h"

#include "edges/normal.h"
#include "edges/solve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WIDEST_S 3.5e-3 /* a pulse wider than this does not share one background */
#define SETTLED 1e-3    /* of the noise: rms step of the coefficients */
/* The Gram matrix is dear (n^2 a pulse), residuals are cheap: the matrix comes from
 * some pulses, first few, then enough to stand for all; the steps after it take the
 * residuals of all of them, and so end where all of them agree. */
#define SETTLED_PULL 3e-4 /* a pulse, against about 1/2 from its samples */
enum { PULSES_LEAST = 5, PULSES_MOST = 1000, ROUGH = 40, FINE = 100 };
enum { ROUGH_ROUNDS = 3, FINE_ROUNDS = 2, ALL_ROUNDS = 7 };

typedef struct learner {
    const spw_trace *trace;
    const spw_smooth *smooth;
    spw_shape *shape;
    spw_normal normal;
    spw_window window;
    double value[SPW_WINDOW_MOST]; /* of a pulse without background, then its residuals */
    double column[SPW_WINDOW_MOST][SPW_NUISANCE];
    size_t unit[PULSES_MOST];   /* first mark of each pulse */
    double misfit[PULSES_MOST]; /* its mean square residual */
    double sorted[PULSES_MOST];
    size_t units;
} learner;

/* ------------------------------------------------------------ one pulse */

/* Loads pulse `u`; its rows are the window's samples. */
static void load(learner *l, const spw_mark *marks, size_t n_marks, size_t k) {
    double half = (double)l->shape->half;
    spw_window_load(&l->window, l->trace, l->smooth, l->shape, marks, n_marks, k, 2,
                    marks[k].at - half, marks[k + 1].at + half);
}

/* Model without background, and the nuisance columns. */
static void model(learner *l, const spw_mark *pair) {
    spw_window *w = &l->window;
    double middle = (double)(w->n - 1) / 2;
    for (size_t i = 0; i < w->n; i++) {
        double u = ((double)i - middle) / middle;
        l->value[i] = 0;
        l->column[i][2] = 1;
        l->column[i][3] = u;
        l->column[i][4] = u * u;
    }
    for (int e = 0; e < 2; e++) {
        double sign = (double)pair[e].sign;
        spw_shape_at(l->shape, pair[e].at, w->first, w->n, w->value, w->slope);
        double left = e == 1 ? l->shape->height : 0; /* anything constant: the background's */
        for (size_t i = 0; i < w->n; i++) {
            l->value[i] += sign * (w->value[i] - left);
            l->column[i][e] = -sign * w->slope[i];
        }
    }
}

/* Gauss-Newton steps of both instants and the background. Leaves the pair where the last
 * one started and, in l->value, the residuals of that step's linear model: no nuisance
 * column is in them, to rounding, or the shape would drift where nothing holds it. */
static bool settle(learner *l, spw_mark *pair, int steps, double *misfit, double moved[2]) {
    spw_window *w = &l->window;
    double x[SPW_NUISANCE] = {0};
    for (int round = 0; round < steps; round++) {
        double a[SPW_NUISANCE * SPW_NUISANCE] = {0}, b[SPW_NUISANCE] = {0}, rss = 0, rows = 0;
        pair[0].at += x[0];
        pair[1].at += x[1];
        model(l, pair);
        for (size_t i = 0; i < w->n; i++) {
            double use = w->use[i], r = use * (w->z[i] - l->value[i]);
            const double *c = l->column[i];
            l->value[i] = r;
            rss += r * r;
            rows += use;
            for (int p = 0; p < SPW_NUISANCE; p++) {
                b[p] += c[p] * r;
                for (int q = 0; q <= p; q++)
                    a[p * SPW_NUISANCE + q] += use * c[p] * c[q];
            }
        }
        memcpy(x, b, sizeof x);
        if (rows < 4 * SPW_NUISANCE || !spw_cholesky(a, SPW_NUISANCE))
            return false;
        spw_cholesky_solve(a, SPW_NUISANCE, x);
        for (int p = 0; p < SPW_NUISANCE; p++)
            rss -= x[p] * b[p];
        *misfit = fmax(rss, 0) / (rows - SPW_NUISANCE);
        if (!(fabs(x[0]) < 2) || !(fabs(x[1]) < 2))
            return false;
    }
    moved[0] = x[0];
    moved[1] = x[1];
    for (size_t i = 0; i < w->n; i++)
        for (int p = 0; p < SPW_NUISANCE; p++)
            l->value[i] -= w->use[i] * x[p] * l->column[i][p];
    return true;
}

/* Orthonormal nuisance columns (modified Gram-Schmidt, twice would change nothing:
 * five columns, condition below 100), rows left out being zero. */
static bool orthonormal(const spw_window *w, double (*column)[SPW_NUISANCE]) {
    for (size_t i = 0; i < w->n; i++)
        for (int p = 0; p < SPW_NUISANCE && w->use[i] == 0; p++)
            column[i][p] = 0;
    for (int p = 0; p < SPW_NUISANCE; p++) {
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

/* ------------------------------------------------------------ all pulses */

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Instants from the shape, then sums for the shape, from every stride-th pulse; the Gram
 * matrix too when `gram`. How many pulses. */
static size_t sum_up(learner *l, spw_mark *marks, size_t n_marks, size_t stride, bool gram,
                     int steps, double strictest) {
    size_t used = 0;
    spw_normal_clear(&l->normal, gram);
    for (size_t u = 0; u < l->units; u += stride) {
        spw_mark *pair = &marks[l->unit[u]];
        spw_mark before[2] = {pair[0], pair[1]};
        load(l, marks, n_marks, l->unit[u]);
        double moved[2];
        if (!settle(l, pair, steps, &l->misfit[u], moved) || l->misfit[u] > strictest ||
            (gram && !orthonormal(&l->window, l->column))) {
            pair[0].at = before[0].at;
            pair[1].at = before[1].at;
            continue;
        }
        spw_normal_add(&l->normal, &l->window, l->shape, pair, l->value, gram ? l->column : NULL);
        pair[0].at += moved[0];
        pair[1].at += moved[1];
        used++;
    }
    return used;
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

/* Mean square residuals beyond this tell of no pulse like the others. */
static double strictest_of(learner *l, size_t stride, double noise) {
    size_t n = 0;
    for (size_t u = 0; u < l->units; u += stride)
        l->sorted[n++] = l->misfit[u];
    qsort(l->sorted, n, sizeof *l->sorted, rising);
    return 6 * fmax(l->sorted[n / 2], noise * noise);
}

/* False when there is nothing to learn from. */
static bool learn(learner *l, spw_mark *marks, size_t n, double noise, double pull) {
    size_t rough = (l->units + ROUGH - 1) / ROUGH, fine = (l->units + FINE - 1) / FINE;
    double strictest = INFINITY;
    for (int round = 0; round < ROUGH_ROUNDS + FINE_ROUNDS; round++) {
        size_t stride = round < ROUGH_ROUNDS ? rough : fine;
        size_t used = sum_up(l, marks, n, stride, true, 2, strictest);
        if (used < PULSES_LEAST || !spw_normal_factor(&l->normal, (double)used, pull) ||
            !spw_normal_step(&l->normal, (double)used, pull, l->shape))
            return false;
        if (round >= ROUGH_ROUNDS)
            strictest = strictest_of(l, stride, noise);
    }
    /* what the pulses do not tell (a shift of shape and instants alike) is settled by now */
    double hold = SETTLED_PULL * (double)l->units;
    for (size_t i = 0; i < l->normal.n; i++)
        l->normal.start[i] =
            (pull * l->normal.start[i] + hold * l->shape->free_[i]) / (pull + hold);
    pull += hold;
    size_t used = sum_up(l, marks, n, 1, false, 2, strictest);
    if (used < PULSES_LEAST || !spw_normal_factor(&l->normal, (double)used, pull) ||
        !spw_normal_step(&l->normal, (double)used, pull, l->shape))
        return false;
    for (int round = 0; round < ALL_ROUNDS; round++) {
        sum_up(l, marks, n, 1, false, 2, strictest);
        double change = spw_normal_descend(&l->normal, (double)used, pull, l->shape);
        if (!(change > SETTLED * noise))
            break;
    }
    spw_normal_settle(&l->normal, l->shape);
    return true;
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
    choose(l, marks, n);
    spw_status status = SPW_OK;
    if (l->units < PULSES_LEAST)
        goto done;
    /* all in units of the step: the data enter as they are, penalties scale with it */
    double r = noise / shape->height, r2 = r * r;
    status =
        spw_normal_new(&l->normal, shape->free_, shape->n, fmax(1e-3, 100 * r2), fmax(3, 3e4 * r2));
    if (status != SPW_OK)
        goto done;
    if (learn(l, marks, n, noise, r2 / (0.05 * 0.05)))
        *learned = l->units;
    else
        spw_shape_set(shape, l->normal.start);
done:
    spw_normal_free(&l->normal);
    free(l);
    return status;
}
