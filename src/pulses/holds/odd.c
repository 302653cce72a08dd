/* Odd pulses: one to five frames in a row far from the level about them.
 *
 * They are sent by mistake (another task, a glitch of a sum stream), not meant as a
 * level, so they stay out of levels, jitter and verdicts and are told one by one.
 * Within a hold they are a population of their own, set apart from the jitter: the
 * tail of heavy jitter is not, nor are the values of a controller that toggles
 * between two of its steps. */
#include "pulses/holds/holds.h"
#include "stats/order.h"

#include <math.h>
#include <stdlib.h>

/* Part of a hold's frames that odd ones may be; more are how the controller works. */
static const double SHARE = 0.2, SHARE_SHORT = 1.0 / 3;

/* A controller that toggles between steps does so oftener than one frame in 25. */
static const double SELDOM = 0.04;
enum { RECURS = 3 };

bool spw_is_odd(const spw_hold_finder *f, size_t i) {
    return (f->channel->pulse[f->picked.at[i]].flags & SPW_PULSE_ODD) != 0;
}

static void mark(const spw_hold_finder *f, size_t i, bool odd) {
    uint32_t *flags = &f->channel->pulse[f->picked.at[i]].flags;
    *flags = odd ? *flags | SPW_PULSE_ODD : *flags & ~SPW_PULSE_ODD;
}

void spw_odd_runs(const spw_hold_finder *f, size_t n) {
    for (size_t i = 0; i < n;) {
        size_t first = i;
        while (i < n && spw_is_odd(f, i))
            i++;
        for (size_t k = first; i - first > SPW_ODD_RUN && k < i; k++)
            mark(f, k, false);
        i += i == first;
    }
}

spw_status spw_odd_screen(const spw_hold_finder *f, size_t n, double floor_us) {
    double *off = malloc(n * sizeof *off);
    if (off == NULL)
        return SPW_ERR_MEMORY;
    spw_local_medians(f->width, n, SPW_ODD_ABOUT, f->clean);
    for (size_t i = 0; i < n; i++)
        off[i] = fabs(f->width[i] - f->clean[i]);
    double sd = fmax(floor_us, spw_quantile(off, n, 0.5) / 0.6745);
    free(off);
    double far = fmax(SPW_ODD_SD * sd, SPW_ODD_LEAST_US);
    size_t any = 0, beyond = 0;
    for (size_t i = 0; i < n; i++) {
        any += fabs(f->width[i] - f->clean[i]) > far;
        beyond += fabs(f->width[i] - f->clean[i]) > fmax(far, SPW_ODD_NEAR_US);
    }
    if ((double)any > SELDOM * (double)n)
        far = (double)beyond > SHARE * (double)n ? (double)INFINITY : fmax(far, SPW_ODD_NEAR_US);
    for (size_t i = 0; i < n; i++)
        if (!(fabs(f->width[i] - f->clean[i]) > far))
            f->clean[i] = f->width[i];
    return SPW_OK;
}

/* --- within a hold --- */

/* The values of `piece` about `level`: sizes of the deviations, upwards, of those from
 * `least` on; *n of them. The caller frees. */
static double *far_ones(const spw_hold_finder *f, const spw_piece *piece, double level,
                        double least, size_t *n) {
    size_t count = 0;
    for (size_t i = piece->first; i < piece->end; i++)
        count += fabs(f->width[i] - level) >= least;
    double *off = malloc((count + 1) * sizeof *off);
    *n = 0;
    for (size_t i = piece->first; off != NULL && i < piece->end; i++)
        if (fabs(f->width[i] - level) >= least)
            off[(*n)++] = fabs(f->width[i] - level);
    return off;
}

/* Where a population of its own begins: the least distance from `far` on that has at
 * most half as many values between half of it and itself as from it on. A tail of jitter
 * has many times more (a power law of third order 7 times). INFINITY when there is none. */
static double beginning(const double *off, size_t n, double far) {
    size_t half = 0;
    for (size_t i = 0; i < n; i++) {
        while (half < i && off[half] < off[i] / 2)
            half++;
        if (off[i] > far && 2 * (i - half) <= n - i)
            return off[i];
    }
    return (double)INFINITY;
}

static bool usual_of_a_controller(const spw_hold_finder *f, const spw_piece *piece, double level,
                                  double from, double *usual_us) {
    size_t odd = 0, runs = 0, length = piece->end - piece->first;
    double farthest = 0;
    bool before = false;
    for (size_t i = piece->first; i < piece->end; i++) {
        double off = fabs(f->width[i] - level);
        bool now = off >= from;
        odd += now;
        runs += now && !before;
        farthest = now ? fmax(farthest, off) : farthest;
        before = now;
    }
    double most = fmax(SHARE * (double)length, fmin(SPW_ODD_RUN, SHARE_SHORT * (double)length));
    bool often = runs >= RECURS && (double)runs > SELDOM * (double)length;
    bool usual = (double)odd > most || (farthest <= SPW_ODD_NEAR_US && often);
    *usual_us = usual ? farthest : 0;
    return usual;
}

