/* The figures of a channel: those of its main regime. */
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

/* --- periods --- */

static double period_at(const spw_channel *c, uint32_t before, uint32_t at) {
    return (c->pulse[at].lead_s - c->pulse[before].lead_s) * 1e6;
}

static bool has_period(const spw_channel *c, const spw_picked *p, size_t i) {
    return i > 0 && (c->pulse[p->at[i]].flags & SPW_PULSE_NO_PERIOD) == 0;
}

/* The same with the frames that are told as short ones. */
static bool shows_period(const spw_channel *c, const spw_picked *p, size_t i) {
    uint32_t flags = c->pulse[p->at[i]].flags;
    return i > 0 && ((flags & SPW_PULSE_NO_PERIOD) == 0 || (flags & SPW_PULSE_SHORT) != 0);
}

/* JESD65: deviation of each period from the mean; difference of neighbours. */
static void jitter(spw_channel *c, const spw_picked *p) {
    double squares = 0, peak = 0;
    size_t n = 0;
    for (size_t i = 1; i < p->n; i++) {
        if (!shows_period(c, p, i))
            continue;
        double us = period_at(c, p->at[i - 1], p->at[i]);
        c->period_us.min = fmin(c->period_us.min, us);
        c->period_us.max = fmax(c->period_us.max, us);
    }
    for (size_t i = 2; i < p->n; i++) {
        if (!shows_period(c, p, i) || !shows_period(c, p, i - 1))
            continue;
        double d = period_at(c, p->at[i - 1], p->at[i]) - period_at(c, p->at[i - 2], p->at[i - 1]);
        squares += d * d;
        peak = fmax(peak, fabs(d));
        n++;
    }
    c->period_jitter_pp_us = c->period_us.n > 1 ? c->period_us.max - c->period_us.min : (double)NAN;
    c->cycle_to_cycle_rms_us = n > 0 ? sqrt(squares / (double)n) : (double)NAN;
    c->cycle_to_cycle_peak_us = n > 0 ? peak : (double)NAN;
}

/* Residuals of edges about a fitted even frame: sums of one stretch. */
typedef struct grid {
    double n, mk, mt, kk, kt, tt;
} grid;

static void grid_add(grid *g, double k, double t) {
    g->n += 1;
    double dk = k - g->mk, dt = t - g->mt;
    g->mk += dk / g->n;
    g->mt += dt / g->n;
    g->kk += dk * (k - g->mk);
    g->kt += dk * (t - g->mt);
    g->tt += dt * (t - g->mt);
}

static double grid_squares(const grid *g) {
    return g->kk > 0 ? fmax(0, g->tt - g->kt * g->kt / g->kk) : 0;
}

/* Lead and trail edges of pulses [first, end) against one even frame each. */
static void fit_edges(const spw_channel *c, const spw_picked *p, size_t from, size_t to,
                      double period_us, grid *lead, grid *trail) {
    *lead = *trail = (grid){0};
    double k = 0, shifted_us = 0;
    for (size_t i = from; i < to; i++) {
        const spw_pulse *pulse = &c->pulse[p->at[i]];
        if (i > from) {
            double us = period_at(c, p->at[i - 1], p->at[i]);
            double frames = fmax(1, round(us / period_us));
            if ((pulse->flags & SPW_PULSE_SHIFTED) != 0)
                shifted_us += us - frames * period_us;
            k += frames;
        }
        double start_s = c->pulse[p->at[from]].lead_s;
        double even_us = k * period_us + shifted_us;
        grid_add(lead, k, (pulse->lead_s - start_s) * 1e6 - even_us);
        if ((pulse->flags & SPW_PULSE_ODD) == 0)
            grid_add(trail, k, (pulse->trail_s - start_s) * 1e6 - even_us);
    }
}

/* Scatter of each edge about an even frame, pooled over the holds: within a hold
 * both edges have one. Without holds the lead edge's over the regime. */
