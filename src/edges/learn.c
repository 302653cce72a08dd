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
#include "edges/two.h"
#include "edges/wide.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WIDEST_S 3.5e-3 /* a pulse wider than this does not share one background */
/* Of the noise: rms that the coefficients have still to go; a thousand pulses leave 0.04. */
#define SETTLED 3e-3
/* The Gram matrix is dear (n^2 a pulse), residuals are cheap: the matrix comes from
 * some pulses, first few, then enough to stand for all; the steps after it take the
 * residuals of all of them, and so end where all of them agree. */
#define SETTLED_PULL 3e-4 /* a pulse, against about 1/2 from its samples */
enum { PULSES_LEAST = 5, PULSES_MOST = 1000, ROUGH = 32, FINE = 64 };
enum { ROUGH_ROUNDS = 2, FINE_ROUNDS = 1, ALL_ROUNDS = 7 };

typedef struct learner {
    const spw_trace *trace;
    const spw_smooth *smooth;
    spw_shape *shape;
    spw_normal normal;
    spw_window window;
    double residual[SPW_WINDOW_MOST];
    double column[SPW_NUISANCE][SPW_WINDOW_MOST];
    struct {
        size_t from, n;
    } part[2];   /* where the edges' slopes are not zero */
    double rows; /* samples used */
    double background[SPW_NUISANCE][SPW_NUISANCE];
    size_t unit[PULSES_MOST];   /* first mark of each pulse */
    double misfit[PULSES_MOST]; /* its mean square residual */
    double sorted[PULSES_MOST];
    size_t units;
} learner;

/* ------------------------------------------------------------ one pulse */

/* Loads pulse `u`, as high as the shape; its rows are the window's samples. */
static void load(learner *l, const spw_mark *marks, size_t n_marks, size_t k) {
    double half = (double)l->shape->half;
    spw_window_load(&l->window, l->trace, l->smooth, l->shape, marks, n_marks, k, 2,
                    marks[k].at - half, marks[k + 1].at + half);
    double scale = (marks[k].scale + marks[k + 1].scale) / 2;
    for (size_t i = 0; i < l->window.n && scale != 1; i++)
        l->window.z[i] /= scale;
}

/* A pulse's columns: slopes of its two edges, only where they are not zero, and the
 * background, zero where samples are left out and behind the window. */
enum { RISE, FALL, ONE, LINE, BOW };

SPW_WIDE static void make_background(learner *l) {
    const spw_window *w = &l->window;
    double middle = (double)(w->n - 1) / 2, *line = l->column[LINE], *bow = l->column[BOW];
    spw_quad s = {0}, sx = s, sxx = s, sxxx = s, sxxxx = s, at = {0, 1, 2, 3};
    for (size_t i = 0; i < w->n; i += 4, at += 4.0) {
        spw_quad use = SPW_QUAD_OF(w->use + i), x = use * ((at - middle) / middle), xx = x * x;
        SPW_QUAD(l->column[ONE] + i) = use;
        SPW_QUAD(line + i) = x;
        SPW_QUAD(bow + i) = xx;
        s += use;
        sx += x;
        sxx += xx;
        sxxx += x * xx;
        sxxxx += xx * xx;
    }
    l->rows = l->background[ONE][ONE] = spw_quad_sum(&s);
    l->background[LINE][ONE] = spw_quad_sum(&sx);
    l->background[LINE][LINE] = l->background[BOW][ONE] = spw_quad_sum(&sxx);
    l->background[BOW][LINE] = spw_quad_sum(&sxxx);
    l->background[BOW][BOW] = spw_quad_sum(&sxxxx);
}

/* Takes an edge's n values out of r; its slope where samples are used into a column. */
SPW_WIDE static void take_values(double *r, const double *value, const double *slope,
                                 const double *use, double sign, double *column, size_t n) {
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        SPW_QUAD(r + i) -= sign * SPW_QUAD_OF(value + i);
        SPW_QUAD(column + i) = SPW_QUAD_OF(use + i) * (-sign * SPW_QUAD_OF(slope + i));
    }
    for (; i < n; i++) {
        r[i] -= sign * value[i];
        column[i] = use[i] * (-sign * slope[i]);
    }
}

