/* Holds: stretches of frames in which the commanded width stood still.
 *
 * The widths of a regime, outliers clipped to their neighbours, are cut where
 * their mean shifts (spw_change_points). Pieces that do not differ beyond noise
 * and sampling are joined again; pieces that a straight line explains better are
 * steps of a ramp and no holds. A gap in the frames splits nothing: the series
 * goes by pulses. */
#include "base/array.h"
#include "pulses/noise.h"
#include "pulses/train.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>

/* A hold has at least so many frames and lasts so long (a frame counts whole). */
enum { HOLD_FRAMES = 8 };
static const double HOLD_S = 0.2;
/* Frames of something else in between that do not end a hold: a few odd pulses in a row. */
enum { BRIDGED = 4 };
/* A level that moves slower than this drifts (warm-up, supply); faster is a ramp.
 * One twenty-fifth of 1 us a frame at 50 Hz. */
static const double DRIFT_US_PER_S = 1.0;
/* The flicker of a locked phase (widths of floor or ceil samples in runs) must not
 * be cut into short pieces: with this scale a run needs 2 x 3 ln n x 0.7^2 > 9
 * frames to be worth two cuts. */
static const double FLICKER = 0.7;

/* Widths are differences of instants in double: 10 ps is far above their rounding. */
static const double ROUNDING_US = 1e-5;

typedef struct piece {
    size_t first, end; /* in the series */
    bool dead;
} piece;

typedef struct finder {
    const spw_train *train;
    const spw_edge_report *report;
    spw_channel *channel;
    spw_recording recording;
    const spw_regime *regime;
    spw_picked picked;
    double *width;  /* a value a picked pulse */
    double *clean;  /* the same, clipped to the neighbours' median */
    double *lead_s; /* */
    spw_noise noise;
    size_t room;
} finder;

/* --- cleaning --- */

/* A width this many sd from the median of its neighbours is odd. */
static const double ODD = 8, CLIP = 3;
/* Below that it harms no servo (dead bands start at 1 us). */
static const double ODD_LEAST_US = 0.5;

static void clean(finder *f, size_t n) {
    spw_local_medians(f->width, n, f->clean);
    double clip = CLIP * f->noise.sd_us;
    double odd = fmax(ODD * f->noise.sd_us, ODD_LEAST_US);
    for (size_t i = 0; i < n; i++) {
        double off = f->width[i] - f->clean[i];
        if (fabs(off) > odd)
            f->channel->pulse[f->picked.at[i]].flags |= SPW_PULSE_ODD;
        f->clean[i] += fmax(-clip, fmin(clip, off));
    }
}

/* --- pieces --- */

typedef struct moments {
    double n, mean, squares; /* squares about the mean */
} moments;

static moments moments_of(const double *v, size_t from, size_t to) {
    moments m = {0};
    for (size_t i = from; i < to; i++) {
        m.n += 1;
        double d = v[i] - m.mean;
        m.mean += d / m.n;
        m.squares += d * (v[i] - m.mean);
    }
    return m;
}

/* Half the mean squared successive difference: the variance of white noise,
 * whatever the level does slowly. */
static double successive(const double *v, size_t from, size_t to) {
    double sum = 0;
    for (size_t i = from; i + 1 < to; i++)
        sum += (v[i + 1] - v[i]) * (v[i + 1] - v[i]);
    return to - from > 1 ? 0.5 * sum / (double)(to - from - 1) : 0;
}

/* Straight line through the cleaned widths against time. */
typedef struct slant {
    double slope, u_slope; /* us a second */
    double squares;        /* of the residuals */
    double seconds;
} slant;

static slant slant_of(const finder *f, const double *v, size_t from, size_t to) {
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
    slant s = {.seconds = f->lead_s[to - 1] - f->lead_s[from], .squares = vv};
    if (tt > 0) {
        s.slope = tv / tt;
        s.squares = fmax(0, vv - tv * tv / tt);
        s.u_slope = fmax(f->noise.mean_sd_us, sqrt(s.squares / n)) / sqrt(tt);
    }
    return s;
}

static bool long_enough(const finder *f, const piece *p) {
    double seconds = f->lead_s[p->end - 1] - f->lead_s[p->first] + f->regime->period_us * 1e-6;
    return p->end - p->first >= HOLD_FRAMES && seconds >= HOLD_S * (1 - 1e-6);
}

