/* Frames and regimes: stretches of pulses with one frame period. Jitter,
 * skipped frames and glitches do not end a regime; a new period that lasts does. */
#include "base/array.h"
#include "pulses/noise.h"
#include "pulses/shifts.h"
#include "stats/order.h"

#include <math.h>
#include <stdlib.h>

/* A new period must hold for so many frames ... */
enum { LASTING = 8 };
/* ... and differ by this much: software that rounds a timer stays far below,
 * 18 and 20 ms are 10 % apart. */
static const double APART = 0.01;

/* Intervals that the period about a frame is the median of. */
enum { ABOUT = 9 };

/* The intervals between the picked pulses. */
typedef struct frames {
    spw_picked picked;
    double *interval_us; /* n - 1: from picked i to i + 1; NAN across a break */
    double *about_us;    /* n - 1: running median of them, the period about a frame */
} frames;

static void frames_free(frames *f) {
    free(f->picked.at);
    free(f->interval_us);
    free(f->about_us);
    *f = (frames){0};
}

spw_status spw_pick(const spw_channel *channel, size_t first, size_t end, spw_picked *picked) {
    size_t n = 0;
    for (size_t i = first; i < end; i++)
        n += (channel->pulse[i].flags & SPW_PULSE_OUT) == 0;
    uint32_t *at = malloc((n + 1) * sizeof *at);
    if (at == NULL)
        return SPW_ERR_MEMORY;
    n = 0;
    for (size_t i = first; i < end; i++)
        if ((channel->pulse[i].flags & SPW_PULSE_OUT) == 0)
            at[n++] = (uint32_t)i;
    *picked = (spw_picked){at, n};
    return SPW_OK;
}

/* Before spw_regimes_find only a break sets NO_PERIOD. */
static bool broken(const spw_channel *channel, size_t from, size_t to) {
    for (size_t i = from + 1; i <= to; i++)
        if ((channel->pulse[i].flags & SPW_PULSE_NO_PERIOD) != 0)
            return true;
    return false;
}

static spw_status frames_make(const spw_channel *channel, frames *out) {
    frames f = {0};
    spw_status status = spw_pick(channel, 0, channel->pulses, &f.picked);
    if (status != SPW_OK)
        return status;
    size_t n = f.picked.n > 0 ? f.picked.n - 1 : 0;
    f.interval_us = malloc((n + 1) * sizeof(double));
    f.about_us = malloc((n + 1) * sizeof(double));
    if (f.interval_us == NULL || f.about_us == NULL) {
        frames_free(&f);
        return SPW_ERR_MEMORY;
    }
    for (size_t i = 0; i < n; i++) {
        const spw_pulse *a = &channel->pulse[f.picked.at[i]];
        const spw_pulse *b = &channel->pulse[f.picked.at[i + 1]];
        bool gap = broken(channel, f.picked.at[i], f.picked.at[i + 1]);
        f.interval_us[i] = gap ? (double)NAN : (b->lead_s - a->lead_s) * 1e6;
    }
    spw_local_medians(f.interval_us, n, ABOUT, f.about_us);
    *out = f;
    return SPW_OK;
}

/* --- joined pulses and drop-outs: they need a period --- */

/* Flags what the period shows: a pulse as long as a frame or longer is two without
 * a gap; a gap much shorter than any pulse is a drop-out. True when anything changed. */
static bool flag_by_period(const spw_train *train, spw_channel *channel, const frames *f) {
    bool changed = false;
    double shortest_gap_us = 0.5 * train->width_low_us;
    size_t near = 0;
    for (size_t i = 0; i < channel->pulses; i++) {
        while (near + 2 < f->picked.n && f->picked.at[near + 1] <= i)
            near++;
        double period_us = f->about_us[near];
        spw_pulse *p = &channel->pulse[i];
        if (spw_pulse_width_us(p) >= period_us && (p->flags & SPW_PULSE_JOINED) == 0) {
            p->flags = (p->flags & ~SPW_PULSE_LONG) | SPW_PULSE_JOINED;
            changed = true;
        }
        if (i + 1 == channel->pulses)
            break;
        spw_pulse *next = &channel->pulse[i + 1];
        bool cut = (next->lead_s - p->trail_s) * 1e6 < shortest_gap_us &&
                   (next->lead_s - p->lead_s) * 1e6 < 0.5 * period_us &&
                   (next->flags & SPW_PULSE_NO_PERIOD) == 0;
        if (cut && ((p->flags & next->flags) & SPW_PULSE_RUNT) == 0) {
            p->flags |= SPW_PULSE_RUNT;
            next->flags |= SPW_PULSE_RUNT;
            changed = true;
        }
    }
    return changed;
}