/* Takes edge e of the pair out of the residuals; its slope into its column. Where it ends. */
static size_t take_edge(learner *l, const spw_mark *mark, int e) {
    spw_window *w = &l->window;
    spw_shape_phase phase = spw_shape_meet(l->shape, mark->at);
    ptrdiff_t end = w->first + (ptrdiff_t)w->n, from;
    size_t n = spw_shape_part(l->shape, &phase, w->first, end, w->value, w->slope, &from);
    size_t start = (size_t)(from - w->first);
    l->part[e].from = start;
    l->part[e].n = n;
    take_values(l->residual + start, w->value, w->slope, w->use + start, (double)mark->sign,
                l->column[e] + start, n);
    return start + n;
}

/* Residuals of the pair where it stands, zero where samples are left out. */
SPW_WIDE static void take_pair(learner *l, const spw_mark *pair) {
    const spw_window *w = &l->window;
    double *r = l->residual, level = (double)pair[0].sign * l->shape->height;
    for (size_t i = 0; i < w->n; i += 4)
        SPW_QUAD(r + i) = SPW_QUAD_OF(w->z + i);
    size_t from = take_edge(l, &pair[0], RISE), to = take_edge(l, &pair[1], FALL), i = from;
    for (; i + 4 <= to; i += 4) /* between them: the pulse's level, 0 elsewhere */
        SPW_QUAD(r + i) -= level;
    for (; i < to; i++)
        r[i] -= level;
    for (i = 0; i < w->n && l->rows < (double)w->n; i++)
        r[i] *= l->column[ONE][i];
}

/* Products of x with itself, with the background from sample `from` on, and with r. */
enum { SELF = ONE - 1, REST = BOW + 1, PRODUCTS };

SPW_WIDE static void multiply(const learner *l, const double *x, size_t from, size_t n,
                              double product[PRODUCTS]) {
    const double *one = l->column[ONE] + from, *line = l->column[LINE] + from;
    const double *bow = l->column[BOW] + from, *r = l->residual + from;
    spw_quad self = {0}, ones = self, lines = self, bows = self, rest = self;
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        spw_quad v = SPW_QUAD_OF(x + i);
        self += v * v;
        ones += v * SPW_QUAD_OF(one + i);
        lines += v * SPW_QUAD_OF(line + i);
        bows += v * SPW_QUAD_OF(bow + i);
        rest += v * SPW_QUAD_OF(r + i);
    }
    product[SELF] = spw_quad_sum(&self);
    product[ONE] = spw_quad_sum(&ones);
    product[LINE] = spw_quad_sum(&lines);
    product[BOW] = spw_quad_sum(&bows);
    product[REST] = spw_quad_sum(&rest);
    for (; i < n; i++) {
        product[SELF] += x[i] * x[i];
        product[ONE] += x[i] * one[i];
        product[LINE] += x[i] * line[i];
        product[BOW] += x[i] * bow[i];
        product[REST] += x[i] * r[i];
    }
}

/* The normal equations of a pulse; the lower triangle of a. */
static double sum_pulse(const learner *l, double *a, double *b) {
    double product[PRODUCTS];
    for (int p = RISE; p <= FALL; p++) {
        size_t from = l->part[p].from;
        multiply(l, l->column[p] + from, from, l->part[p].n, product);
        a[p * SPW_NUISANCE + p] = product[SELF];
        for (int q = ONE; q <= BOW; q++)
            a[q * SPW_NUISANCE + p] = product[q];
        b[p] = product[REST];
    }
    size_t from = l->part[FALL].from, end = l->part[RISE].from + l->part[RISE].n;
    size_t most = from + l->part[FALL].n;
    end = end < most ? end : most;
    a[FALL * SPW_NUISANCE + RISE] =
        end > from ? spw_dot(l->column[RISE] + from, l->column[FALL] + from, end - from) : 0;
    multiply(l, l->residual, 0, l->window.n, product);
    for (int p = ONE; p <= BOW; p++) {
        b[p] = product[p];
        for (int q = ONE; q <= p; q++)
            a[p * SPW_NUISANCE + q] = l->background[p][q];
    }
    return product[SELF];
}

/* Residuals less the background's columns x[ONE] ... x[BOW] times. */
SPW_WIDE static void less_background(learner *l, const double *x) {
    double *r = l->residual;
    for (size_t i = 0; i < l->window.n; i += 4)
        SPW_QUAD(r + i) -= x[ONE] * SPW_QUAD_OF(l->column[ONE] + i) +
                           x[LINE] * SPW_QUAD_OF(l->column[LINE] + i) +
                           x[BOW] * SPW_QUAD_OF(l->column[BOW] + i);
}

