/* The fitted line, its clamps and its departures. */
#include "adapter/verify/verify.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

/* Inputs nearer to each other than this are one level for a line. */
#define LEVELS_APART_US 5.0
/* While the input moves so many outputs decide nothing: one that starts just as an input ends
 * may still be the answer to the input before. */
#define ODD_PULSES 2
/* Counts that scatter by this part of a tick lie on both sides of what they count. */
#define WORN_OFF 0.4

/* Outputs of the outermost inputs that do not follow the line any more: a clamp, where
 * no plan says so. Two levels at least, inputs apart, outputs together. Levels are
 * upwards by input. */
static void find_plateau(spw_verifier *f, bool high) {
    size_t n = f->levels;
    spw_verify_level *edge = n > 0 ? &f->level[high ? n - 1 : 0] : NULL;
    for (size_t k = 1; k < n; k++) {
        spw_verify_level *next = &f->level[high ? n - 1 - k : k];
        double apart = fabs(next->in_us - edge->in_us);
        if (apart <= LEVELS_APART_US)
            continue;
        double together = 3 * hypot(edge->u_out_us, next->u_out_us) + 1;
        if (fabs(edge->out_us - next->out_us) > fmin(together, 0.1 * apart))
            return;
        edge->clamped = next->clamped = true;
    }
}

/* Outputs seen where a clamp holds: their mean, weighted by frames. */
static void clamps_seen(spw_verifier *f) {
    spw_verification *v = f->v;
    double sum[2] = {0}, weight[2] = {0};
    for (size_t k = 0; k < v->pairs; k++) {
        const spw_pair *p = &v->pair[k];
        if (!p->clamped || p->moving)
            continue;
        sum[p->side > 0] += p->out_us * (double)p->frames;
        weight[p->side > 0] += (double)p->frames;
    }
    if (weight[0] > 0)
        v->clamp_low_us = sum[0] / weight[0];
    if (weight[1] > 0)
        v->clamp_high_us = sum[1] / weight[1];
}

/* Without a plan the outermost clamped levels are the clamps. */
static void plateaus_seen(spw_verifier *f) {
    double low = INFINITY, high = -INFINITY, least = INFINITY, most = -INFINITY;
    for (size_t k = 0; k < f->levels; k++) {
        const spw_verify_level *l = &f->level[k];
        least = fmin(least, l->out_us);
        most = fmax(most, l->out_us);
        if (l->clamped) {
            low = fmin(low, l->out_us);
            high = fmax(high, l->out_us);
        }
    }
    if (low <= least + 1)
        f->v->clamp_low_us = low;
    if (high >= most - 1)
        f->v->clamp_high_us = high;
}

typedef struct columns {
    double *x, *ux, *y, *uy;
    size_t n;
} columns;

/* What counting in ticks may leave in a level's mean. Counts that do not scatter may all be
 * off by the same part of a tick, times the gain; jitter and free phases wear that off. The
 * output's rounding stays. */
static double tick_u(const spw_verifier *f, const spw_verify_level *l) {
    double tick = f->v->planned.tick_us;
    if (!f->v->planned.known || !isfinite(tick))
        return 0;
    double count = tick * fabs(spw_planned_slope(&f->v->planned, l->in_us));
    double left = fmax(0, 1 - l->scatter_us / (WORN_OFF * count));
    return hypot(tick, count * left) / sqrt(12);
}

/* The levels that no clamp holds; without a timer's step an exact capture would
 * give uncertainties of zero, so a hundredth of a microsecond is the least. */
static void gather(const spw_verifier *f, bool corners, columns *c) {
    c->n = 0;
    for (size_t k = 0; k < f->levels; k++) {
        const spw_verify_level *l = &f->level[k];
        if (l->clamped || (l->corner != 0 && !corners))
            continue;
        c->x[c->n] = l->in_us;
        c->ux[c->n] = fmax(l->u_in_us, 0.01);
        c->y[c->n] = spw_planned_straightened(&f->v->planned, l->in_us, l->out_us);
        c->uy[c->n++] = fmax(l->u_out_us, 0.01);
    }
}

static spw_status make_columns(const spw_verifier *f, columns *c) {
    size_t room = f->levels + 1;
    c->x = malloc(4 * room * sizeof *c->x);
    if (c->x == NULL)
        return SPW_ERR_MEMORY;
    c->ux = c->x + room;
    c->y = c->ux + room;
    c->uy = c->y + room;
    c->n = 0;
    return SPW_OK;
}

static bool two_levels(const columns *c) {
    for (size_t k = 1; k < c->n; k++)
        if (fabs(c->x[k] - c->x[0]) > LEVELS_APART_US)
            return true;
    return false;
}

