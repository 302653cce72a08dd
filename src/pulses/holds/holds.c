/* Holds: stretches of frames in which the commanded width stood still.
 *
 * The widths of a regime, outliers clipped to their neighbours, are cut where
 * their mean shifts (spw_change_points). Pieces that do not differ beyond noise
 * and sampling are joined again; pieces that a straight line explains better are
 * steps of a ramp and no holds. A gap in the frames splits nothing: the series
 * goes by pulses. */
#include "pulses/holds/holds.h"
#include "base/array.h"
#include "stats/order.h"

#include <math.h>
#include <stdlib.h>

/* Widths are differences of instants in double: 10 ps is far above their rounding. */
static const double ROUNDING_US = 1e-5;

/* Widths farther from the median about them are clipped, in sd. */
static const double CLIP = 3;

/* Three equal steps lead to width i or away from it: the end or the turn of a ramp,
 * which the median of its neighbours misses. */
static bool continues_a_ramp(const spw_hold_finder *f, size_t n, size_t i) {
    double grid = f->recording.resolution_us > 0 ? f->recording.resolution_us : 0;
    double tolerance = fmax(CLIP * sqrt(6) * f->noise.sd_us, SPW_ODD_LEAST_US) + grid;
    const double *w = f->width + i;
    for (ptrdiff_t way = -1; way <= 1; way += 2) {
        if (way < 0 ? i < 3 : i + 3 >= n)
            continue;
        double step = w[way] - w[0], next = w[2 * way] - w[way], third = w[3 * way] - w[2 * way];
        if (fabs(step) > tolerance && fabs(next - step) <= tolerance &&
            fabs(third - next) <= tolerance)
            return true;
    }
    return false;
}

static void clean(spw_hold_finder *f, size_t n) {
    spw_local_medians(f->width, n, SPW_ODD_ABOUT, f->clean);
    double clip = CLIP * f->noise.sd_us;
    double odd = fmax(SPW_ODD_SD * f->noise.sd_us, SPW_ODD_LEAST_US);
    for (size_t i = 0; i < n; i++) {
        double off = f->width[i] - f->clean[i];
        uint32_t *flags = &f->channel->pulse[f->picked.at[i]].flags;
        bool is_odd = fabs(off) > odd && !continues_a_ramp(f, n, i);
        *flags = is_odd ? *flags | SPW_PULSE_ODD : *flags & ~SPW_PULSE_ODD;
        f->clean[i] += fmax(-clip, fmin(clip, off));
    }
    spw_odd_runs(f, n);
}

static bool long_enough(const spw_hold_finder *f, const spw_piece *p) {
    double seconds = f->lead_s[p->end - 1] - f->lead_s[p->first] + f->regime->period_us * 1e-6;
    return p->end - p->first >= SPW_HOLD_FRAMES && seconds >= SPW_HOLD_S * (1 - 1e-6);
}

/* A hold's level and own scatter where that is more than the regime's, from its
 * inner frames: two at each end may be those of a ramp. Two in three lie within an sd, so
 * one odd width in five moves nothing; without the far ones 90 % within 1.645 sd. */
static spw_status own_scatter(const spw_hold_finder *f, const spw_piece *p, double *mean,
                              double *sd) {
    enum { ENDS = 2 };
    size_t first = p->first + ENDS, n = p->end - p->first - 2 * (size_t)ENDS, kept = 0;
    double *off = malloc(n * sizeof *off);
    if (off == NULL)
        return SPW_ERR_MEMORY;
    *mean = spw_moments_of(f->clean, first, first + n).mean;
    for (size_t i = 0; i < n; i++)
        off[i] = fabs(f->width[first + i] - *mean);
    *sd = fmax(f->noise.sd_us, spw_quantile(off, n, 0.683));
    for (size_t i = 0; i < n; i++)
        if (off[i] <= SPW_ODD_SD * *sd)
            off[kept++] = off[i];
    *sd = fmax(*sd, spw_quantile(off, kept, 0.9) / 1.645);
    free(off);
    return SPW_OK;
}