/* Can sampling alone make two means differ so? A locked phase shows one width as
 * floor or ceil samples; a phase that sweeps averages. */
static double sampling_reach(const finder *f, const piece *a, const piece *b, double sd_us) {
    double step = f->recording.resolution_us;
    if (!(step > 0))
        return 0;
    double period = f->regime->period_us;
    double ua = spw_sampling_u(f->lead_s + a->first, a->end - a->first, period, sd_us, step);
    double ub = spw_sampling_u(f->lead_s + b->first, b->end - b->first, period, sd_us, step);
    return fmin(1.05 * step, 3 * sqrt(ua * ua + ub * ub));
}

/* Variance of a piece's mean: of the regime's noise, or of its own where that is
 * more (widths that toggle between two steps there and elsewhere do not). */
static double mean_variance(const finder *f, const moments *m) {
    return fmax(f->noise.mean_sd_us * f->noise.mean_sd_us, m->squares / m->n) / m->n;
}

static bool same_level(const finder *f, const piece *a, const piece *b) {
    moments ma = moments_of(f->clean, a->first, a->end);
    moments mb = moments_of(f->clean, b->first, b->end);
    double apart = fabs(ma.mean - mb.mean);
    double noise = 4 * sqrt(mean_variance(f, &ma) + mean_variance(f, &mb));
    double sd = sqrt((ma.squares + mb.squares) / (ma.n + mb.n));
    if (fmax(f->noise.sd_us, sd) <= f->recording.resolution_us)
        noise = 0; /* what is left is sampling, which knows better */
    return apart <= noise || apart <= sampling_reach(f, a, b, sd);
}

/* Two neighbours that one slowly drifting line explains better than two levels. */
static bool same_drift(const finder *f, const piece *a, const piece *b) {
    slant line = slant_of(f, f->clean, a->first, b->end);
    if (fabs(line.slope) > DRIFT_US_PER_S)
        return false;
    moments ma = moments_of(f->clean, a->first, a->end);
    moments mb = moments_of(f->clean, b->first, b->end);
    return line.squares < ma.squares + mb.squares;
}

static bool join_pass(finder *f, piece *piece_, size_t n) {
    bool any = false;
    size_t last = SIZE_MAX;
    for (size_t i = 0; i < n; i++) {
        piece *p = &piece_[i];
        if (p->dead || p->end - p->first < HOLD_FRAMES)
            continue;
        piece *before = last == SIZE_MAX ? NULL : &piece_[last];
        if (before != NULL && p->first - before->end <= BRIDGED &&
            (same_level(f, before, p) || same_drift(f, before, p))) {
            for (size_t k = last + 1; k <= i; k++)
                piece_[k].dead = true;
            before->end = p->end;
            any = true;
            continue;
        }
        last = i;
    }
    return any;
}

/* --- toggling --- */

/* A command between two steps of the controller makes widths that toggle between
 * them, at one level and not at another: too quiet within each run for the
 * regime's noise, and cut to bits. */
enum { LOOK_AHEAD = 24 };
/* Largest ratio of variance and successive(): 1 + 3 sd of it in n values (1/sqrt n),
 * and less than the 2 (n - 1)/n of a quiet hold with one frame of a ramp behind it. */
static const double WHITE_SD = 3, WHITE_MOST = 1.7;

typedef struct region {
    moments all;
    double differences, within; /* sums of squares: successive, and within pieces */
} region;

static void region_add(region *r, const finder *f, const piece *p) {
    moments own = moments_of(f->width, p->first, p->end);
    for (size_t i = p->first; i < p->end; i++) {
        if (r->all.n > 0)
            r->differences += pow(f->width[i] - f->width[i - 1], 2);
        r->all.n += 1;
        double d = f->width[i] - r->all.mean;
        r->all.mean += d / r->all.n;
        r->all.squares += d * (f->width[i] - r->all.mean);
    }
    r->within += own.squares;
}

static bool toggles(const region *r) {
    if (r->all.n < HOLD_FRAMES)
        return false;
    double variance = r->all.squares / (r->all.n - 1);
    double white = fmin(WHITE_MOST, 1 + WHITE_SD / sqrt(r->all.n));
    return variance <= white * 0.5 * r->differences / (r->all.n - 1) &&
           r->within * 9 < r->all.squares;
}

