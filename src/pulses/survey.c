/* What the stretches of constant level between edges look like. */
#include "pulses/train.h"
#include "stats/order.h"

#include <math.h>
#include <stdlib.h>

spw_stretch_walk spw_stretches(const spw_train *train, double end_s) {
    return (spw_stretch_walk){.edges = {train, 0, 0}, .end_s = end_s};
}

/* The stretch that `edge` ends, or that the capture's end does (edge NULL). */
static spw_stretch stretch_until(const spw_stretch_walk *walk, double end_s, bool open_end) {
    return (spw_stretch){.start_s = walk->since_s,
                         .length_us = (end_s - walk->since_s) * 1e6,
                         .high = walk->high,
                         .open_start = walk->open_start,
                         .open_end = open_end,
                         .after_break = walk->after_break};
}

bool spw_stretch_next(spw_stretch_walk *walk, spw_stretch *stretch) {
    const spw_edge *edge;
    while (!walk->finished) {
        edge = spw_edge_next(&walk->edges);
        if (edge == NULL) {
            walk->finished = true;
            *stretch = stretch_until(walk, walk->end_s, true);
            return walk->known;
        }
        bool transition = (edge->flags & SPW_EDGE_NO_TRANSITION) == 0;
        bool had = walk->known;
        *stretch = stretch_until(walk, edge->time_s, !transition);
        walk->known = (edge->flags & (SPW_EDGE_LOST | SPW_EDGE_HOLE)) == 0;
        walk->high = (edge->flags & SPW_EDGE_RISING) != 0;
        walk->since_s = edge->time_s;
        walk->open_start = !transition;
        walk->after_break = !had;
        if (had)
            return true;
    }
    return false;
}

/* Stretches that go into the quantiles: plenty for an explanation. */
enum { SAMPLE = 4096 };

typedef struct sample {
    double high[SAMPLE], low[SAMPLE], period[SAMPLE];
    size_t highs, lows, periods;
    double before_us; /* the neighbour, NAN when there is none */
} sample;

static void sample_add(sample *s, double length_us, bool high) {
    if (high && s->highs < SAMPLE)
        s->high[s->highs++] = length_us;
    if (!high && s->lows < SAMPLE)
        s->low[s->lows++] = length_us;
    if (!isnan(s->before_us) && s->periods < SAMPLE)
        s->period[s->periods++] = s->before_us + length_us;
    s->before_us = length_us;
}

static spw_spread spread_of(double *values, size_t n) {
    if (n == 0)
        return (spw_spread){NAN, NAN, NAN};
    return (spw_spread){spw_quantile(values, n, 0.1), spw_quantile(values, n, 0.5),
                        spw_quantile(values, n, 0.9)};
}

/* Nothing was kept: the first window that was dropped tells. */
static void sample_dropped(const spw_train *train, sample *s) {
    const spw_edge *e = train->dropped;
    for (uint32_t i = 0; i + 1 < train->n_dropped; i++)
        if (((e[i].flags | e[i + 1].flags) & SPW_EDGE_NO_TRANSITION) == 0)
            sample_add(s, (e[i + 1].time_s - e[i].time_s) * 1e6,
                       (e[i].flags & SPW_EDGE_RISING) != 0);
}

spw_status spw_survey_make(const spw_train *train, double end_s, spw_survey *survey) {
    sample *s = malloc(sizeof *s);
    if (s == NULL)
        return SPW_ERR_MEMORY;
    s->highs = s->lows = s->periods = 0;
    s->before_us = NAN;
    spw_survey v = {.first_in_s = NAN, .first_in_us = NAN, .first_period_us = NAN};
    bool follows = false;
    spw_stretch_walk walk = spw_stretches(train, end_s);
    spw_stretch stretch;
    while (spw_stretch_next(&walk, &stretch)) {
        if (follows && !stretch.open_start && !stretch.open_end)
            v.first_period_us = v.first_in_us + stretch.length_us;
        follows = false;
        if (stretch.open_start || stretch.open_end) {
            s->before_us = NAN;
            continue;
        }
        sample_add(s, stretch.length_us, stretch.high);
        v.whole++;
        if (stretch.length_us < train->width_low_us || stretch.length_us > train->width_high_us)
            continue;
        v.high_in += stretch.high;
        v.low_in += !stretch.high;
        if (isnan(v.first_in_s)) {
            v.first_in_s = stretch.start_s;
            v.first_in_us = stretch.length_us;
            follows = true;
        }
    }
    if (v.whole == 0)
        sample_dropped(train, s);
    v.n = s->highs + s->lows;
    v.high = spread_of(s->high, s->highs);
    v.low = spread_of(s->low, s->lows);
    v.period = spread_of(s->period, s->periods);
    free(s);
    *survey = v;
    return SPW_OK;
}