/* About an odd width near a jump the median is that of neither side: what was taken
 * for odd there, and is not by the hold's level, belongs to the hold. Nothing ordinary
 * of another piece is passed: outside `gap` only odd ones are. */
static void reach_out(const spw_hold_finder *f, spw_piece *p, const spw_piece *gap, double mean,
                      double far) {
    for (size_t i = p->end; i < f->picked.n && i < p->end + SPW_ODD_RUN; i++) {
        if (spw_is_odd(f, i) && fabs(f->width[i] - mean) <= far)
            p->end = i + 1;
        else if (!spw_is_odd(f, i) && i >= gap->end)
            break;
    }
    for (size_t i = p->first; i > f->taken && i + SPW_ODD_RUN > p->first; i--) {
        if (spw_is_odd(f, i - 1) && fabs(f->width[i - 1] - mean) <= far)
            p->first = i - 1;
        else if (!spw_is_odd(f, i - 1) && i <= gap->first)
            break;
    }
}

/* Frames at the ends that the hold's own scatter does not explain are the
 * beginning of a ramp. */
static spw_status trim(const spw_hold_finder *f, spw_piece *p, const spw_piece *gap) {
    double sd = 0, mean = 0;
    spw_status status = own_scatter(f, p, &mean, &sd);
    if (status != SPW_OK)
        return status;
    double from = 0, usual = 0;
    status = spw_odd_begins(f, p, mean, sd, &from, &usual);
    if (status != SPW_OK)
        return status;
    double far = fmax(CLIP * sd, usual);
    while (p->end - p->first > SPW_HOLD_FRAMES && fabs(f->width[p->first] - mean) > far)
        p->first++;
    while (p->end - p->first > SPW_HOLD_FRAMES && fabs(f->width[p->end - 1] - mean) > far)
        p->end--;
    reach_out(f, p, gap, mean, far);
    spw_odd_mark(f, p, mean, from);
    return SPW_OK;
}

/* The hold's figures, from its ordinary pulses. */
static spw_status fill_hold(const spw_hold_finder *f, const spw_piece *p, spw_hold *h) {
    const spw_channel *c = f->channel;
    size_t n = p->end - p->first;
    const uint32_t *at = f->picked.at + p->first;
    uint32_t *plain = malloc(n * sizeof *plain);
    if (plain == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i < n; i++)
        if ((c->pulse[at[i]].flags & SPW_PULSE_ODD) == 0)
            plain[h->pulses++] = at[i];
    h->odd_pulses = n - h->pulses;
    spw_moments all = spw_moments_of(f->width, p->first, p->end);
    h->sd_with_odd_us = n > 1 ? sqrt(all.squares / (all.n - 1)) : (double)NAN;
    spw_status status = spw_width_summary(&f->recording, c, plain, h->pulses, f->regime->period_us,
                                          &h->width_us, &h->budget);
    free(plain);
    return status;
}

/* What lies between the long pieces before and after piece `at`. */
static spw_piece gap_about(const spw_hold_finder *f, const spw_piece *pieces, size_t n, size_t at) {
    spw_piece gap = {.end = f->picked.n};
    for (size_t i = at; i > 0 && gap.first == 0; i--)
        if (!pieces[i - 1].dead && pieces[i - 1].end - pieces[i - 1].first >= SPW_HOLD_FRAMES)
            gap.first = pieces[i - 1].end;
    for (size_t i = at + 1; i < n && gap.end == f->picked.n; i++)
        if (!pieces[i].dead && pieces[i].end - pieces[i].first >= SPW_HOLD_FRAMES)
            gap.end = pieces[i].first;
    return gap;
}