static void join_toggling(const finder *f, piece *pieces, size_t n) {
    for (size_t i = 0; i < n; i++) {
        region r = {0};
        size_t best = i;
        for (size_t k = i; k < n && pieces[k].first <= pieces[best].end + LOOK_AHEAD; k++) {
            region_add(&r, f, &pieces[k]);
            if (k > i && toggles(&r))
                best = k;
        }
        for (size_t k = i + 1; k <= best; k++)
            pieces[k].dead = true;
        pieces[i].end = pieces[best].end;
        for (size_t k = pieces[i].first; best > i && k < pieces[i].end; k++)
            f->clean[k] = f->width[k]; /* what toggles is no outlier */
        i = best;
    }
}

/* --- ramps --- */

/* Longer pieces leave the change points no doubt. */
enum { SHORT = 60 };

/* Two levels in a short piece, below the change points' penalty. A single test
 * at a true hold reaches 8 + 2 ln n sd^2 less than once in 100. */
static bool steps_within(const finder *f, const piece *p) {
    moments all = moments_of(f->clean, p->first, p->end);
    double sum = 0, best = 0, step = 0;
    for (size_t i = p->first; i + 1 < p->end; i++) {
        sum += f->clean[i] - all.mean;
        double k = (double)(i + 1 - p->first);
        double gain = sum * sum * all.n / (k * (all.n - k));
        if (gain > best)
            step = fabs(sum) * all.n / (k * (all.n - k));
        best = fmax(best, gain);
    }
    double sd = f->noise.mean_sd_us;
    double own = sqrt(successive(f->width, p->first, p->end));
    if (own > 2 * sd) /* it toggles, and elsewhere they do not */
        sd = own;
    return all.n < SHORT && step > 1.05 * f->recording.resolution_us &&
           best > (8 + 2 * log(all.n)) * sd * sd;
}

static const piece *neighbour(const piece *pieces, size_t n, size_t at, bool after) {
    for (size_t i = at; after ? i + 1 < n : i > 0;) {
        i = after ? i + 1 : i - 1;
        if (!pieces[i].dead)
            return &pieces[i];
    }
    return NULL;
}

/* A slow ramp in steps that the noise nearly hides: the pieces on both sides are no
 * single frames and go on in one direction by little. Pieces may then be two steps
 * in one, or have their ends off by a frame, so that 0.18 s looks like 0.2. */
static const double LITTLE = 15, STAIR_S = 0.3;

static bool on_a_stair(const finder *f, const piece *pieces, size_t n, size_t at) {
    const piece *p = &pieces[at];
    const piece *side[] = {neighbour(pieces, n, at, false), neighbour(pieces, n, at, true)};
    double here = moments_of(f->clean, p->first, p->end).mean, step[2];
    double length = (double)(p->end - p->first), longest = length;
    for (int i = 0; i < 2; i++) {
        if (side[i] == NULL)
            return false;
        double other = (double)(side[i]->end - side[i]->first);
        step[i] = moments_of(f->clean, side[i]->first, side[i]->end).mean - here;
        if (other < 3 || 3 * other < length || fabs(step[i]) > LITTLE * f->noise.mean_sd_us)
            return false;
        longest = fmax(longest, other);
    }
    if ((step[0] < 0) == (step[1] < 0))
        return false;
    return longest * f->regime->period_us < STAIR_S * 1e6 || steps_within(f, p);
}

/* Over the piece and as many frames on either side: does one line explain the
 * widths better than the levels of the pieces do? */
static bool on_a_ramp(const finder *f, const piece *pieces, size_t n, size_t at) {
    const piece *p = &pieces[at];
    slant own = slant_of(f, f->clean, p->first, p->end);
    if (fabs(own.slope) > DRIFT_US_PER_S && fabs(own.slope) > 3.5 * own.u_slope &&
        fabs(own.slope) * own.seconds > 2 * f->recording.resolution_us)
        return true;
    if (on_a_stair(f, pieces, n, at))
        return true;
    size_t length = p->end - p->first;
    size_t from = p->first > length ? p->first - length : 0;
    size_t to = f->picked.n - p->end > length ? p->end + length : f->picked.n;
    if (from == p->first && to == p->end)
        return false;
    double levels = 0;
    for (size_t i = 0; i < n; i++) {
        if (pieces[i].dead || pieces[i].end <= from || pieces[i].first >= to)
            continue;
        size_t a = pieces[i].first > from ? pieces[i].first : from;
        size_t b = pieces[i].end < to ? pieces[i].end : to;
        levels += moments_of(f->clean, a, b).squares;
    }
    slant line = slant_of(f, f->clean, from, to);
    return fabs(line.slope) > DRIFT_US_PER_S && line.squares < levels;
}

