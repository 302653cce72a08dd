/* What happened besides ordinary pulses. */
#include "base/array.h"
#include "pulses/train.h"

#include <math.h>
#include <stdlib.h>

spw_status spw_event_add(spw_channel *channel, spw_event event) {
    if (channel->events == SPW_EVENTS_MAX) {
        channel->events_dropped++;
        return SPW_OK;
    }
    size_t room = channel->events; /* grown by doubling, so that no capacity need be kept */
    if ((room & (room - 1)) == 0) {
        size_t wanted = room == 0 ? 1 : 2 * room;
        spw_event *moved = realloc(channel->event, wanted * sizeof *moved);
        if (moved == NULL)
            return SPW_ERR_MEMORY;
        channel->event = moved;
    }
    channel->event[channel->events++] = event;
    return SPW_OK;
}

/* The kind of event a flagged pulse is; false for an ordinary pulse. */
static bool kind_of(const spw_pulse *pulse, spw_event_kind *kind) {
    if ((pulse->flags & SPW_PULSE_BROKEN) != 0)
        return false; /* told by samples_lost */
    if ((pulse->flags & SPW_PULSE_JOINED) != 0)
        *kind = SPW_EVENT_JOINED_PULSE;
    else if ((pulse->flags & SPW_PULSE_LONG) != 0)
        *kind = SPW_EVENT_LONG_PULSE;
    else if ((pulse->flags & SPW_PULSE_RUNT) != 0)
        *kind = SPW_EVENT_RUNT_PULSE;
    else if ((pulse->flags & (SPW_PULSE_ODD | SPW_PULSE_FIRST)) != 0)
        *kind = SPW_EVENT_ODD_WIDTH;
    else
        return false;
    return true;
}

/* One event a run of neighbouring pulses of one kind; joined pulses each. */
static spw_status flagged_pulses(spw_channel *channel) {
    size_t i = 0;
    while (i < channel->pulses) {
        spw_event_kind kind, next;
        if (!kind_of(&channel->pulse[i], &kind)) {
            i++;
            continue;
        }
        size_t first = i++;
        while (kind != SPW_EVENT_JOINED_PULSE && i < channel->pulses &&
               kind_of(&channel->pulse[i], &next) && next == kind)
            i++;
        const spw_pulse *p = &channel->pulse[first];
        spw_status status = spw_event_add(channel, (spw_event){.kind = kind,
                                                               .at_s = p->lead_s,
                                                               .count = i - first,
                                                               .value_us = spw_pulse_width_us(p)});
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

/* The line after the last frame: lost when it stayed without one for three. */
static const double LOST_FRAMES = 3;

typedef struct stay {
    spw_level level;
    double for_s;
} stay;

static void stays(stay *longest, spw_level level, double for_s) {
    if (for_s > longest->for_s)
        *longest = (stay){level, for_s};
}

/* The level that the line kept longest after the frame whose pulse is the one before
 * `next`: a pulse that the capture's end cuts off does not hide the rest before it, nor
 * a last moment at rest a line stuck at the other level. Takes last_level and last_for_s
 * as those of the last stretch. */
static stay after_frame(const spw_channel *c, size_t next, double end_s) {
    spw_level active = c->polarity == SPW_POLARITY_NEGATIVE ? SPW_LEVEL_LOW : SPW_LEVEL_HIGH;
    spw_level rest = active == SPW_LEVEL_LOW ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW;
    double since = c->pulse[next - 1].trail_s;
    stay longest = {c->last_level, fmin(c->last_for_s, fmax(0, end_s - since))};
    for (size_t i = next; i < c->pulses; i++) {
        const spw_pulse *p = &c->pulse[i];
        stays(&longest, rest, p->lead_s - since);
        stays(&longest, active, p->trail_s - p->lead_s);
        since = p->trail_s;
    }
    stays(&longest, rest, end_s - c->last_for_s - since);
    return longest;
}

static spw_status the_end(double end_s, spw_channel *channel) {
    size_t last = channel->pulses;
    while (last > 0 && (channel->pulse[last - 1].flags & SPW_PULSE_OUT) != 0)
        last--;
    if (last == 0 || channel->regimes == 0)
        return SPW_OK;
    const spw_pulse *p = &channel->pulse[last - 1];
    double period_us = channel->regime[channel->regimes - 1].period_us;
    if (channel->last_level == SPW_LEVEL_UNKNOWN) {
        channel->last_for_s = fmax(0, end_s - p->trail_s);
    } else {
        stay last_stay = after_frame(channel, last, end_s);
        channel->last_level = last_stay.level;
        channel->last_for_s = last_stay.for_s;
    }
    if (!(end_s - p->lead_s > (LOST_FRAMES + 1) * period_us * 1e-6))
        return SPW_OK;
    return spw_event_add(channel, (spw_event){.kind = SPW_EVENT_SIGNAL_LOST,
                                              .at_s = p->trail_s,
                                              .count = 1,
                                              .value_us = (end_s - p->trail_s) * 1e6});
}

static int in_time(const void *a, const void *b) {
    const spw_event *x = a;
    const spw_event *y = b;
    return (x->at_s > y->at_s) - (x->at_s < y->at_s);
}

spw_status spw_events_find(double start_s, double end_s, const spw_edge_report *report,
                           spw_channel *channel) {
    spw_status status = the_end(end_s, channel);
    bool clips = report != NULL && report->clipped_samples > 0 && report->first_clip_s >= start_s &&
                 report->first_clip_s <= end_s;
    if (status == SPW_OK && clips)
        status = spw_event_add(channel, (spw_event){.kind = SPW_EVENT_CLIPPING,
                                                    .at_s = report->first_clip_s,
                                                    .count = report->clipped_samples,
                                                    .value_us = NAN});
    if (status == SPW_OK)
        status = flagged_pulses(channel);
    if (channel->events > 1)
        qsort(channel->event, channel->events, sizeof *channel->event, in_time);
    return status;
}
