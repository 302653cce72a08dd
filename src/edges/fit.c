#include "edges/fit.h"

#include "edges/solve.h"
#include "edges/wide.h"

#include <math.h>

#define HUBER 3.0
#define TRUST 0.75 /* samples a step may move the instant */
#define RESTS 1e-5 /* samples: the next step would be its square */

static void subtract(spw_window *w, const spw_shape *shape, const spw_mark *mark, bool before) {
    double half = (double)shape->half + 1, first = (double)w->first;
    if (mark->at + half < first || mark->at - half > first + (double)w->n)
        return;
    spw_shape_at(shape, mark->at, w->first, w->n, w->value, NULL);
    double sign = (double)mark->sign * mark->scale, left = before ? shape->height : 0;
    for (size_t i = 0; i < w->n; i++)
        w->z[i] -= sign * (w->value[i] - left);
}

/* The samples alone. */
static void load(spw_window *w, const spw_trace *trace, const spw_smooth *smooth, double first,
                 double last) {
    first = fmax(floor(first), 0);
    last = fmin(fmin(ceil(last), (double)trace->n - 1), first + SPW_WINDOW_MOST - 1);
    w->first = (ptrdiff_t)first;
    w->n = last >= first ? (size_t)(last - first) + 1 : 0;
    spw_trace_smooth(trace, smooth, (size_t)w->first, w->n, w->z);
    for (size_t i = 0; i < w->n; i++)
        w->use[i] = trace->flag[w->first + (ptrdiff_t)i] == 0;
    for (size_t i = w->n; i % 4 != 0; i++)
        w->z[i] = w->use[i] = 0;
}

void spw_window_load(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                     const spw_shape *shape, const spw_mark *marks, size_t n_marks, size_t k,
                     size_t count, double first, double last) {
    load(w, trace, smooth, first, last);
    double far = 2 * (double)shape->half + (double)w->n - 1;
    for (size_t j = k; j-- > 0 && k - j <= 64 && marks[k].at - marks[j].at < far;)
        subtract(w, shape, &marks[j], true);
    for (size_t j = k + count; j < n_marks && j - k <= 64 && marks[j].at - marks[k].at < far; j++)
        subtract(w, shape, &marks[j], false);
}

void spw_window_plateau(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                        const spw_shape *shape, const spw_mark *marks, size_t n_marks, size_t k,
                        double first, double last) {
    load(w, trace, smooth, first, last);
    double far = (double)shape->half + 1, from = (double)w->first, to = from + (double)w->n;
    for (size_t j = k; j-- > 0 && marks[j].at + far > from;)
        subtract(w, shape, &marks[j], true);
    for (size_t j = k; j < n_marks && marks[j].at - far < to; j++)
        subtract(w, shape, &marks[j], false);
}

/* Weighted sums over a window: u runs from -1 to 1 over it, g is what a sample gains by a
 * later instant, r what is left of it without the transition. */
typedef struct sums {
    double gg, g, one, gu, u, uu, gr, r, ur, rr, used;
} sums;

/* Four samples at a time. Weights are Huber's of the distance from a line. */
SPW_WIDE static void sum_up(spw_window *w, double sign, double limit, const double line[2],
                            sums *sum) {
    for (size_t i = w->n; i % 4 != 0; i++)
        w->value[i] = w->slope[i] = 0;
    double middle = (double)(w->n - 1) / 2, unit = 1 / fmax(middle, 1);
    spw_quad gg = {0}, g = gg, one = gg, gu = gg, u = gg, uu = gg, gr = gg, r = gg, ur = gg,
             rr = gg;
    spw_quad used = gg, at = {0, 1, 2, 3};
    for (size_t i = 0; i < w->n; i += 4, at += 4.0) {
        spw_quad place = (at - middle) * unit, gain = -sign * SPW_QUAD_OF(w->slope + i);
        spw_quad left = SPW_QUAD_OF(w->z + i) - sign * SPW_QUAD_OF(w->value + i);
        spw_quad off = SPW_QUAD_MAGNITUDE(left - line[0] - line[1] * place);
        spw_quad use = SPW_QUAD_OF(w->use + i);
        spw_quad weight = SPW_QUAD_PICK((spw_quad_masks)(off > limit), use * limit / off, use);
        spw_quad heavy = weight * gain, leaning = weight * place;
        gg += heavy * gain;
        g += heavy;
        one += weight;
        gu += heavy * place;
        u += leaning;
        uu += leaning * place;
        gr += heavy * left;
        r += weight * left;
        ur += leaning * left;
        rr += weight * left * left;
        used += use;
    }
    *sum = (sums){spw_quad_sum(&gg), spw_quad_sum(&g),  spw_quad_sum(&one), spw_quad_sum(&gu),
                  spw_quad_sum(&u),  spw_quad_sum(&uu), spw_quad_sum(&gr),  spw_quad_sum(&r),
                  spw_quad_sum(&ur), spw_quad_sum(&rr), spw_quad_sum(&used)};
}