/* --- regimes --- */

/* Scatter of the running median, as a share of the period, from neighbouring
 * intervals; a median of 9 has 0.41 of their sd (1.25/3). */
static spw_status median_scatter(const frames *f, size_t n, double *share) {
    double *d = malloc((n + 1) * sizeof *d);
    if (d == NULL)
        return SPW_ERR_MEMORY;
    size_t k = 0;
    for (size_t i = 0; i + 1 < n; i++) {
        double step = (f->interval_us[i + 1] - f->interval_us[i]) / f->about_us[i];
        if (!isnan(step))
            d[k++] = fabs(step);
    }
    *share = 0;
    if (k > 0) {
        *share = 0.41 * 1.4826 * spw_quantile(d, k, 0.5) / sqrt(2.0);
    }
    free(d);
    return SPW_OK;
}

typedef struct splitter {
    spw_channel *channel;
    const frames *f;
    size_t n;              /* intervals */
    double share, step_us; /* what counts as apart */
    size_t room;
} splitter;

static bool apart(const splitter *s, double a_us, double b_us) {
    return fabs(a_us - b_us) > fmax(fmax(APART, 6 * s->share) * a_us, s->step_us);
}

/* Adds the regime of picked pulses [from, to). */
static spw_status add_regime(splitter *s, size_t from, size_t to) {
    spw_channel *c = s->channel;
    spw_status status =
        spw_array_room((void **)&c->regime, &s->room, c->regimes, 1, sizeof *c->regime);
    if (status != SPW_OK)
        return status;
    const uint32_t *at = s->f->picked.at;
    size_t first = from == 0 ? 0 : at[from];
    size_t end = to == s->f->picked.n ? c->pulses : at[to];
    c->regime[c->regimes++] = (spw_regime){.start_s = c->pulse[at[from]].lead_s,
                                           .end_s = c->pulse[at[to - 1]].trail_s,
                                           .first_pulse = first,
                                           .end_pulse = end,
                                           .frames = to - from,
                                           .period_us = NAN};
    return SPW_OK;
}

static spw_status split(splitter *s) {
    const double *about = s->f->about_us;
    double period_us = about[0];
    size_t from = 0, start = 0, lasting = 0;
    for (size_t i = 0; i < s->n; i++) {
        if (isnan(about[i]))
            continue;
        if (isnan(period_us))
            period_us = about[i];
        if (!apart(s, period_us, about[i])) {
            lasting = 0;
            period_us += (about[i] - period_us) / 64; /* a slow drift is no change */
            continue;
        }
        if (lasting == 0 || apart(s, about[start], about[i])) {
            start = i;
            lasting = 0;
        }
        if (++lasting < LASTING)
            continue;
        if (start > from) {
            spw_status status = add_regime(s, from, start);
            if (status != SPW_OK)
                return status;
            from = start;
        }
        period_us = about[i];
        lasting = 0;
    }
    return add_regime(s, from, s->f->picked.n);
}

/* --- periods and missing frames within a regime --- */

/* Frames between two picked pulses that pulses which do not count stood in for. */
static double stood_in(const spw_channel *c, size_t a, size_t b, double period_us) {
    double slots = round((c->pulse[b].lead_s - c->pulse[a].lead_s) * 1e6 / period_us);
    double last = 0, taken = 0;
    for (size_t i = a + 1; i < b; i++) {
        const spw_pulse *p = &c->pulse[i];
        double at = (p->lead_s - c->pulse[a].lead_s) * 1e6 / period_us;
        double slot = round(at);
        bool glitch = (p->flags & SPW_PULSE_RUNT) != 0 && fabs(at - slot) > 0.02;
        double end = slot;
        if ((p->flags & SPW_PULSE_JOINED) != 0)
            end += floor(spw_pulse_width_us(p) / period_us);
        end = fmin(end, slots - 1);
        if (glitch || slot < 1 || end <= last)
            continue;
        taken += end - fmax(last, slot - 1);
        last = end;
    }
    return taken;
}