/* Gauss-Newton steps of both instants and the background. Leaves the pair where the last
 * one started and, in l->residual, the residuals of that step's linear model: no nuisance
 * column is in them, to rounding, or the shape would drift where nothing holds it. */
static bool settle(learner *l, spw_mark *pair, int steps, double *misfit, double moved[2]) {
    double x[SPW_NUISANCE] = {0};
    make_background(l);
    for (int round = 0; round < steps; round++) {
        double a[SPW_NUISANCE * SPW_NUISANCE], b[SPW_NUISANCE];
        pair[0].at += x[0];
        pair[1].at += x[1];
        take_pair(l, pair);
        double rss = sum_pulse(l, a, b);
        memcpy(x, b, sizeof x);
        if (l->rows < 4 * SPW_NUISANCE || !spw_cholesky(a, SPW_NUISANCE))
            return false;
        spw_cholesky_solve(a, SPW_NUISANCE, x);
        for (int p = 0; p < SPW_NUISANCE; p++)
            rss -= x[p] * b[p];
        *misfit = fmax(rss, 0) / (l->rows - SPW_NUISANCE);
        if (!(fabs(x[0]) < 2) || !(fabs(x[1]) < 2))
            return false;
    }
    moved[0] = x[0];
    moved[1] = x[1];
    for (int p = RISE; p <= FALL; p++)
        spw_add_times(l->residual + l->part[p].from, -x[p], l->column[p] + l->part[p].from,
                      l->part[p].n);
    less_background(l, x);
    return true;
}

/* Orthonormal nuisance columns (modified Gram-Schmidt, twice would change nothing:
 * five columns, condition below 100). */
static bool orthonormal(learner *l) {
    size_t n = l->window.n;
    for (int p = RISE; p <= FALL; p++) {
        size_t from = l->part[p].from, to = from + l->part[p].n;
        memset(l->column[p], 0, from * sizeof *l->column[p]);
        memset(l->column[p] + to, 0, (n - to) * sizeof *l->column[p]);
    }
    for (int p = 0; p < SPW_NUISANCE; p++) {
        double *column = l->column[p];
        for (int q = 0; q < p; q++)
            spw_add_times(column, -spw_dot(column, l->column[q], n), l->column[q], n);
        double dot = spw_dot(column, column, n), norm = 1 / sqrt(dot);
        if (!(dot > 1e-20))
            return false;
        for (size_t i = 0; i < n; i++)
            column[i] *= norm;
    }
    return true;
}

/* ------------------------------------------------------------ all pulses */

/* The k-th of every `stride`, one somewhere in each: where widths or channels alternate,
 * equal steps would meet some of them only. */
static size_t one_in(size_t stride, size_t k) {
    double turns = 0.6180339887 * (double)k; /* the golden ratio: evenly spread */
    return k * stride + (size_t)((turns - floor(turns)) * (double)stride);
}

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
    for (size_t k = 0, u; (u = one_in(stride, k)) < l->units; k++) {
        spw_mark *pair = &marks[l->unit[u]];
        spw_mark before[2] = {pair[0], pair[1]};
        load(l, marks, n_marks, l->unit[u]);
        double moved[2];
        if (!settle(l, pair, steps, &l->misfit[u], moved) || l->misfit[u] > strictest ||
            (gram && !orthonormal(l))) {
            pair[0].at = before[0].at;
            pair[1].at = before[1].at;
            continue;
        }
        spw_normal_add(&l->normal, &l->window, l->shape, pair, l->residual,
                       gram ? l->column : NULL);
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
            else if (seen++ == one_in(step, l->units))
                l->unit[l->units++] = k;
        }
    }
}

/* Mean square residuals beyond this tell of no pulse like the others. */
static double strictest_of(learner *l, size_t stride, double noise) {
    size_t n = 0;
    for (size_t k = 0, u; (u = one_in(stride, k)) < l->units; k++)
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
    double before = INFINITY; /* steps shrink by one factor or more */
    for (int round = 0; round < ALL_ROUNDS; round++) {
        sum_up(l, marks, n, 1, false, 1, strictest);
        double change = spw_normal_descend(&l->normal, (double)used, pull, l->shape);
        double left = change < before ? change / (before / change - 1) : change;
        if (!(left > SETTLED * noise))
            break;
        before = change;
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
