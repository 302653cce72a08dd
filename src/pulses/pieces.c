/* Which pieces of a width series belong to one level. */
#include "pulses/holds.h"

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

spw_slant spw_slant_of(const spw_hold_finder *f, size_t from, size_t to) {
    const double *v = f->clean;
    double n = 0, mt = 0, mv = 0, tt = 0, tv = 0, vv = 0;
    for (size_t i = from; i < to; i++) {
        double t = f->lead_s[i] - f->lead_s[from];
        n += 1;
        double dt = t - mt, dv = v[i] - mv;
        mt += dt / n;
        mv += dv / n;
        tt += dt * (t - mt);
        tv += dt * (v[i] - mv);
        vv += dv * (v[i] - mv);
    }
    spw_slant s = {.seconds = f->lead_s[to - 1] - f->lead_s[from], .squares = vv};
    if (tt > 0) {
        s.slope = tv / tt;
        s.squares = fmax(0, vv - tv * tv / tt);
        s.u_slope = fmax(f->noise.mean_sd_us, sqrt(s.squares / n)) / sqrt(tt);
    }
    return s;
}

/* Can sampling alone make two means differ so? A locked phase shows one width as
 * floor or ceil samples; a phase that sweeps averages. */
static double sampling_reach(const spw_hold_finder *f, const spw_piece *a, const spw_piece *b) {
    double step = f->recording.resolution_us;
    if (!(step > 0))
        return 0;
    double period = f->regime->period_us;
    double ua = spw_sampling_u(f->lead_s + a->first, f->clean + a->first, a->end - a->first, period,
                               step, 0);
    double ub = spw_sampling_u(f->lead_s + b->first, f->clean + b->first, b->end - b->first, period,
                               step, 0);
    return fmin(1.05 * step, 3 * sqrt(ua * ua + ub * ub));
}

/* Variance of a piece's mean: of the regime's noise, or of its own where that is
 * more (widths that toggle between two steps there and elsewhere do not). */
static double mean_variance(const spw_hold_finder *f, const spw_moments *m) {
    return fmax(f->noise.mean_sd_us * f->noise.mean_sd_us, m->squares / m->n) / m->n;
}

static bool same_level(const spw_hold_finder *f, const spw_piece *a, const spw_piece *b) {
    spw_moments ma = spw_moments_of(f->clean, a->first, a->end);
    spw_moments mb = spw_moments_of(f->clean, b->first, b->end);
    double apart = fabs(ma.mean - mb.mean);
    double noise = 4 * sqrt(mean_variance(f, &ma) + mean_variance(f, &mb));
    double sd = sqrt((ma.squares + mb.squares) / (ma.n + mb.n));
    if (fmax(f->noise.sd_us, sd) <= f->recording.resolution_us)
        noise = 0; /* what is left is sampling, which knows better */
    return apart <= noise || apart <= sampling_reach(f, a, b);
}

/* Two neighbours that one slowly drifting line explains better than two levels. */
static bool same_drift(const spw_hold_finder *f, const spw_piece *a, const spw_piece *b) {
    spw_slant line = spw_slant_of(f, a->first, b->end);
    if (fabs(line.slope) > SPW_DRIFT_US_PER_S)
        return false;
    spw_moments ma = spw_moments_of(f->clean, a->first, a->end);
    spw_moments mb = spw_moments_of(f->clean, b->first, b->end);
    return line.squares < ma.squares + mb.squares;
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
            (same_level(f, before, p) || same_drift(f, before, p))) {
            for (size_t k = last + 1; k <= i; k++)
                list[k].dead = true;
            before->end = p->end;
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