static spw_status fit_line(spw_verifier *f, const columns *c, spw_error *error) {
    const spw_planned *plan = &f->v->planned;
    if (!two_levels(c) && plan->known)
        return spw_error_set(error, SPW_ERR_EMPTY,
                             "a line needs two levels that no clamp holds: hold the controller at "
                             "two or more levels between %.0f and %.0f us for 2 s each",
                             plan->remap.segment[0].from_us,
                             plan->remap.segment[plan->remap.segments - 1].to_us);
    if (!two_levels(c))
        return spw_error_set(error, SPW_ERR_EMPTY,
                             "a line needs two levels that no clamp holds: move the controller to "
                             "low end, neutral and high end and hold each for 2 s");
    spw_line line;
    double chi2;
    spw_status status = spw_fit_line_xy(c->x, c->ux, c->y, c->uy, c->n, &line, &chi2);
    if (status != SPW_OK)
        return spw_error_set(error, status, "no line fits the pairs: %s", spw_status_text(status));
    spw_verification *v = f->v;
    v->dof = INFINITY; /* the stated uncertainties are known, not estimated */
    double scale = 1;
    /* Scatter that the recordings and the timer do not explain (chance below 5 %) widens
     * the line's uncertainty (York 2004; the Birge ratio) and is known by the levels alone. */
    if (c->n > 2 && gsl_cdf_chisq_Q(chi2, (double)c->n - 2) < 0.05) {
        v->dof = (double)c->n - 2;
        scale = sqrt(chi2 / v->dof);
    }
    v->gain = line.slope;
    v->offset_us = line.intercept;
    v->u_gain = line.u_slope * scale;
    v->u_offset_us = line.u_intercept * scale;
    v->covariance = line.covariance * scale * scale;
    v->correlation = line.correlation;
    return SPW_OK;
}

/* An adapter that is steeper than planned runs into its clamps before the plan's
 * corners: a level there that stays inside what the other levels' line says is held. */
static void held_corners(spw_verifier *f) {
    const spw_verification *v = f->v;
    for (size_t k = 0; k < f->levels; k++) {
        spw_verify_level *l = &f->level[k];
        if (l->corner == 0 || l->clamped)
            continue;
        double r = spw_planned_straightened(&v->planned, l->in_us, l->out_us) - v->offset_us -
                   v->gain * l->in_us;
        double line2 = v->u_offset_us * v->u_offset_us +
                       l->in_us * l->in_us * v->u_gain * v->u_gain + 2 * l->in_us * v->covariance;
        double own = hypot(l->u_out_us, v->gain * l->u_in_us);
        l->clamped = l->corner * r < -2 * sqrt(fmax(0, line2) + own * own);
    }
}

/* First without the levels at the corners, where there are enough others; then with
 * those of them that no clamp holds. */
static spw_status fit_levels(spw_verifier *f, spw_error *error) {
    columns c;
    spw_status status = make_columns(f, &c);
    if (status != SPW_OK)
        return status;
    gather(f, false, &c);
    if (two_levels(&c)) {
        status = fit_line(f, &c, error);
        if (status == SPW_OK)
            held_corners(f);
    }
    if (status == SPW_OK) {
        gather(f, true, &c);
        status = fit_line(f, &c, error);
    }
    free(c.x);
    return status;
}

static void departures(spw_verifier *f) {
    spw_verification *v = f->v;
    double squares = 0, count = 0;
    v->residual_largest_us = 0;
    v->residual_largest_at_us = NAN;
    double worst_moving[ODD_PULSES + 1] = {0}; /* largest first */
    for (size_t k = 0; k < v->pairs; k++) {
        const spw_pair *p = &v->pair[k];
        if (p->clamped || p->side != 0)
            continue;
        double r = spw_planned_straightened(&v->planned, p->in_us, p->out_us) - v->offset_us -
                   v->gain * p->in_us;
        if (p->moving) {
            double off = fabs(r);
            for (size_t i = 0; i <= ODD_PULSES; i++)
                if (off > worst_moving[i]) {
                    double less = worst_moving[i];
                    worst_moving[i] = off;
                    off = less;
                }
            f->moving++;
            continue;
        }
        squares += r * r;
        count += 1;
        if (fabs(r) > fabs(v->residual_largest_us) || isnan(v->residual_largest_at_us)) {
            v->residual_largest_us = r;
            v->residual_largest_at_us = p->in_us;
        }
    }
    v->residual_rms_us = count > 0 ? sqrt(squares / count) : (double)NAN;
    if (!(count > 0))
        v->residual_largest_us = NAN;
    f->noise_us = v->residual_rms_us;
    f->worst_moving_us = f->moving > ODD_PULSES ? worst_moving[ODD_PULSES] : (double)NAN;
}

static double scatter_in_holds(const spw_channel *c) {
    double squares = 0, dof = 0;
    for (size_t h = 0; h < c->holds; h++) {
        const spw_summary *w = &c->hold[h].width_us;
        double own = isfinite(w->floor) ? w->floor : 0;
        if (!(w->n > 1))
            continue;
        squares += fmax(0, w->sd * w->sd - own * own) * ((double)w->n - 1);
        dof += (double)w->n - 1;
    }
    return dof > 0 ? sqrt(squares / dof) : (double)NAN;
}

spw_status spw_verify_fit(spw_verifier *f, spw_error *error) {
    if (!f->v->planned.known) {
        find_plateau(f, false);
        find_plateau(f, true);
        plateaus_seen(f);
        for (size_t k = 0; k < f->v->pairs; k++) {
            spw_pair *p = &f->v->pair[k];
            p->clamped =
                p->out_us <= f->v->clamp_low_us + 0.5 || p->out_us >= f->v->clamp_high_us - 0.5;
        }
    } else {
        clamps_seen(f);
        for (size_t k = 0; k < f->levels; k++)
            if (!f->level[k].clamped)
                f->level[k].u_out_us = hypot(f->level[k].u_out_us, tick_u(f, &f->level[k]));
    }
    spw_status status = fit_levels(f, error);
    if (status != SPW_OK)
        return status;
    departures(f);
    double in = scatter_in_holds(f->before), out = scatter_in_holds(f->after);
    f->v->jitter_gain = in > 0 ? out / in : (double)NAN;
    return SPW_OK;
}