/* --- holds --- */

/* A hold's level and own scatter where that is more than the regime's, from its
 * inner frames: two at each end may be those of a ramp. The 90 % quantile of the
 * deviations (1.645 sd) is not moved by a few odd widths. */
static spw_status own_scatter(const finder *f, const piece *p, double *mean, double *sd) {
    enum { ENDS = 2 };
    size_t first = p->first + ENDS, n = p->end - p->first - 2 * (size_t)ENDS;
    double *off = malloc(n * sizeof *off);
    if (off == NULL)
        return SPW_ERR_MEMORY;
    *mean = moments_of(f->clean, first, first + n).mean;
    for (size_t i = 0; i < n; i++)
        off[i] = fabs(f->width[first + i] - *mean);
    gsl_sort(off, 1, n);
    *sd = fmax(f->noise.sd_us, spw_quantile_sorted(off, n, 0.9) / 1.645);
    free(off);
    return SPW_OK;
}

/* Frames at the ends that the hold's own scatter does not explain are the
 * beginning of a ramp; widths that it does explain are not odd. */
static spw_status trim(const finder *f, piece *p) {
    double sd = 0, mean = 0;
    spw_status status = own_scatter(f, p, &mean, &sd);
    if (status != SPW_OK)
        return status;
    while (p->end - p->first > HOLD_FRAMES && fabs(f->width[p->first] - mean) > CLIP * sd)
        p->first++;
    while (p->end - p->first > HOLD_FRAMES && fabs(f->width[p->end - 1] - mean) > CLIP * sd)
        p->end--;
    for (size_t i = p->first; i < p->end; i++)
        if (fabs(f->width[i] - mean) <= ODD * sd)
            f->channel->pulse[f->picked.at[i]].flags &= ~SPW_PULSE_ODD;
    return SPW_OK;
}

static spw_status add_hold(finder *f, piece p) {
    spw_status status = trim(f, &p);
    if (status != SPW_OK || !long_enough(f, &p))
        return status;
    spw_channel *c = f->channel;
    status = spw_array_room((void **)&c->hold, &f->room, c->holds, 1, sizeof *c->hold);
    if (status != SPW_OK)
        return status;
    const uint32_t *at = f->picked.at + p.first;
    size_t n = p.end - p.first;
    spw_hold h = {.start_s = c->pulse[at[0]].lead_s,
                  .end_s = c->pulse[at[n - 1]].trail_s,
                  .first_pulse = at[0],
                  .end_pulse = (size_t)at[n - 1] + 1,
                  .pulses = n};
    status =
        spw_width_summary(&f->recording, c, at, n, f->regime->period_us, &h.width_us, &h.budget);
    if (status != SPW_OK)
        return status;
    slant line = slant_of(f, f->clean, p.first, p.end);
    bool told = fabs(line.slope) > 4 * line.u_slope &&
                fabs(line.slope) * line.seconds > f->recording.resolution_us;
    h.drift_us_per_s = told ? line.slope : (double)NAN;
    c->hold[c->holds++] = h;
    return SPW_OK;
}

