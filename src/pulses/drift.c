/* A clock that drifts, the recorder's or the controller's: frames and widths stretch alike.
 * Frames tell it best, from the means of a few blocks of them against time. Where the widths
 * drift by another share, or not at all, it is the controller's frame alone; where they are
 * too few to tell, it may be a clock. */
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

enum { BLOCKS = 16, LEAST_BLOCKS = 8, LEAST_IN_BLOCK = 12 };
/* Of ten degrees of freedom: t beyond 6 comes by chance once in 10^4 captures. */
static const double CLEAR = 6;
/* Less than this in the whole capture moves no figure. */
static const double LEAST_PPM = 1;

/* A slope, in parts in a million a second. */
typedef struct rate {
    double ppm_s, u; /* NAN where it cannot be told */
} rate;

static const rate unknown = {NAN, NAN};

/* Means of a series in blocks, against time. */
typedef struct blocks {
    double time_s[BLOCKS], mean[BLOCKS];
    size_t n;
    double all; /* mean of the series */
} blocks;

static blocks blocks_of(const double *time_s, const double *value, size_t n) {
    blocks b = {.n = n / LEAST_IN_BLOCK < BLOCKS ? n / LEAST_IN_BLOCK : BLOCKS};
    for (size_t k = 0; k < b.n; k++) {
        size_t from = k * n / b.n, to = (k + 1) * n / b.n;
        for (size_t i = from; i < to; i++) {
            b.time_s[k] += (time_s[i] - time_s[0]) / (double)(to - from);
            b.mean[k] += (value[i] - value[0]) / (double)(to - from);
        }
        b.mean[k] += value[0];
        b.all += b.mean[k] / (double)b.n;
    }
    return b;
}

/*   u_value  what sampling leaves open of a mean of the values, beside their scatter */
static rate slope_of(const double *time_s, const double *value, size_t n, double u_value) {
    spw_line line;
    blocks b = blocks_of(time_s, value, n);
    if (b.n < LEAST_BLOCKS || spw_fit_line(b.time_s, b.mean, b.n, &line) != SPW_OK)
        return unknown;
    double u_slope = u_value * sqrt(12.0) / (time_s[n - 1] - time_s[0]);
    return (rate){1e6 * line.slope / b.all, 1e6 * hypot(line.u_slope, u_slope) / b.all};
}

typedef struct series {
    double *time_s, *value;
    size_t n;
} series;

/* The frame period of the main regime. A period's sampling error is that of two edges, which
 * its neighbours take back. */
static rate of_frames(const spw_channel *c, const spw_picked *p, series *s) {
    s->n = 0;
    for (size_t i = 1; i < p->n; i++) {
        const spw_pulse *pulse = &c->pulse[p->at[i]];
        if ((pulse->flags & SPW_PULSE_NO_PERIOD) != 0)
            continue;
        s->time_s[s->n] = pulse->lead_s;
        s->value[s->n++] = (pulse->lead_s - c->pulse[p->at[i - 1]].lead_s) * 1e6;
    }
    return slope_of(s->time_s, s->value, s->n, 0);
}

/* The widths within the holds of the main regime, weighted by what each can tell. */
static rate of_widths(const spw_channel *c, const spw_picked *p, series *s) {
    double weights = 0, sum = 0;
    size_t i = 0;
    for (size_t h = 0; h < c->holds; h++) {
        s->n = 0;
        for (; i < p->n && p->at[i] < c->hold[h].end_pulse; i++) {
            const spw_pulse *pulse = &c->pulse[p->at[i]];
            if (p->at[i] < c->hold[h].first_pulse || (pulse->flags & SPW_PULSE_ODD) != 0)
                continue;
            s->time_s[s->n] = pulse->lead_s;
            s->value[s->n++] = spw_pulse_width_us(pulse);
        }
        rate r =
            s->n > 0 ? slope_of(s->time_s, s->value, s->n, c->hold[h].budget.u_sampling) : unknown;
        if (!(r.u > 0))
            continue;
        weights += 1 / (r.u * r.u);
        sum += r.ppm_s / (r.u * r.u);
    }
    return weights > 0 ? (rate){sum / weights, 1 / sqrt(weights)} : unknown;
}

spw_status spw_drift_find(spw_channel *channel, double *u_ppm) {
    const spw_regime *regime = &channel->regime[channel->main_regime];
    spw_picked p;
    *u_ppm = 0;
    spw_status status = spw_pick(channel, regime->first_pulse, regime->end_pulse, &p);
    if (status != SPW_OK)
        return status;
    series s = {malloc((p.n + 1) * sizeof(double)), malloc((p.n + 1) * sizeof(double)), 0};
    status = s.time_s != NULL && s.value != NULL ? SPW_OK : SPW_ERR_MEMORY;
    if (status == SPW_OK) {
        rate frames = of_frames(channel, &p, &s);
        double all_ppm = fabs(frames.ppm_s) * (regime->end_s - regime->start_s);
        if (fabs(frames.ppm_s) > CLEAR * frames.u && all_ppm >= LEAST_PPM) {
            rate widths = of_widths(channel, &p, &s);
            double u = hypot(widths.u, frames.u);
            bool other = fabs(widths.ppm_s - frames.ppm_s) > 4 * u;
            bool alike = !other && fabs(widths.ppm_s) > 4 * u;
            /* the recorder may have been right at either end: a uniform error, JCGM 100 4.3.7 */
            *u_ppm = other ? 0 : all_ppm / sqrt(3.0);
            channel->clock_drift_ppm_per_s = alike ? frames.ppm_s : (double)NAN;
        }
    }
    free(s.time_s);
    free(s.value);
    free(p.at);
    return status;
}
