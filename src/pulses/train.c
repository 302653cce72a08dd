/* From kept edges to a measured channel. */
#include "pulses/train.h"
#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Fewer whole pulses make no frame ... */
enum { LEAST_PULSES = 3 };
/* ... but for the two of a scope's screen, which has room for so many frames. */
static const double SCREEN_FRAMES = 4;
/* What two pulses have to be like: common practice, as nothing else speaks for them. */
static const double SCREEN_LOW_US = 400, SCREEN_HIGH_US = 2600, SCREEN_FRAME_US = 50e3;
/* Share of the intervals that must be whole frames. Random data reaches a half. */
static const double EVEN_SHARE = 0.7;

double spw_pulse_width_us(const spw_pulse *pulse) {
    return (pulse->trail_s - pulse->lead_s) * 1e6;
}

/* --- edges to pulses --- */

typedef struct maker {
    const spw_train *train;
    spw_channel *channel;
    size_t room;
    bool rising_leads;
    bool active, lead_seen, after_break;
    spw_edge lead; /* or where the level was found active */
    double lost_s; /* start of an unknown level, NAN */
} maker;

static spw_status note(maker *m, spw_event_kind kind, double at_s, uint64_t count, double us) {
    return spw_event_add(m->channel,
                         (spw_event){.kind = kind, .at_s = at_s, .count = count, .value_us = us});
}

/* A pulse of which one edge was not seen. */
static spw_status cut_pulse(maker *m, double end_s) {
    double us = (end_s - m->lead.time_s) * 1e6;
    spw_event_kind kind = us > m->train->width_high_us ? SPW_EVENT_LONG_PULSE : SPW_EVENT_CUT_PULSE;
    if (kind == SPW_EVENT_CUT_PULSE && spw_train_cuts(m->train, m->lead.time_s, end_s))
        return SPW_OK;
    return note(m, kind, m->lead.time_s, 1, us);
}

static spw_status add_pulse(maker *m, const spw_edge *trail) {
    spw_channel *c = m->channel;
    if (c->pulses == UINT32_MAX)
        return SPW_ERR_LIMIT;
    spw_status status =
        spw_array_room((void **)&c->pulse, &m->room, c->pulses, 1, sizeof *c->pulse);
    if (status != SPW_OK)
        return status;
    double u = sqrt((double)m->lead.u_us * (double)m->lead.u_us +
                    (double)trail->u_us * (double)trail->u_us);
    spw_pulse p = {.lead_s = m->lead.time_s, .trail_s = trail->time_s, .u_width_us = (float)u};
    uint32_t marks = m->lead.flags | trail->flags;
    double us = spw_pulse_width_us(&p);
    p.flags = (us < m->train->width_low_us ? SPW_PULSE_RUNT : 0) |
              (us > m->train->width_high_us ? SPW_PULSE_LONG : 0) |
              ((marks & SPW_EDGE_CLIPPED) != 0 ? SPW_PULSE_CLIPPED : 0) |
              ((marks & SPW_EDGE_DOUBTFUL) != 0 ? SPW_PULSE_DOUBTFUL : 0) |
              (m->after_break ? SPW_PULSE_NO_PERIOD : 0);
    m->after_break = false;
    c->pulse[c->pulses++] = p;
    return SPW_OK;
}

/* The level becomes unknown: x and z of a simulation, a hole in the samples,
 * changes too fast to keep. */
static spw_status break_at(maker *m, const spw_edge *edge) {
    spw_status status = SPW_OK;
    if (m->active)
        status = cut_pulse(m, edge->time_s);
    m->active = m->lead_seen = false;
    m->after_break = true;
    if (status == SPW_OK && (edge->flags & SPW_EDGE_HOLE) != 0)
        return note(m, SPW_EVENT_RUNT_PULSE, edge->time_s, (uint64_t)((double)edge->u_us / 2) + 1,
                    NAN);
    if (isnan(m->lost_s))
        m->lost_s = edge->time_s;
    return status;
}

