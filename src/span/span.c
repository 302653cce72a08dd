/* The controller's span from the holds of one or several captures. */
#include "span/parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *spw_span_basis_name(spw_span_basis basis) {
    switch (basis) {
    case SPW_SPAN_HOLDS:
        return "holds";
    case SPW_SPAN_EXTREMES:
        return "extremes";
    case SPW_SPAN_GIVEN:
        return "given";
    }
    return "holds";
}

const char *spw_wire_name(spw_wire wire) {
    static const char *const name[] = {"unknown", "upright", "inverted", "maybe_inverted",
                                       "undecided"};
    return name[wire];
}

static spw_span_point no_point(void) {
    return (spw_span_point){.us = NAN,
                            .u = NAN,
                            .dof = NAN,
                            .U95 = NAN,
                            .u_own = NAN,
                            .u_shared = NAN,
                            .u_sampling = NAN};
}

static spw_span no_span(void) {
    return (spw_span){.low = no_point(),
                      .high = no_point(),
                      .neutral = no_point(),
                      .jitter_rms_us = NAN,
                      .floor_us = NAN,
                      .step_us = NAN,
                      .shortest_frame_us = NAN,
                      .mean_frame_us = NAN,
                      .saturates_high_us = NAN,
                      .saturates_low_us = NAN};
}

/* Neutral is the level between the ends that lasted longest in all: in the
 * middle half of the span (a stick stops anywhere on its way) and clearly longer
 * than the others there; else the one nearest to neutral_us, within a tenth of
 * the span. */
typedef struct candidates {
    spw_span_point longest, nearest;
    double second_s;
} candidates;

static void weigh(candidates *c, const spw_span_point *level, const spw_span *span,
                  double neutral_us) {
    double range = span->high.us - span->low.us;
    if (fabs(level->us - neutral_us) <= 0.1 * range &&
        (isnan(c->nearest.us) || fabs(level->us - neutral_us) < fabs(c->nearest.us - neutral_us)))
        c->nearest = *level;
    if (fabs(level->us - (span->low.us + span->high.us) / 2) > range / 4)
        return;
    if (isnan(c->longest.us) || level->seconds > c->longest.seconds) {
        c->second_s = isnan(c->longest.us) ? 0 : c->longest.seconds;
        c->longest = *level;
    } else
        c->second_s = fmax(c->second_s, level->seconds);
}

static spw_status between(const spw_held *held, size_t first, size_t end, size_t all,
                          size_t channels, double neutral_us, spw_span *span) {
    candidates c = {no_point(), no_point(), 0};
    while (first < end) {
        spw_span_point level;
        size_t taken;
        spw_status status =
            spw_level_grow(held, first, 1, end - first, all, channels, &level, &taken);
        if (status != SPW_OK)
            return status;
        first += taken;
        span->levels++;
        weigh(&c, &level, span, neutral_us);
    }
    bool clear = !isnan(c.longest.us) && c.longest.seconds > 1.25 * c.second_s;
    span->neutral = clear ? c.longest : c.nearest;
    return SPW_OK;
}

static spw_status from_holds(const spw_held *held, size_t n, size_t channels, double neutral_us,
                             spw_span *span) {
    size_t low, high;
    spw_status status = spw_level_grow(held, 0, 1, n, n, channels, &span->low, &low);
    if (status != SPW_OK)
        return status;
    span->levels = 1;
    if (low == n)
        return SPW_OK;
    status = spw_level_grow(held, n - 1, -1, n - low, n, channels, &span->high, &high);
    if (status != SPW_OK)
        return status;
    span->levels = 2;
    span->known = true;
    span->basis = SPW_SPAN_HOLDS;
    return between(held, low, n - high, n, channels, neutral_us, span);
}

/* Scatter within the holds, and what the capture alone would show. */
static void pool_jitter(const spw_held *held, size_t n, spw_span *span) {
    double squares = 0, dof = 0, floors = 0, frames = 0;
    for (size_t i = 0; i < n; i++) {
        const spw_summary *w = &held[i].hold->width_us;
        double count = (double)held[i].hold->pulses;
        span->frames += held[i].hold->pulses;
        if (isfinite(w->sd) && count > 1) {
            squares += (count - 1) * w->sd * w->sd;
            dof += count - 1;
        }
        if (isfinite(w->floor)) {
            floors += count * w->floor * w->floor;
            frames += count;
        }
    }
    if (dof > 0)
        span->jitter_rms_us = sqrt(squares / dof);
    if (frames > 0)
        span->floor_us = sqrt(floors / frames);
}

static double odd_by(const spw_odd *odd) {
    return odd->pulses > 0 ? fabs(odd->width_us - odd->instead_of_us) : -1;
}

static void pool_odd(const spw_channel *const *channels, size_t n, spw_span *span) {
    for (size_t i = 0; i < n; i++)
        if (i == 0 || odd_by(&channels[i]->odd) > odd_by(&span->odd))
            span->odd = channels[i]->odd;
}

static void pool_frames(const spw_channel *const *channels, size_t n, spw_span *span) {
    double sum = 0, frames = 0, finest = INFINITY;
    for (size_t i = 0; i < n; i++) {
        const spw_channel *channel = channels[i];
        if (channel->period_us.n > 0) {
            sum += (double)channel->period_us.n * channel->period_us.mean;
            frames += (double)channel->period_us.n;
            double least_us =
                channel->least_frame_us > 0 ? channel->least_frame_us : channel->period_us.min;
            span->shortest_frame_us = fmin(span->shortest_frame_us, least_us);
        }
        for (size_t r = 0; r < channel->regimes; r++)
            if (channel->regime[r].frames >= 8 && spw_regime_judged(channel, r))
                span->shortest_frame_us =
                    fmin(span->shortest_frame_us, channel->regime[r].period_us);
        if (isfinite(channel->step_us) && !(channel->step_u_us >= finest)) {
            span->step_us = channel->step_us;
            finest = channel->step_u_us;
        }
    }
    if (frames > 0)
        span->mean_frame_us = sum / frames;
}

