/* The controller's step, and a periodic component of the width.
 *
 * Evidence of a step is the set of distinct levels that the controller was seen
 * at: each hold once, however many frames it has, and frames between holds where
 * the width changed unevenly. An even ramp is regular by itself and tells nothing. */
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

enum {
    LEAST_LEVELS = 8,
    MOST_LEVELS = 4096,
    LEAST_FRAMES = 32 /* of a hold, for its spectrum */
};
/* Coarser than any controller's: an 8-bit table of 5 degree steps makes 56 us (common practice). */
static const double STEP_MAX_US = 60;
static const double STEP_MIN_US = 0.25;
/* A spacing is looked for down to three times the levels' noise: with more noise than that
 * a grid leaves no trace (coherence exp(-2 pi^2 / 9) = 0.11). */
static const double NOISE_STEPS = 3;
/* Less is how doubles round an instant hours after the start, no scatter. */
static const double LEAST_SD_US = 1e-4;
/* Below two recorder steps the recorder's own grid (and its mirror) would be found. */
static const double GRIDS = 2.2;

typedef struct levels {
    double us[MOST_LEVELS];
    size_t n;
    double noise_us; /* about, of one of them */
} levels;

static int upwards(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Scatter of a hold's mean: what its distance to a grid is made of. */
static double mean_noise(const spw_hold *h) {
    return hypot(h->budget.u_scatter, h->budget.u_sampling);
}

/* Each level once: values closer than their noise are one. */
static void distinct(levels *l) {
    qsort(l->us, l->n, sizeof *l->us, upwards);
    double apart = 3 * l->noise_us + 1e-6;
    size_t kept = 0;
    for (size_t i = 0; i < l->n; i++)
        if (kept == 0 || l->us[i] - l->us[kept - 1] > apart)
            l->us[kept++] = l->us[i];
    l->n = kept;
}

static void hold_levels(const spw_channel *c, levels *l) {
    l->n = 0;
    double noise = 0, used = 0;
    for (size_t h = 0; h < c->holds && l->n < MOST_LEVELS; h++) {
        l->us[l->n++] = c->hold[h].width_us.mean;
        if (isfinite(mean_noise(&c->hold[h]))) {
            noise += mean_noise(&c->hold[h]);
            used += 1;
        }
    }
    l->noise_us = used > 0 ? noise / used : 0;
    distinct(l);
}

/* The change of the change of width at picked pulse i. */
static double bend_at(const spw_channel *c, const spw_picked *p, size_t i) {
    return spw_pulse_width_us(&c->pulse[p->at[i - 1]]) -
           2 * spw_pulse_width_us(&c->pulse[p->at[i]]) +
           spw_pulse_width_us(&c->pulse[p->at[i + 1]]);
}

/* Adds frames outside holds about which the width changes, and not evenly: neither
 * part of a straight ramp nor a corner of one. */
static void moving_levels(const spw_channel *c, const spw_picked *p, double sd_us, levels *l) {
    double uneven = 3 * sqrt(6) * sd_us + 1e-6; /* 3 sd of a second difference */
    size_t hold = 0;
    for (size_t i = 2; i + 2 < p->n && l->n < MOST_LEVELS; i++) {
        while (hold < c->holds && p->at[i] >= c->hold[hold].end_pulse)
            hold++;
        if (hold < c->holds && p->at[i] >= c->hold[hold].first_pulse)
            continue;
        if (fabs(bend_at(c, p, i - 1)) > uneven && fabs(bend_at(c, p, i)) > uneven &&
            fabs(bend_at(c, p, i + 1)) > uneven)
            l->us[l->n++] = spw_pulse_width_us(&c->pulse[p->at[i]]);
    }
    l->noise_us = fmax(l->noise_us, sd_us);
}

static spw_status look(const spw_recording *recording, const levels *l, spw_channel *c) {
    double low = fmax(STEP_MIN_US, NOISE_STEPS * l->noise_us);
    low = fmax(low, GRIDS * recording->resolution_us);
    if (l->n < LEAST_LEVELS || low >= STEP_MAX_US)
        return SPW_OK;
    spw_lattice found;
    spw_status status = spw_find_lattice(l->us, l->n, low, STEP_MAX_US, &found);
    if (status == SPW_OK && isfinite(found.step)) {
        c->step_us = found.step;
        c->step_u_us = hypot(found.u, found.step * recording->timebase_ppm * 1e-6);
    }
    return status == SPW_ERR_LIMIT ? SPW_OK : status;
}

static double pooled_sd(const spw_channel *c) {
    double squares = 0, dof = 0;
    for (size_t h = 0; h < c->holds; h++) {
        const spw_hold *hold = &c->hold[h];
        if (hold->pulses > 1 && isfinite(hold->width_us.sd)) {
            squares += hold->width_us.sd * hold->width_us.sd * ((double)hold->pulses - 1);
            dof += (double)hold->pulses - 1;
        }
    }
    return dof > 0 ? sqrt(squares / dof) : (double)NAN;
}

/* The strongest line of the longest hold's widths, frame by frame. */
static spw_status width_line(const spw_recording *recording, const spw_picked *p, spw_channel *c) {
    const spw_hold *longest = NULL;
    for (size_t h = 0; h < c->holds; h++)
        if (longest == NULL || c->hold[h].pulses > longest->pulses)
            longest = &c->hold[h];
    if (longest == NULL || longest->pulses < LEAST_FRAMES || !(longest->width_us.sd > LEAST_SD_US))
        return SPW_OK;
    double *us = malloc(longest->pulses * sizeof *us);
    if (us == NULL)
        return SPW_ERR_MEMORY;
    size_t n = 0;
    for (size_t i = 0; i < p->n && n < longest->pulses; i++)
        if (p->at[i] >= longest->first_pulse && p->at[i] < longest->end_pulse &&
            (c->pulse[p->at[i]].flags & SPW_PULSE_ODD) == 0)
            us[n++] = spw_pulse_width_us(&c->pulse[p->at[i]]);
    double cycles = NAN, amplitude = NAN, chance = NAN;
    spw_status status =
        n < LEAST_FRAMES ? SPW_OK : spw_strongest_line(us, n, &cycles, &amplitude, &chance);
    free(us);
    /* a swing within the recorder's step or its scatter is the recorder's */
    double least = fmax(recording->resolution_us, longest->width_us.floor);
    if (status != SPW_OK || amplitude <= least)
        return status;
    c->line_hz = cycles * c->frame_rate_hz;
    c->line_amplitude_us = amplitude;
    c->line_p = chance;
    return SPW_OK;
}

spw_status spw_step_find(const spw_recording *recording, const spw_picked *picked,
                         spw_channel *channel) {
    levels *l = malloc(sizeof *l);
    if (l == NULL)
        return SPW_ERR_MEMORY;
    hold_levels(channel, l);
    spw_status status = look(recording, l, channel);
    double sd_us = pooled_sd(channel);
    if (status == SPW_OK && isnan(channel->step_us) && isfinite(sd_us)) {
        moving_levels(channel, picked, sd_us, l);
        status = look(recording, l, channel);
    }
    free(l);
    if (status == SPW_OK && isnan(channel->step_us))
        spw_counter_find(picked, channel);
    return status == SPW_OK ? width_line(recording, picked, channel) : status;
}