static spw_status found_at(maker *m, const spw_edge *edge) {
    m->active = ((edge->flags & SPW_EDGE_RISING) != 0) == m->rising_leads;
    m->lead = *edge;
    m->lead_seen = false;
    bool from_start = isnan(m->lost_s) && (edge->flags & SPW_EDGE_FIRST) == 0;
    double since_s = from_start ? m->train->from_s : m->lost_s;
    m->lost_s = NAN;
    if (isnan(since_s) || edge->time_s <= since_s)
        return SPW_OK;
    return note(m, SPW_EVENT_UNKNOWN_LEVEL, since_s, 1, (edge->time_s - since_s) * 1e6);
}

static spw_status edge_seen(maker *m, const spw_edge *edge) {
    if ((edge->flags & (SPW_EDGE_LOST | SPW_EDGE_HOLE)) != 0)
        return break_at(m, edge);
    if ((edge->flags & SPW_EDGE_FOUND) != 0)
        return found_at(m, edge);
    bool lead = ((edge->flags & SPW_EDGE_RISING) != 0) == m->rising_leads;
    if (lead) {
        m->lead = *edge;
        m->active = m->lead_seen = true;
        return SPW_OK;
    }
    bool was = m->active, whole = m->lead_seen;
    m->active = m->lead_seen = false;
    if (!was)
        return SPW_OK;
    if (whole)
        return add_pulse(m, edge);
    m->after_break = true;
    return cut_pulse(m, edge->time_s);
}

/* Chunks are freed as they are used, so that edges and pulses never both exist whole. */
static spw_status make_pulses(spw_train *train, spw_polarity polarity, double end_s) {
    maker m = {.train = train,
               .channel = &train->channel,
               .rising_leads = polarity != SPW_POLARITY_NEGATIVE,
               .after_break = true,
               .lost_s = NAN};
    spw_status status = SPW_OK;
    for (size_t i = 0; i < train->chunks && status == SPW_OK; i++) {
        for (uint32_t k = 0; k < train->chunk[i].n && status == SPW_OK; k++)
            status = edge_seen(&m, &train->chunk[i].edge[k]);
        free(train->chunk[i].edge);
        train->chunk[i].edge = NULL;
        train->chunk[i].n = 0;
    }
    spw_pulse *exact = train->channel.pulses > 0
                           ? realloc(train->channel.pulse, train->channel.pulses * sizeof *exact)
                           : NULL;
    if (exact != NULL) /* the spare room of growth is given back */
        train->channel.pulse = exact;
    if (status == SPW_OK && m.active && m.lead_seen)
        status = cut_pulse(&m, end_s);
    if (status == SPW_OK && !isnan(m.lost_s))
        status = note(&m, SPW_EVENT_UNKNOWN_LEVEL, m.lost_s, 1, (end_s - m.lost_s) * 1e6);
    return status;
}

/* --- the channel --- */