/* One step. */
static bool step(spw_window *w, const spw_shape *shape, spw_mark *mark, double scale,
                 double line[2], spw_fit *fit) {
    double middle = (double)(w->n - 1) / 2, unit = 1 / fmax(middle, 1);
    sums s;
    spw_shape_at(shape, mark->at, w->first, w->n, w->value, w->slope);
    sum_up(w, (double)mark->sign * mark->scale, HUBER * scale, line, &s);
    double a[9] = {s.gg, 0, 0, s.g, s.one, 0, s.gu, s.u, s.uu}, b[3] = {s.gr, s.r, s.ur};
    double rss = s.rr, weights = s.used;
    double known = w->tilt * middle; /* one more observation */
    a[8] += w->sure * unit * unit;
    b[2] += w->sure * unit * unit * known;
    rss += w->sure * unit * unit * known * known;
    double x[3] = {b[0], b[1], b[2]}, e[3] = {1, 0, 0}, tilt[3] = {0, 0, 1};
    if (weights < 6 || !(a[0] > 0) || !spw_cholesky(a, 3))
        return false;
    spw_cholesky_solve(a, 3, x);
    spw_cholesky_solve(a, 3, e);
    if (w->n > (size_t)weights)
        spw_cholesky_solve(a, 3, tilt);
    *fit = (spw_fit){.higher = fit->higher,
                     .u_higher = fit->u_higher,
                     .lean = fit->lean,
                     .moved = fmax(fmin(x[0], TRUST), -TRUST),
                     .gain = e[0],
                     .rss = fmax(rss - x[0] * b[0] - x[1] * b[1] - x[2] * b[2], 0),
                     .dof = weights - (w->sure > 0 ? 2 : 3),
                     .clipped = w->n - (size_t)weights,
                     .tilt = x[2] * unit,
                     .tilt_gain = tilt[2] * unit * unit};
    mark->at += fit->moved;
    line[0] = fit->line[0] = x[1];
    line[1] = fit->line[1] = x[2];
    return true;
}

/* How much higher the transition is than the fit has it: what of the residuals goes with the
 * shape's values once the instant's and the background's part in them is taken out. */
SPW_WIDE static void tell_height(const spw_window *w, double scale, spw_fit *fit) {
    double middle = (double)(w->n - 1) / 2, unit = 1 / fmax(middle, 1);
    spw_quad gg = {0}, g = gg, one = gg, gu = gg, u = gg, uu = gg, vg = gg, v = gg, vu = gg,
             vv = gg, vr = gg, gr = gg, r = gg, ur = gg, at = {0, 1, 2, 3};
    for (size_t i = 0; i < w->n; i += 4, at += 4.0) {
        spw_quad place = (at - middle) * unit, use = SPW_QUAD_OF(w->use + i);
        spw_quad gain = SPW_QUAD_OF(w->slope + i), value = use * SPW_QUAD_OF(w->value + i);
        spw_quad heavy = use * gain, leaning = use * place;
        gg += heavy * gain;
        g += heavy;
        one += use;
        gu += heavy * place;
        u += leaning;
        uu += leaning * place;
        vg += value * gain;
        v += value;
        vu += value * place;
        vv += value * value;
        spw_quad left = SPW_QUAD_OF(w->z + i);
        vr += value * left;
        gr += heavy * left;
        r += use * left;
        ur += leaning * left;
    }
    double a[9] = {spw_quad_sum(&gg),
                   0,
                   0,
                   spw_quad_sum(&g),
                   spw_quad_sum(&one),
                   0,
                   spw_quad_sum(&gu),
                   spw_quad_sum(&u),
                   spw_quad_sum(&uu)};
    double b[3] = {spw_quad_sum(&vg), spw_quad_sum(&v), spw_quad_sum(&vu)};
    double x[3] = {b[0], b[1], b[2]}, left = spw_quad_sum(&vv);
    fit->higher = fit->u_higher = fit->lean = 0;
    if (!(a[0] > 0) || !spw_cholesky(a, 3))
        return;
    spw_cholesky_solve(a, 3, x);
    left -= x[0] * b[0] + x[1] * b[1] + x[2] * b[2];
    if (!(left > 1e-6 * spw_quad_sum(&vv)) || !(fit->dof > 0))
        return;
    double rest = spw_quad_sum(&vr) - x[0] * spw_quad_sum(&gr) - x[1] * spw_quad_sum(&r) -
                  x[2] * spw_quad_sum(&ur);
    fit->higher = rest / left / scale;
    fit->u_higher = sqrt(fit->rss / fit->dof / left) / scale;
    fit->lean = x[0];
}

bool spw_fit_mark(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                  const spw_shape *shape, spw_mark *marks, size_t n, size_t k, size_t reach,
                  double scale, int steps, bool again, spw_fit *fit) {
    spw_mark mark = marks[k];
    bool known = again && fit->dof > 0;
    double line[2] = {known ? fit->line[0] : 0, known ? fit->line[1] : 0}, r = (double)reach;
    spw_window_load(w, trace, smooth, shape, marks, n, k, 1, rint(mark.at) - r, rint(mark.at) + r);
    for (int i = 0; i < steps; i++) {
        /* the line is not known at first: no sample is an outlier yet */
        if (w->n < 6 || !step(w, shape, &mark, known || i > 0 ? scale : INFINITY, line, fit))
            return false;
        if (known && fabs(fit->moved) < RESTS)
            break;
    }
    if (!(fabs(mark.at - marks[k].at) < 2))
        return false;
    double middle = (double)(w->n - 1) / 2, sign = (double)mark.sign;
    for (size_t i = 0; i < w->n; i++)
        w->z[i] = sign * (w->z[i] - line[0] - line[1] * ((double)i - middle) / middle) -
                  mark.scale * w->value[i];
    marks[k] = mark;
    if (!again)
        tell_height(w, mark.scale, fit);
    return true;
}
