/* Which pieces of a width series belong to one level. */
#include "pulses/holds/holds.h"

#include <math.h>

spw_moments spw_moments_of(const double *v, size_t from, size_t to) {
    spw_moments m = {0};
    for (size_t i = from; i < to; i++) {
        m.n += 1;
        double d = v[i] - m.mean;
        m.mean += d / m.n;
        m.squares += d * (v[i] - m.mean);
    }
    return m;
}

double spw_successive(const double *v, size_t from, size_t to) {
    double sum = 0;
    for (size_t i = from; i + 1 < to; i++)
        sum += (v[i + 1] - v[i]) * (v[i + 1] - v[i]);
    return to - from > 1 ? 0.5 * sum / (double)(to - from - 1) : 0;
}

spw_sums spw_sums_of(const spw_hold_finder *f, size_t from, size_t to) {
    spw_sums s = {0};
    for (size_t i = from; i < to; i++) {
        s.n += 1;
        double dt = f->lead_s[i] - s.t, dv = f->clean[i] - s.v;
        s.t += dt / s.n;
        s.v += dv / s.n;
        s.tt += dt * (f->lead_s[i] - s.t);
        s.tv += dt * (f->clean[i] - s.v);
        s.vv += dv * (f->clean[i] - s.v);
    }
    return s;
}

/* Chan, Golub, LeVeque 1983. */
spw_sums spw_sums_join(const spw_sums *a, const spw_sums *b) {
    spw_sums s = {.n = a->n + b->n};
    double dt = b->t - a->t, dv = b->v - a->v, part = a->n * b->n / s.n;
    s.t = a->t + dt * b->n / s.n;
    s.v = a->v + dv * b->n / s.n;
    s.tt = a->tt + b->tt + part * dt * dt;
    s.tv = a->tv + b->tv + part * dt * dv;
    s.vv = a->vv + b->vv + part * dv * dv;
    return s;
}

double spw_sums_rest(const spw_sums *s) {
    return s->tt > 0 ? fmax(0, s->vv - s->tv * s->tv / s->tt) : s->vv;
}

static spw_slant slant_of_sums(const spw_hold_finder *f, const spw_sums *sums, double seconds) {
    spw_slant s = {.seconds = seconds, .squares = spw_sums_rest(sums)};
    if (sums->tt > 0) {
        s.slope = sums->tv / sums->tt;
        s.u_slope = fmax(f->noise.mean_sd_us, sqrt(s.squares / sums->n)) / sqrt(sums->tt);
    }
    return s;
}

spw_slant spw_slant_of(const spw_hold_finder *f, size_t from, size_t to) {
    spw_sums sums = spw_sums_of(f, from, to);
    return slant_of_sums(f, &sums, f->lead_s[to - 1] - f->lead_s[from]);
}

/* Correlation of neighbours beyond which a slope cannot be told at all. */
static const double MOST_CORRELATED = 0.98;

spw_slant spw_slant_correlated(const spw_hold_finder *f, size_t from, size_t to) {
    spw_sums sums = spw_sums_of(f, from, to);
    spw_slant line = slant_of_sums(f, &sums, f->lead_s[to - 1] - f->lead_s[from]);
    double squares = 0, products = 0, before = 0;
    for (size_t i = from; i < to; i++) {
        double rest = f->clean[i] - sums.v - line.slope * (f->lead_s[i] - sums.t);
        squares += rest * rest;
        products += rest * before;
        before = rest;
    }
    /* a line taken off lowers the correlation seen by about (2 + 4 r)/n (Kendall 1954) */
    double r = squares > 0 ? products / squares : 0;
    r = fmax(0, fmin(MOST_CORRELATED, r + (2 + 4 * r) / sums.n));
    double own = sqrt(squares / sums.n * (1 + r) / (1 - r) / fmax(sums.tt, 1e-300));
    line.u_slope = fmax(own, line.u_slope); /* the regime's noise is known better */
    line.dof = fmax(1, sums.n * (1 - r) / (1 + r) - 2);
    return line;
}