static void start_channel(spw_channel *c) {
    *c = (spw_channel){.signal = SPW_SIGNAL_OTHER,
                       .polarity = SPW_POLARITY_UNDECIDED,
                       .polarity_basis = SPW_BASIS_UNDECIDED,
                       .last_level = SPW_LEVEL_UNKNOWN};
    c->resolution_us = c->sample_rate_hz = NAN;
    c->other_width_us = c->other_period_us = NAN;
    c->period_us = c->width_us = spw_summary_none();
    c->least_frame_us = c->frame_rate_hz = c->period_jitter_pp_us = NAN;
    c->cycle_to_cycle_rms_us = c->cycle_to_cycle_peak_us = NAN;
    c->width_median_us = c->width_robust_sd_us = NAN;
    c->lead_jitter_us = c->trail_jitter_us = NAN;
    c->budget = (spw_budget){NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    c->clock_drift_ppm_per_s = NAN;
    c->step_us = c->step_u_us = NAN;
    c->line_hz = c->line_amplitude_us = c->line_p = NAN;
    c->last_for_s = c->level_low = c->level_high = NAN;
    c->odd = spw_odd_none();
}

static void last_level(const spw_train *train, double end_s, spw_channel *c) {
    if (!train->has_last)
        return;
    bool lost = (train->last.flags & SPW_EDGE_LOST) != 0;
    bool high = (train->last.flags & SPW_EDGE_RISING) != 0;
    c->last_level = lost ? SPW_LEVEL_UNKNOWN : high ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW;
    c->last_for_s = end_s - train->last.time_s;
}

/* Not control pulses after all: nothing of the attempt stays but the events'
 * absence. */
static void forget_pulses(spw_channel *c) {
    free(c->pulse);
    free(c->hold);
    free(c->move);
    free(c->regime);
    free(c->event);
    free(c->doubt);
    c->pulse = NULL;
    c->hold = NULL;
    c->move = NULL;
    c->regime = NULL;
    c->event = NULL;
    c->doubt = NULL;
    c->doubts = 0;
    c->pulses = c->holds = c->moves = c->regimes = c->events = c->counted = c->main_regime = 0;
    c->events_dropped = 0;
    c->polarity = SPW_POLARITY_UNDECIDED;
    c->polarity_basis = SPW_BASIS_UNDECIDED;
    c->other_width_us = c->other_period_us = NAN;
}

static size_t pulses_in(const spw_channel *c) {
    size_t n = 0;
    for (size_t i = 0; i < c->pulses; i++)
        n += (c->pulse[i].flags & SPW_PULSE_OUT) == 0;
    return n;
}

/* Two pulses and little else, as a scope shows them. */
static bool on_a_screen(const spw_channel *c, double length_s) {
    if (c->pulses != 2 || c->regimes != 1)
        return false;
    double period_us = c->regime[0].period_us;
    double first_us = spw_pulse_width_us(&c->pulse[0]),
           second_us = spw_pulse_width_us(&c->pulse[1]);
    return fmin(first_us, second_us) >= SCREEN_LOW_US &&
           fmax(first_us, second_us) <= SCREEN_HIGH_US && period_us <= SCREEN_FRAME_US &&
           length_s * 1e6 <= SCREEN_FRAMES * period_us;
}

/* Do the pulses follow an even frame that control pulses can have? */
static bool frames_fit(const spw_channel *c, double length_s, double even) {
    if ((pulses_in(c) < LEAST_PULSES && !on_a_screen(c, length_s)) || c->regimes == 0 ||
        even < EVEN_SHARE)
        return false;
    double period_us = c->regime[c->main_regime].period_us;
    return period_us >= SPW_FRAME_MIN_US && period_us <= SPW_FRAME_MAX_US;
}

spw_status spw_train_build(spw_train *train, double end_s) {
    if (train->built)
        return SPW_OK;
    spw_channel *c = &train->channel;
    end_s = fmin(end_s, train->to_s);
    start_channel(c);
    train->built = true;
    if (train->read)
        return spw_readings_build(train, c);
    spw_survey survey;
    spw_polarity_answer polarity;
    double even = 0;
    spw_status status = spw_train_flush(train);
    if (status == SPW_OK)
        status = spw_survey_make(train, end_s, &survey);
    if (status == SPW_OK)
        status = spw_polarity_decide(train, end_s, &survey, &polarity);
    if (status != SPW_OK)
        return status;
    last_level(train, end_s, c);
    /* The reason is needed only when the pulses below turn out to be none, but
     * making them uses the edges up. */
    status = spw_signal_explain(train, &survey, end_s, polarity.any, c);
    if (status != SPW_OK || !polarity.any || spw_sum_stream_channels(train, end_s) > 0)
        return status;
    c->polarity = polarity.polarity;
    c->polarity_basis = polarity.basis;
    c->other_width_us = polarity.other_width_us;
    c->other_period_us = polarity.other_period_us;
    status = make_pulses(train, polarity.polarity, end_s);
    if (status == SPW_OK)
        status = spw_regimes_find(train, c, &even);
    if (status != SPW_OK)
        return status;
    if (!frames_fit(c, end_s - train->from_s, even)) {
        forget_pulses(c);
        if (train->has_polarity)
            c->polarity_basis = SPW_BASIS_OPTION;
        return SPW_OK;
    }
    free(c->reason);
    c->reason = NULL;
    c->signal = SPW_SIGNAL_CONTROL_PULSES;
    return spw_first_pulses(train, c);
}

static void scale_times(spw_channel *c, double by) {
    for (size_t i = 0; i < c->pulses; i++) {
        c->pulse[i].lead_s *= by;
        c->pulse[i].trail_s *= by;
        c->pulse[i].u_width_us *= (float)by;
    }
    for (size_t i = 0; i < c->regimes; i++) {
        c->regime[i].start_s *= by;
        c->regime[i].end_s *= by;
        c->regime[i].period_us *= by;
    }
    for (size_t i = 0; i < c->events; i++) {
        c->event[i].at_s *= by;
        c->event[i].value_us *= by;
    }
    c->other_width_us *= by;
    c->other_period_us *= by;
    c->last_for_s *= by;
}

/* A clock that drifts is a larger time base's uncertainty in every hold. */
static spw_status find_holds(spw_train *train, const spw_edge_report *report, spw_channel *c) {
    double u_ppm = 0;
    spw_status status = spw_holds_find(train, report, c);
    if (status == SPW_OK)
        status = spw_drift_find(c, &u_ppm);
    if (status != SPW_OK || !(u_ppm > 0))
        return status;
    train->timebase_ppm = hypot(train->timebase_ppm, u_ppm);
    free(c->hold);
    c->hold = NULL;
    c->holds = 0;
    return spw_holds_find(train, report, c);
}

spw_status spw_train_finish(spw_train *train, double end_s, double clock_scale,
                            const spw_edge_report *report, spw_channel *channel) {
    if (!(clock_scale > 0) || !isfinite(clock_scale))
        return SPW_ERR_ARGUMENT;
    spw_status status = spw_train_build(train, end_s);
    if (status != SPW_OK)
        return status;
    spw_channel *c = &train->channel;
    if (train->read)
        clock_scale = 1; /* the recorder's clock is not that of the widths */
    double start_s = train->from_s * clock_scale;
    end_s = fmin(end_s, train->to_s) * clock_scale;
    if (clock_scale != 1) {
        scale_times(c, clock_scale);
        train->resolution_us *= clock_scale;
    }
    c->resolution_us = train->resolution_us;
    status = spw_doubts_find(report, start_s, end_s, clock_scale, c);
    if (status == SPW_OK && spw_signal_has_pulses(c->signal)) {
        if (!train->read)
            status = spw_breaks_find(train, report, start_s, end_s, clock_scale, c);
        if (status == SPW_OK)
            status = find_holds(train, report, c);
        spw_doubts_mark_holds(c);
        spw_odd_describe(c);
        if (status == SPW_OK)
            status = spw_figures_fill(train, report, c);
        if (status == SPW_OK)
            status = spw_events_find(start_s, end_s, report, c);
        if (status == SPW_OK && train->read)
            status = spw_readings_say(train, c);
    }
    if (status == SPW_OK)
        status = spw_warnings_add(train, report, c);
    if (status != SPW_OK)
        return status;
    c->has_edge_report = report != NULL;
    if (report != NULL)
        c->edge_report = *report;
    *channel = *c;
    start_channel(c);
    return SPW_OK;
}

void spw_channel_clear(spw_channel *channel) {
    free(channel->name);
    free(channel->reason);
    spw_notes_free(&channel->warnings);
    channel->name = channel->reason = NULL;
    forget_pulses(channel);
}
