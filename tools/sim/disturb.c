#include "sim/disturb.h"

#include "sim/channel.h"

#include <math.h>
#include <string.h>

double sim_share(const sim_disturbance *d, double at_s) {
    if (at_s < d->at_s)
        return 0;
    return d->ramp_s > 0 ? fmin((at_s - d->at_s) / d->ramp_s, 1) : 1;
}

double sim_disturbed(const sim_channel *c, sim_disturbance_kind kind, double at_s, double before) {
    bool adds_up = kind == SIM_LEVEL || kind == SIM_GAIN;
    double v = before;
    for (size_t i = 0; i < c->disturbances; i++) {
        const sim_disturbance *d = &c->disturbance[i];
        if (d->kind != kind || at_s < d->at_s)
            continue;
        if (kind == SIM_SOFT && !(v > 0))
            v = 8 * d->value;
        double share = kind == SIM_LOW_PASS ? 1 : sim_share(d, at_s);
        v += share * (adds_up ? d->value : d->value - v);
    }
    return v;
}

bool sim_has_disturbance(const sim_channel *c, sim_disturbance_kind kind) {
    for (size_t i = 0; i < c->disturbances; i++)
        if (c->disturbance[i].kind == kind)
            return true;
    return false;
}

/* ------------------------------------------------------------ time */

double sim_clocked_s(const sim_channel *c, double line_s) {
    double at = line_s;
    for (size_t i = 0; i < c->disturbances; i++) {
        const sim_disturbance *d = &c->disturbance[i];
        double since = line_s - d->at_s;
        if (d->kind == SIM_CLOCK_PPM && since > 0)
            at += 0.5e-6 * d->value * since * since;
    }
    return at;
}

static bool breaks(const sim_disturbance *d) {
    return d->kind == SIM_LOST || d->kind == SIM_REPEATED || d->kind == SIM_ZEROED;
}

static size_t place_of(const sim_channel *c, const sim_disturbance *d) {
    return (size_t)rint(sim_clocked_s(c, d->at_s) * c->sample_rate_hz);
}

double sim_recorded_s(const sim_channel *c, double line_s) {
    double at = sim_clocked_s(c, line_s), recorded = at;
    for (size_t i = 0; i < c->disturbances; i++) {
        const sim_disturbance *d = &c->disturbance[i];
        double from = (double)place_of(c, d) / c->sample_rate_hz;
        double long_s = (double)d->count / c->sample_rate_hz;
        if (!breaks(d) || at < from)
            continue;
        if (d->kind == SIM_REPEATED) /* no more than there are */
            recorded += fmin(long_s, from);
        else if (at < from + long_s)
            return (double)NAN;
        else if (d->kind == SIM_LOST)
            recorded -= long_s;
    }
    return recorded;
}

size_t sim_repeated_samples(const sim_channel *c) {
    size_t n = 0;
    for (size_t i = 0; i < c->disturbances; i++)
        n += c->disturbance[i].kind == SIM_REPEATED ? c->disturbance[i].count : 0;
    return n;
}

static size_t break_at(const sim_disturbance *d, size_t at, float *samples, size_t n) {
    size_t count = d->count;
    if (at >= n)
        return n;
    if (d->kind == SIM_REPEATED) {
        count = count < at ? count : at;
        memmove(samples + at + count, samples + at, (n - at) * sizeof *samples);
        memcpy(samples + at, samples + at - count, count * sizeof *samples);
        return n + count;
    }
    count = count < n - at ? count : n - at;
    if (d->kind == SIM_ZEROED) {
        memset(samples + at, 0, count * sizeof *samples);
        return n;
    }
    memmove(samples + at, samples + at + count, (n - at - count) * sizeof *samples);
    return n - count;
}

/* The last one first: places are those of the unbroken recording. */
size_t sim_break_time(const sim_channel *c, float *samples, size_t n) {
    size_t before = (size_t)-1;
    for (;;) {
        const sim_disturbance *last = NULL;
        for (size_t i = 0; i < c->disturbances; i++) {
            const sim_disturbance *d = &c->disturbance[i];
            if (breaks(d) && place_of(c, d) < before &&
                (last == NULL || place_of(c, d) > place_of(c, last)))
                last = d;
        }
        if (last == NULL)
            return n;
        before = place_of(c, last);
        n = break_at(last, before, samples, n);
    }
}