bool spw_slant_told(const spw_slant *line) {
    static const double SURE = 1 - 6.334e-5; /* within 4 sd of a normal distribution */
    return fabs(line->slope) > spw_coverage_factor(SURE, line->dof) * line->u_slope;
}

/* Frames on either side of a joint at whose phase is looked: a piece that grows by many
 * joints is not gone through anew at each. */
enum { LOOKED_AT = 2048 };
/* Sampling makes no larger difference, in steps. */
static const double REACH_MOST = 1.05;

/* Can sampling alone make two means differ so? A locked phase shows one width as
 * floor or ceil samples; a phase that sweeps averages. */
static double sampling_reach(const spw_hold_finder *f, const spw_piece *a, const spw_piece *b) {
    double step = f->recording.resolution_us;
    if (!(step > 0))
        return 0;
    double period = f->regime->period_us;
    size_t na = a->end - a->first, nb = b->end - b->first;
    na = na < LOOKED_AT ? na : LOOKED_AT;
    nb = nb < LOOKED_AT ? nb : LOOKED_AT;
    size_t from = a->end - na;
    double ua = spw_sampling_u(f->lead_s + from, f->clean + from, na, period, step, 0);
    double ub = spw_sampling_u(f->lead_s + b->first, f->clean + b->first, nb, period, step, 0);
    return fmin(REACH_MOST * step, 3 * sqrt(ua * ua + ub * ub));
}

/* Variance of a piece's mean: of the regime's noise, or of its own where that is
 * more (widths that toggle between two steps there and elsewhere do not). */
static double mean_variance(const spw_hold_finder *f, const spw_sums *m) {
    return fmax(f->noise.mean_sd_us * f->noise.mean_sd_us, m->vv / m->n) / m->n;
}

static bool same_level(const spw_hold_finder *f, const spw_piece *a, const spw_piece *b) {
    const spw_sums *ma = &a->sums, *mb = &b->sums;
    double apart = fabs(ma->v - mb->v);
    double noise = 4 * sqrt(mean_variance(f, ma) + mean_variance(f, mb));
    double sd = sqrt((ma->vv + mb->vv) / (ma->n + mb->n));
    if (fmax(f->noise.sd_us, sd) <= f->recording.resolution_us)
        noise = 0; /* what is left is sampling, which knows better */
    if (apart <= noise)
        return true;
    return apart <= REACH_MOST * f->recording.resolution_us && apart <= sampling_reach(f, a, b);
}

/* Two neighbours that one slowly drifting line explains better than two levels. */
static bool same_drift(const spw_piece *a, const spw_piece *b) {
    spw_sums both = spw_sums_join(&a->sums, &b->sums);
    double slope = both.tt > 0 ? both.tv / both.tt : 0;
    return fabs(slope) <= SPW_DRIFT_US_PER_S && spw_sums_rest(&both) < a->sums.vv + b->sums.vv;
}

void spw_pieces_sum(const spw_hold_finder *f, spw_piece *list, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (!list[i].dead)
            list[i].sums = spw_sums_of(f, list[i].first, list[i].end);
}

static bool join_pass(const spw_hold_finder *f, spw_piece *list, size_t n) {
    bool any = false;
    size_t last = SIZE_MAX;
    for (size_t i = 0; i < n; i++) {
        spw_piece *p = &list[i];
        if (p->dead || p->end - p->first < SPW_HOLD_FRAMES)
            continue;
        spw_piece *before = last == SIZE_MAX ? NULL : &list[last];
        if (before != NULL && p->first - before->end <= SPW_ODD_RUN &&
            (same_level(f, before, p) || same_drift(before, p))) {
            for (size_t k = last + 1; k <= i; k++)
                list[k].dead = true;
            before->end = p->end;
            before->sums = spw_sums_join(&before->sums, &p->sums);
            any = true;
            continue;
        }
        last = i;
    }
    return any;
}

void spw_pieces_join(const spw_hold_finder *f, spw_piece *list, size_t n) {
    for (int pass = 0; pass < 20 && join_pass(f, list, n); pass++)
        ;
}