spw_status spw_odd_begins(const spw_hold_finder *f, const spw_piece *piece, double level,
                          double sd_us, double *from_us, double *usual_us) {
    double far = fmax(SPW_ODD_SD * sd_us, SPW_ODD_LEAST_US);
    size_t n = 0;
    double *off = far_ones(f, piece, level, far / 2, &n);
    if (off == NULL)
        return SPW_ERR_MEMORY;
    spw_sort(off, n);
    double from = beginning(off, n, far);
    free(off);
    *usual_us = 0;
    if (isfinite(from) && usual_of_a_controller(f, piece, level, from, usual_us))
        from = INFINITY;
    *from_us = from;
    return SPW_OK;
}

void spw_odd_mark(const spw_hold_finder *f, const spw_piece *piece, double level, double from_us) {
    for (size_t i = piece->first; i < piece->end; i++)
        mark(f, i, fabs(f->width[i] - level) >= from_us);
}

/* --- of a channel --- */

/* A walk over the pulses that knows the level about each. */
typedef struct walk {
    const spw_channel *channel;
    size_t hold;
    double before_us; /* the last ordinary width, NAN */
} walk;

/* No farther than this is the next ordinary pulse looked for. */
enum { AHEAD = 3 * SPW_ODD_RUN };

/* The level that pulse i stands in for: its hold's, else the middle between the nearest
 * ordinary pulses before and after it. */
static double level_about(walk *w, size_t i) {
    const spw_channel *c = w->channel;
    while (w->hold < c->holds && c->hold[w->hold].end_pulse <= i)
        w->hold++;
    if (w->hold < c->holds && c->hold[w->hold].first_pulse <= i)
        return c->hold[w->hold].width_us.mean;
    double after_us = NAN;
    for (size_t k = i + 1; k < c->pulses && k <= i + AHEAD && isnan(after_us); k++)
        if ((c->pulse[k].flags & SPW_PULSE_NO_WIDTH) == 0)
            after_us = spw_pulse_width_us(&c->pulse[k]);
    if (isnan(after_us) || isnan(w->before_us))
        return isnan(after_us) ? w->before_us : after_us;
    return (w->before_us + after_us) / 2;
}

/* Spacing of the runs; even when none is off by more than a tenth of the mean. */
typedef struct spacing {
    double least_s, most_s;
} spacing;

static const double EVEN = 0.1;
enum { TELLING_RUNS = 3 };

static void add_run(spw_odd *odd, spacing *gaps, double at_s) {
    if (odd->runs++ == 0) {
        odd->first_s = at_s;
    } else {
        gaps->least_s = fmin(gaps->least_s, at_s - odd->last_s);
        gaps->most_s = fmax(gaps->most_s, at_s - odd->last_s);
    }
    odd->last_s = at_s;
}

static void jitter_with(const spw_channel *c, spw_odd *odd) {
    double without = 0, with = 0, dof = 0, dof_with = 0;
    for (size_t h = 0; h < c->holds; h++) {
        const spw_hold *hold = &c->hold[h];
        if (hold->pulses < 2 || !isfinite(hold->width_us.sd) || !isfinite(hold->sd_with_odd_us))
            continue;
        double n = (double)hold->pulses - 1, all = n + (double)hold->odd_pulses;
        without += n * hold->width_us.sd * hold->width_us.sd;
        with += all * hold->sd_with_odd_us * hold->sd_with_odd_us;
        dof += n;
        dof_with += all;
    }
    odd->sd_us = dof > 0 ? sqrt(without / dof) : (double)NAN;
    odd->sd_with_us = dof_with > 0 ? sqrt(with / dof_with) : (double)NAN;
}

spw_odd spw_odd_none(void) {
    return (spw_odd){.first_s = NAN,
                     .last_s = NAN,
                     .every_s = NAN,
                     .least_us = NAN,
                     .most_us = NAN,
                     .width_us = NAN,
                     .instead_of_us = NAN,
                     .sd_us = NAN,
                     .sd_with_us = NAN};
}

void spw_odd_describe(spw_channel *channel) {
    spw_odd odd = spw_odd_none();
    spacing gaps = {INFINITY, 0};
    walk w = {channel, 0, NAN};
    size_t run = 0;
    for (size_t i = 0; i < channel->pulses; i++) {
        const spw_pulse *p = &channel->pulse[i];
        double us = spw_pulse_width_us(p);
        if ((p->flags & SPW_PULSE_NO_WIDTH) != SPW_PULSE_ODD) {
            w.before_us = (p->flags & SPW_PULSE_NO_WIDTH) == 0 ? us : w.before_us;
            run = 0;
            continue;
        }
        if (run++ == 0)
            add_run(&odd, &gaps, p->lead_s);
        odd.pulses++;
        odd.least_us = fmin(odd.least_us, us);
        odd.most_us = fmax(odd.most_us, us);
        odd.longest_run = run > odd.longest_run ? run : odd.longest_run;
        double level = level_about(&w, i);
        if (!(fabs(us - level) <= fabs(odd.width_us - odd.instead_of_us))) {
            odd.width_us = us;
            odd.instead_of_us = level;
        }
    }
    if (odd.runs >= TELLING_RUNS) {
        odd.every_s = (odd.last_s - odd.first_s) / ((double)odd.runs - 1);
        odd.even =
            gaps.most_s <= (1 + EVEN) * odd.every_s && gaps.least_s >= (1 - EVEN) * odd.every_s;
    }
    jitter_with(channel, &odd);
    channel->odd = odd;
}