static spw_status missing(spw_channel *c, size_t a, size_t b, double period_us) {
    double slots = round((c->pulse[b].lead_s - c->pulse[a].lead_s) * 1e6 / period_us);
    double count = slots - 1 - stood_in(c, a, b, period_us);
    if (!(count >= 1))
        return SPW_OK;
    return spw_event_add(c, (spw_event){.kind = SPW_EVENT_MISSING_FRAMES,
                                        .at_s = c->pulse[a].lead_s + period_us * 1e-6,
                                        .count = (uint64_t)count,
                                        .value_us = NAN});
}

/* Is the interval one frame? Software may be late by tens of percent. */
static bool one_frame(double interval_us, double period_us) {
    return interval_us > 0.5 * period_us && interval_us < 1.5 * period_us;
}

static spw_status judge_intervals(spw_channel *c, const frames *f, double *even) {
    size_t i = 0, good = 0, all = 0;
    for (size_t k = 0; k < c->regimes; k++) {
        spw_regime *r = &c->regime[k];
        size_t first = i, end = i + r->frames, n = 0;
        double sum = 0;
        for (i = first; i < end; i++) {
            spw_pulse *p = &c->pulse[f->picked.at[i]];
            if (i > first && one_frame(f->interval_us[i - 1], f->about_us[i - 1])) {
                sum += f->interval_us[i - 1];
                n++;
            } else {
                p->flags |= SPW_PULSE_NO_PERIOD;
            }
        }
        r->period_us = n > 0 ? sum / (double)n : (double)NAN;
        for (size_t j = first; j + 1 < end; j++) {
            double count = f->interval_us[j] / r->period_us;
            if (isnan(count))
                continue;
            all++;
            good += count > 0.5 && fabs(count - round(count)) < 0.25;
            if (count >= 1.5) {
                spw_status status = missing(c, f->picked.at[j], f->picked.at[j + 1], r->period_us);
                if (status != SPW_OK)
                    return status;
            }
        }
    }
    *even = all > 0 ? (double)good / (double)all : 0;
    return SPW_OK;
}

static spw_status find_shifts(spw_train *train, const spw_channel *c, const frames *f) {
    spw_status status = SPW_OK;
    size_t first = 0;
    for (size_t k = 0; k < c->regimes && status == SPW_OK; k++) {
        size_t end = first + c->regime[k].frames;
        status = spw_shifts_find(train, &f->picked, f->interval_us, f->about_us, first, end);
        first = end;
    }
    return status;
}

static void choose_main(spw_channel *c) {
    for (size_t k = 1; k < c->regimes; k++) {
        const spw_regime *best = &c->regime[c->main_regime];
        const spw_regime *r = &c->regime[k];
        if (r->end_s - r->start_s > best->end_s - best->start_s)
            c->main_regime = k;
    }
}

spw_status spw_regimes_find(spw_train *train, spw_channel *channel, double *even) {
    *even = 0;
    frames f;
    spw_status status = frames_make(channel, &f);
    for (int again = 0; status == SPW_OK && f.picked.n >= 2 && again < 3; again++) {
        if (!flag_by_period(train, channel, &f))
            break;
        frames_free(&f);
        status = frames_make(channel, &f);
    }
    if (status != SPW_OK)
        return status;
    splitter s = {.channel = channel, .f = &f, .n = f.picked.n > 0 ? f.picked.n - 1 : 0};
    if (s.n == 0)
        goto done;
    s.step_us = train->resolution_us > 0 ? 1.5 * train->resolution_us : 0;
    if ((status = median_scatter(&f, s.n, &s.share)) != SPW_OK)
        goto done;
    if ((status = split(&s)) != SPW_OK)
        goto done;
    if ((status = judge_intervals(channel, &f, even)) != SPW_OK)
        goto done;
    if ((status = find_shifts(train, channel, &f)) != SPW_OK)
        goto done;
    choose_main(channel);
done:
    frames_free(&f);
    return status;
}