static spw_status add_hold(spw_hold_finder *f, spw_piece p, spw_piece gap) {
    p.first = p.first > f->taken ? p.first : f->taken;
    if (p.end < p.first + SPW_HOLD_FRAMES)
        return SPW_OK;
    spw_status status = trim(f, &p, &gap);
    if (status != SPW_OK || !long_enough(f, &p))
        return status;
    spw_channel *c = f->channel;
    status = spw_array_room((void **)&c->hold, &f->room, c->holds, 1, sizeof *c->hold);
    if (status != SPW_OK)
        return status;
    size_t last = f->picked.at[p.end - 1];
    spw_hold h = {.start_s = f->lead_s[p.first],
                  .end_s = c->pulse[last].trail_s,
                  .first_pulse = f->picked.at[p.first],
                  .end_pulse = last + 1};
    status = fill_hold(f, &p, &h);
    if (status != SPW_OK)
        return status;
    spw_slant line = spw_slant_correlated(f, p.first, p.end);
    bool told =
        spw_slant_told(&line) && fabs(line.slope) * line.seconds > f->recording.resolution_us;
    h.drift_us_per_s = told ? line.slope : (double)NAN;
    c->hold[c->holds++] = h;
    f->taken = p.end;
    return SPW_OK;
}

static spw_status pieces_to_holds(spw_hold_finder *f, spw_piece *pieces, size_t n) {
    spw_pieces_join_toggling(f, pieces, n);
    spw_pieces_sum(f, pieces, n);
    spw_pieces_join(f, pieces, n);
    spw_status status = spw_moves_mark(f, pieces, n);
    if (status != SPW_OK)
        return status;
    spw_pieces_join_wandering(f, pieces, n);
    status = spw_moves_add(f, pieces, n);
    for (size_t i = 0; i < n && status == SPW_OK; i++) {
        if (pieces[i].dead || pieces[i].move > 0 || !long_enough(f, &pieces[i]) ||
            (!pieces[i].wanders && spw_on_a_ramp(f, pieces, n, i)))
            continue;
        status = add_hold(f, pieces[i], gap_about(f, pieces, n, i));
    }
    return status;
}

/* Pieces by change points; *pieces is the caller's to free. */
static spw_status cut_up(const spw_hold_finder *f, spw_piece **pieces, size_t *n) {
    double step = SPW_FLICKER * f->recording.resolution_us;
    double scale = fmax(f->noise.mean_sd_us, step);
    double penalty = 3 * log((double)f->picked.n);
    size_t *ends = NULL;
    spw_status status = spw_change_points(f->clean, f->picked.n, scale, penalty, 1, &ends, n);
    if (status != SPW_OK)
        return status;
    *pieces = malloc(*n * sizeof **pieces);
    for (size_t i = 0; *pieces != NULL && i < *n; i++)
        (*pieces)[i] = (spw_piece){.first = i > 0 ? ends[i - 1] : 0, .end = ends[i]};
    free(ends);
    return *pieces != NULL ? SPW_OK : SPW_ERR_MEMORY;
}

/* Pieces at least so long, and so many frames in them, tell the noise better
 * than differences over the whole regime do: a staircase looks like correlation. */
enum { TELLING = 30, TELLING_ALL = 60 };

/* Variance over half the mean squared successive difference (von Neumann 1941): 1
 * for white noise, 1/(1 - phi) for first-order noise; more means that it moves. */
static const double STILL = 3;

static void learn_noise(spw_hold_finder *f, const spw_piece *pieces, size_t n, double floor_us) {
    double squares = 0, products = 0, dof = 0, all = 0;
    for (size_t i = 0; i < n; i++) {
        size_t length = pieces[i].end - pieces[i].first;
        if (length < TELLING)
            continue;
        spw_moments m = spw_moments_of(f->clean, pieces[i].first, pieces[i].end);
        if (m.squares > STILL * m.n * spw_successive(f->clean, pieces[i].first, pieces[i].end))
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

static spw_status find_holds(spw_hold_finder *f, double floor_us) {
    spw_piece *pieces = NULL;
    size_t n = 0;
    spw_status status = spw_odd_screen(f, f->picked.n, floor_us);
    if (status == SPW_OK)
        status = spw_noise_estimate(f->clean, f->picked.n, floor_us, &f->noise);
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

static spw_status in_regime(spw_hold_finder *f) {
    size_t n = f->picked.n;
    if (n < SPW_HOLD_FRAMES)
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
    spw_hold_finder f = {.channel = channel, .recording = spw_recording_of(train, report)};
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
        f.taken = 0;
        f.picked = (spw_picked){0};
    }
    return status == SPW_OK ? spw_holds_remember(&f.recording, channel) : status;
}