static spw_status pieces_to_holds(finder *f, piece *pieces, size_t n) {
    join_toggling(f, pieces, n);
    for (int pass = 0; pass < 20 && join_pass(f, pieces, n); pass++)
        ;
    for (size_t i = 0; i < n; i++) {
        if (pieces[i].dead || !long_enough(f, &pieces[i]) || on_a_ramp(f, pieces, n, i))
            continue;
        spw_status status = add_hold(f, pieces[i]);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

/* Pieces by change points; *pieces is the caller's to free. */
static spw_status cut_up(const finder *f, piece **pieces, size_t *n) {
    double step = FLICKER * f->recording.resolution_us;
    double scale = fmax(f->noise.mean_sd_us, step);
    double penalty = 3 * log((double)f->picked.n);
    size_t *ends = NULL;
    spw_status status = spw_change_points(f->clean, f->picked.n, scale, penalty, 1, &ends, n);
    if (status != SPW_OK)
        return status;
    *pieces = malloc(*n * sizeof **pieces);
    for (size_t i = 0; *pieces != NULL && i < *n; i++)
        (*pieces)[i] = (piece){i > 0 ? ends[i - 1] : 0, ends[i], false};
    free(ends);
    return *pieces != NULL ? SPW_OK : SPW_ERR_MEMORY;
}

/* Pieces at least so long, and so many frames in them, tell the noise better
 * than differences over the whole regime do: a staircase looks like correlation. */
enum { TELLING = 30, TELLING_ALL = 60 };

/* Variance over half the mean squared successive difference (von Neumann 1941): 1
 * for white noise, 1/(1 - phi) for first-order noise; more means that it moves. */
static const double STILL = 3;

static void learn_noise(finder *f, const piece *pieces, size_t n, double floor_us) {
    double squares = 0, products = 0, dof = 0, all = 0;
    for (size_t i = 0; i < n; i++) {
        size_t length = pieces[i].end - pieces[i].first;
        if (length < TELLING)
            continue;
        moments m = moments_of(f->clean, pieces[i].first, pieces[i].end);
        if (m.squares > STILL * m.n * successive(f->clean, pieces[i].first, pieces[i].end))
            continue;
        for (size_t k = pieces[i].first; k + 1 < pieces[i].end; k++)
            products += (f->clean[k] - m.mean) * (f->clean[k + 1] - m.mean);
        squares += m.squares;
        dof += m.n - 1;
        all += m.n;
    }
    if (all < TELLING_ALL)
        return;
    /* a mean taken off each piece lowers the estimate by about (1 + 3 phi)/n */
    double phi = squares > 0 ? products / squares + 1.5 / TELLING : 0;
    f->noise = spw_noise_of(fmax(floor_us, sqrt(squares / dof)), phi, all);
}

static spw_status find_holds(finder *f, double floor_us) {
    piece *pieces = NULL;
    size_t n = 0;
    spw_status status = spw_noise_estimate(f->width, f->picked.n, floor_us, &f->noise);
    if (status != SPW_OK)
        return status;
    clean(f, f->picked.n);
    if ((status = cut_up(f, &pieces, &n)) != SPW_OK)
        return status;
    learn_noise(f, pieces, n, floor_us);
    free(pieces);
    clean(f, f->picked.n);
    if ((status = cut_up(f, &pieces, &n)) != SPW_OK)
        return status;
    status = pieces_to_holds(f, pieces, n);
    free(pieces);
    return status;
}

static spw_status in_regime(finder *f) {
    size_t n = f->picked.n;
    if (n < HOLD_FRAMES)
        return SPW_OK;
    f->width = malloc(n * sizeof *f->width);
    f->clean = malloc(n * sizeof *f->clean);
    f->lead_s = malloc(n * sizeof *f->lead_s);
    if (f->width == NULL || f->clean == NULL || f->lead_s == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i < n; i++) {
        const spw_pulse *p = &f->channel->pulse[f->picked.at[i]];
        f->width[i] = spw_pulse_width_us(p);
        f->lead_s[i] = p->lead_s;
    }
    double floor_us = spw_width_floor(&f->recording, f->channel, f->picked.at, n);
    return find_holds(f, fmax(floor_us, ROUNDING_US));
}

spw_status spw_holds_find(const spw_train *train, const spw_edge_report *report,
                          spw_channel *channel) {
    finder f = {.train = train,
                .report = report,
                .channel = channel,
                .recording = spw_recording_of(train, report)};
    spw_status status = SPW_OK;
    for (size_t r = 0; r < channel->regimes && status == SPW_OK; r++) {
        f.regime = &channel->regime[r];
        status = spw_pick(channel, f.regime->first_pulse, f.regime->end_pulse, &f.picked);
        if (status == SPW_OK)
            status = in_regime(&f);
        free(f.picked.at);
        free(f.width);
        free(f.clean);
        free(f.lead_s);
        f.width = f.clean = f.lead_s = NULL;
        f.picked = (spw_picked){0};
    }
    return status;
}