static void edge_scatter(spw_channel *c, const spw_picked *p, double period_us) {
    double lead2 = 0, trail2 = 0, dof = 0, trail_dof = 0;
    grid lead, trail;
    size_t i = 0;
    for (size_t h = 0; h < c->holds; h++) {
        while (i < p->n && p->at[i] < c->hold[h].first_pulse)
            i++;
        size_t from = i;
        while (i < p->n && p->at[i] < c->hold[h].end_pulse)
            i++;
        if (i - from < 3)
            continue;
        fit_edges(c, p, from, i, period_us, &lead, &trail);
        if (trail.n < 3)
            continue;
        lead2 += grid_squares(&lead);
        trail2 += grid_squares(&trail);
        dof += lead.n - 2;
        trail_dof += trail.n - 2;
    }
    c->lead_jitter_us = c->trail_jitter_us = NAN;
    if (dof > 0) {
        c->lead_jitter_us = sqrt(lead2 / dof);
        c->trail_jitter_us = sqrt(trail2 / trail_dof);
    } else if (p->n >= 3) {
        fit_edges(c, p, 0, p->n, period_us, &lead, &trail);
        c->lead_jitter_us = sqrt(grid_squares(&lead) / ((double)p->n - 2));
    }
}

static spw_status periods(const spw_recording *recording, spw_channel *c, const spw_picked *p,
                          double *series) {
    size_t n = 0;
    for (size_t i = 1; i < p->n; i++)
        if (has_period(c, p, i))
            series[n++] = period_at(c, p->at[i - 1], p->at[i]);
    if (n == 0)
        return SPW_OK;
    spw_status status = spw_summarise(series, n, &c->period_us);
    if (status != SPW_OK)
        return status;
    c->frame_rate_hz = 1e6 / c->period_us.mean;
    c->least_frame_us = c->period_us.min;
    jitter(c, p);
    grid lead, trail;
    fit_edges(c, p, 0, p->n, c->period_us.mean, &lead, &trail);
    double scatter = p->n > 2 ? sqrt(grid_squares(&lead) / ((double)p->n - 2)) : (double)NAN;
    return spw_period_uncertainty(recording, series, n, scatter, &c->period_us);
}

/* --- widths --- */

/* The channel is one hold when all of its n ordinary frames of the main regime but a few at
 * its ends are in it. */
static bool one_hold(const spw_channel *c, size_t n) {
    const spw_regime *r = &c->regime[c->main_regime];
    size_t most = 0;
    for (size_t h = 0; h < c->holds; h++)
        if (c->hold[h].first_pulse >= r->first_pulse && c->hold[h].end_pulse <= r->end_pulse)
            most = c->hold[h].pulses > most ? c->hold[h].pulses : most;
    return most > 0 && (double)most + 2 >= 0.98 * (double)n;
}

/* Of the ordinary pulses: odd ones are frames, but no level. */
static spw_status widths(const spw_recording *recording, spw_channel *c, const spw_picked *p,
                         double *series) {
    uint32_t *plain = malloc((p->n + 1) * sizeof *plain);
    if (plain == NULL)
        return SPW_ERR_MEMORY;
    size_t n = 0;
    for (size_t i = 0; i < p->n; i++)
        if ((c->pulse[p->at[i]].flags & SPW_PULSE_ODD) == 0)
            plain[n++] = p->at[i];
    for (size_t i = 0; i < n; i++)
        series[i] = spw_pulse_width_us(&c->pulse[plain[i]]);
    spw_status status = spw_robust_scale(series, n, &c->width_median_us, &c->width_robust_sd_us);
    if (status == SPW_OK && one_hold(c, n)) {
        status =
            spw_width_summary(recording, c, plain, n, c->period_us.mean, &c->width_us, &c->budget);
    } else if (status == SPW_OK) {
        status = spw_summarise(series, n, &c->width_us);
        c->width_us.floor = spw_width_floor(recording, c, plain, n);
    }
    free(plain);
    return status;
}

spw_status spw_figures_fill(const spw_train *train, const spw_edge_report *report,
                            spw_channel *channel) {
    const spw_regime *regime = &channel->regime[channel->main_regime];
    spw_recording recording = spw_recording_of(train, report);
    recording.wanders = channel->wanders;
    spw_picked p;
    spw_status status = spw_pick(channel, regime->first_pulse, regime->end_pulse, &p);
    if (status != SPW_OK)
        return status;
    channel->counted = p.n;
    double *series = malloc((p.n + 1) * sizeof *series);
    status = series == NULL ? SPW_ERR_MEMORY : periods(&recording, channel, &p, series);
    if (status == SPW_OK)
        status = widths(&recording, channel, &p, series);
    if (status == SPW_OK)
        edge_scatter(channel, &p, channel->period_us.mean);
    if (status == SPW_OK)
        status = spw_step_find(&recording, &p, channel);
    free(series);
    free(p.at);
    return status;
}