static spw_held *gather(const spw_channel *const *channels, size_t n, size_t *holds) {
    size_t most = 0;
    for (size_t i = 0; i < n; i++)
        most += channels[i]->holds;
    spw_held *held = malloc((most + 1) * sizeof *held);
    *holds = 0;
    for (size_t i = 0; i < n && held != NULL; i++)
        for (size_t k = 0; k < channels[i]->holds; k++)
            if (channels[i]->hold[k].pulses > 0 && isfinite(channels[i]->hold[k].width_us.mean) &&
                spw_hold_judged(channels[i], &channels[i]->hold[k]))
                held[(*holds)++] = (spw_held){&channels[i]->hold[k], i};
    return held;
}

/* A control that was swept: what it rested at meanwhile, if anything. */
static spw_status try_extremes(const spw_channel *const *channels, size_t n, double neutral_us,
                               spw_span *span) {
    spw_span_point rest = span->levels == 1 ? span->low : no_point();
    size_t levels = span->levels;
    span->low = span->high = no_point();
    spw_status status = spw_span_extremes(channels, n, span);
    if (status != SPW_OK)
        return status;
    if (span->known) {
        candidates c = {no_point(), no_point(), 0};
        if (!isnan(rest.us))
            weigh(&c, &rest, span, neutral_us);
        span->neutral = isnan(c.longest.us) ? c.nearest : c.longest;
    } else if (levels == 0)
        (void)snprintf(span->reason, sizeof span->reason,
                       "the pulses never stood still for 8 frames and 0.2 s, and they do not "
                       "sweep from end to end either");
    else {
        /* Tenths by hand: no decimal mark of a locale gets in. */
        long tenths = lround(rest.us * 10);
        (void)snprintf(span->reason, sizeof span->reason,
                       "the pulses stood still at one level only, %ld.%ld us; a span needs both "
                       "ends",
                       tenths / 10, tenths % 10);
    }
    return SPW_OK;
}

/* A sound card may turn a signal over; a logic input and a volts column do not. */
static spw_wire wire_of(const spw_channel *channel) {
    bool sound = channel->kind == SPW_KIND_ANALOGUE && channel->unit == SPW_UNIT_FULL_SCALE;
    if (channel->signal == SPW_SIGNAL_WIDTHS)
        return SPW_WIRE_UNKNOWN;
    if (channel->polarity_basis == SPW_BASIS_UNDECIDED ||
        channel->polarity == SPW_POLARITY_UNDECIDED)
        return SPW_WIRE_UNDECIDED;
    if (channel->polarity == SPW_POLARITY_POSITIVE)
        return SPW_WIRE_UPRIGHT;
    return sound ? SPW_WIRE_MAYBE_INVERTED : SPW_WIRE_INVERTED;
}

static spw_wire wire_of_all(const spw_channel *const *channels, size_t n) {
    spw_wire wire = n > 0 ? wire_of(channels[0]) : SPW_WIRE_UNKNOWN;
    for (size_t i = 1; i < n; i++)
        if (wire_of(channels[i]) != wire)
            wire = SPW_WIRE_UNKNOWN;
    return wire;
}

spw_status spw_span_build(const spw_channel *const *channels, size_t n, double neutral_us,
                          spw_span *span) {
    spw_span found = no_span();
    size_t holds;
    spw_held *held = gather(channels, n, &holds);
    if (held == NULL)
        return SPW_ERR_MEMORY;
    spw_held_sort(held, holds);
    spw_left_out left_out;
    holds = spw_held_leave_out(held, holds, &left_out);
    spw_status status = holds > 0 ? from_holds(held, holds, n, neutral_us, &found) : SPW_OK;
    if (status == SPW_OK)
        pool_jitter(held, holds, &found);
    free(held);
    if (status == SPW_OK && !found.known)
        status = try_extremes(channels, n, neutral_us, &found);
    if (status != SPW_OK)
        return status;
    pool_frames(channels, n, &found);
    pool_odd(channels, n, &found);
    found.wire = wire_of_all(channels, n);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < channels[i]->doubts; k++)
            spw_doubt_join(&found.doubt, &channels[i]->doubt[k]);
    if (found.known && found.basis == SPW_SPAN_HOLDS) {
        spw_span_left_out(&found, &left_out);
        spw_span_saturation(channels, n, &found);
    }
    *span = found;
    return SPW_OK;
}

static spw_span_point exact(double us) {
    return (spw_span_point){.us = us, .dof = INFINITY};
}

spw_status spw_span_given(double low_us, double neutral_us, double high_us, spw_span *span) {
    double middle = isnan(neutral_us) ? (low_us + high_us) / 2 : neutral_us;
    if (!(isfinite(low_us) && isfinite(high_us) && isfinite(middle) && low_us > 0 &&
          low_us < middle && middle < high_us))
        return SPW_ERR_ARGUMENT;
    spw_span given = no_span();
    given.known = true;
    given.basis = SPW_SPAN_GIVEN;
    given.low = exact(low_us);
    given.high = exact(high_us);
    given.levels = 2;
    if (!isnan(neutral_us)) {
        given.neutral = exact(neutral_us);
        given.levels = 3;
    }
    *span = given;
    return SPW_OK;
}
