/* What a person should know before trusting a channel's figures. */
#include "pulses/train.h"

#include <math.h>
#include <stdio.h>

static spw_status about_polarity(spw_channel *c) {
    if (c->signal != SPW_SIGNAL_CONTROL_PULSES || c->polarity_basis != SPW_BASIS_UNDECIDED)
        return SPW_OK;
    if (!isfinite(c->other_width_us))
        return spw_notes_add(&c->warnings, "polarity undecided: the figures are those of high "
                                           "pulses (--polarity settles it)");
    return spw_notes_add(&c->warnings,
                         "polarity undecided: high for %.1f us and low for %.1f us could each be "
                         "the pulse; the figures are those of high pulses (--polarity settles it)",
                         c->width_us.mean, c->other_width_us);
}

/* Such edges come from a simulator, or from a controller that shares the recorder's clock:
 * what the recorder's own step was, they hide. */
static spw_status about_step(const spw_train *train, spw_channel *c) {
    if (train->grid != SPW_GRID_COARSE || c->signal != SPW_SIGNAL_CONTROL_PULSES)
        return SPW_OK;
    return spw_notes_add(&c->warnings,
                         "all edges lie on a grid of %.6g us, coarser than recorders sample: the "
                         "recorder's step is hidden, and %.4g us is taken to be safe; give its "
                         "samples a second with --rate HZ",
                         train->grid_us, train->resolution_us);
}

/* A scope's screen: two pulses, or three. */
static spw_status about_few(const spw_train *train, spw_channel *c) {
    enum { FEW = 3 };
    if (train->read || c->signal != SPW_SIGNAL_CONTROL_PULSES || c->pulses > FEW ||
        c->period_us.n == 0)
        return SPW_OK;
    return spw_notes_add(&c->warnings,
                         "only %s pulses: %s, %.1f us; how steady frame and widths are cannot be "
                         "told from so few",
                         c->pulses == 2 ? "two" : "three",
                         c->period_us.n == 1 ? "one period" : "two periods, on average",
                         c->period_us.mean);
}

/* Frames faster than most and pulses too short for a window of 200 us are what a rate given ten
 * times too high makes of 50 Hz. */
static spw_status about_rate(const spw_train *train, spw_channel *c) {
    static const double FAST_HZ = 400, USUAL_US = 20e3;
    enum { RUNTS_IN = 20 }; /* one pulse in so many */
    size_t runts = 0;
    for (size_t i = 0; i < c->pulses; i++)
        runts += (c->pulse[i].flags & SPW_PULSE_RUNT) != 0;
    bool fast = c->frame_rate_hz > FAST_HZ && runts * RUNTS_IN > c->pulses;
    if (c->signal != SPW_SIGNAL_CONTROL_PULSES || !(train->asked_rate_hz > 0) || !fast)
        return SPW_OK;
    return spw_notes_add(&c->warnings,
                         "frames of %.0f Hz and %zu runt pulses: is --rate %.9g right? At --rate "
                         "%.9g the frames are 50 Hz",
                         c->frame_rate_hz, runts, train->asked_rate_hz,
                         spw_three_digits(train->asked_rate_hz * c->period_us.mean / USUAL_US));
}

static spw_status about_dropped(const spw_train *train, spw_channel *c) {
    if (train->dropped_edges == 0 || c->signal != SPW_SIGNAL_CONTROL_PULSES)
        return SPW_OK;
    return spw_notes_add(&c->warnings,
                         "%llu level changes between %.4f s and %.4f s follow each other too fast "
                         "for control pulses and were left out",
                         (unsigned long long)train->dropped_edges, train->dropped_first_s,
                         train->dropped_last_s);
}

static spw_status about_first(spw_channel *c) {
    size_t n = 0, at = 0;
    for (size_t i = 0; i < c->pulses; i++)
        if ((c->pulse[i].flags & SPW_PULSE_FIRST) != 0) {
            at = n == 0 ? i : at;
            n++;
        }
    if (n == 0)
        return SPW_OK;
    return spw_notes_add(&c->warnings,
                         "%zu of the first pulses after the line came up are odd (%.1f us at %.4f "
                         "s) and are not counted",
                         n, spw_pulse_width_us(&c->pulse[at]), c->pulse[at].lead_s);
}

static spw_status about_regimes(spw_channel *c) {
    if (c->regimes < 2)
        return SPW_OK;
    const spw_regime *r = &c->regime[c->main_regime];
    return spw_notes_add(&c->warnings,
                         "the frame period changes in mid capture: %zu stretches; the figures are "
                         "those of the longest, %.1f us from %.3f s to %.3f s, and the span takes "
                         "holds of that frame period only (--from S --to S choose a stretch)",
                         c->regimes, r->period_us, r->start_s, r->end_s);
}

static spw_status about_drift(spw_channel *c) {
    if (isnan(c->clock_drift_ppm_per_s))
        return SPW_OK;
    const spw_regime *r = &c->regime[c->main_regime];
    double ppm = c->clock_drift_ppm_per_s * (r->end_s - r->start_s);
    return spw_notes_add(&c->warnings,
                         "a clock drifts, the recorder's or the controller's: frames and widths "
                         "%s alike, by %.3g parts in a million in %.0f s; the uncertainties take "
                         "it in",
                         ppm > 0 ? "grow" : "shrink", fabs(ppm), r->end_s - r->start_s);
}

/* Busy software times pulses to 20 to 50 us (common practice); more is rarely a controller. */
static const double SOFTWARE_SD_US = 20;

static spw_status about_scatter(spw_channel *c) {
    const spw_hold *longest = NULL;
    for (size_t i = 0; i < c->holds; i++)
        if (longest == NULL || c->hold[i].pulses > longest->pulses)
            longest = &c->hold[i];
    double sd_us = longest != NULL ? longest->width_us.sd : 0;
    if (!spw_signal_has_pulses(c->signal) || !(sd_us > SOFTWARE_SD_US))
        return SPW_OK;
    return spw_notes_add(&c->warnings,
                         "the widths scatter by %.0f us rms about one level: software that times "
                         "pulses does that, but so does a signal of another kind (the echo of a "
                         "distance sensor, for one): make sure that this is the servo's line",
                         sd_us);
}

/* With its place, where it has one. */
static spw_status say_doubt(const spw_edge_report *report, uint32_t what, const char *text,
                            spw_channel *c) {
    size_t places = 0;
    for (size_t i = 0; i < report->doubts_placed; i++)
        places += report->doubt[i].what == what;
    const spw_doubt *first = NULL;
    for (size_t i = 0; places > 0 && i < c->doubts && first == NULL; i++)
        first = c->doubt[i].what == what ? &c->doubt[i] : NULL;
    if (first == NULL)
        return spw_notes_add(&c->warnings, "%s", text);
    if (places == 1)
        return spw_notes_add(&c->warnings, "from %.3f s to %.3f s %s", first->from_s, first->to_s,
                             text);
    return spw_notes_add(&c->warnings, "in %zu stretches, the first from %.3f s to %.3f s, %s",
                         places, first->from_s, first->to_s, text);
}

/* What changed and was met is no doubt, but worth a look at the line. */
static spw_status about_shapes(const spw_edge_report *report, spw_channel *c) {
    if (report == NULL || report->shapes_more == 0)
        return SPW_OK;
    return spw_notes_add(
        &c->warnings,
        report->shapes_more == 1
            ? "the edges' shape changes at %.3f s: from there on widths are timed "
              "with the new one"
            : "the edges' shape changes more than once, first at %.3f s: each part "
              "is timed with its own",
        report->shape_changed_s);
}

static spw_status about_wander(spw_channel *c) {
    size_t wander = 0;
    double most_us = 0;
    for (size_t h = 0; h < c->holds; h++) {
        wander += c->hold[h].budget.wander_us > 0;
        most_us = fmax(most_us, c->hold[h].budget.wander_us);
    }
    if (wander == 0)
        return SPW_OK;
    return spw_notes_add(&c->warnings,
                         "the level wanders by itself in %zu of %zu holds, by up to %.3g us within "
                         "one: the interval of such a hold is that of where its level will be, "
                         "which more frames do not narrow",
                         wander, c->holds, most_us);
}

/* Slower and shorter than any command by hand (a stick moves 500 us in a second). */
static const double SLOW_US_PER_S = 100, SHORT_US = 100;

static spw_status about_moves(spw_channel *c) {
    const spw_move *first = NULL;
    size_t slow = 0;
    for (size_t i = 0; i < c->moves; i++) {
        const spw_move *move = &c->move[i];
        if (fabs(move->slope_us_per_s) > SLOW_US_PER_S ||
            fabs(move->to_us - move->from_us) > SHORT_US)
            continue;
        first = slow++ == 0 ? move : first;
    }
    if (slow == 0)
        return SPW_OK;
    char more[64] = "";
    if (slow > 1)
        (void)snprintf(more, sizeof more, " (and in %zu more stretches)", slow - 1);
    return spw_notes_add(&c->warnings,
                         "the width moves slowly, at %.3g us/s from %.3f s to %.3f s%s: that is no "
                         "hold, and no level is taken from it",
                         first->slope_us_per_s, first->start_s, first->end_s, more);
}

static spw_status about_doubts(const spw_edge_report *report, spw_channel *c) {
    static const struct {
        uint32_t doubt;
        const char *text;
    } said[] = {
        {SPW_DOUBT_CLIPPING,
         "the recording clips: lower its level; the stated uncertainty cannot be trusted"},
        {SPW_DOUBT_SATURATION,
         "the recorder's input saturates (lower its level): the edges' shape bends with the "
         "level; the stated uncertainty cannot be trusted"},
        {SPW_DOUBT_NO_SHAPE,
         "no one shape fits all edges: pulses have too few samples to learn it from, or the "
         "recorder samples without a filter (record faster); the timing is coarser than it could "
         "be"},
        {SPW_DOUBT_ASYMMETRY,
         "rising and falling edges have different shapes: widths may be off by more than the "
         "stated uncertainty"},
        {SPW_DOUBT_FEW,
         "too few pulses to learn the edges' shape from: the timing is coarser than it could be"},
        {SPW_DOUBT_TOO_FAST, "the edges are too fast for this sample rate: record faster"},
        {SPW_DOUBT_NO_PLATEAU,
         "the signal never settles for 100 us: no level can be told, so no width either"},
        {SPW_DOUBT_WEAK,
         "the steps are less than a fifth as high as before: the line fades, or what couples in "
         "from another line was taken for it"},
        {SPW_DOUBT_SHAPE,
         "the edges look different from those that the timing was learned from: widths may be off "
         "by more than the stated uncertainty"},
    };
    for (size_t i = 0; report != NULL && i < sizeof said / sizeof said[0]; i++) {
        if ((report->doubts & said[i].doubt) == 0)
            continue;
        spw_status status = say_doubt(report, said[i].doubt, said[i].text, c);
        if (status != SPW_OK)
            return status;
    }
    if (report != NULL && (report->doubts & SPW_DOUBT_LOSSY) != 0) {
        spw_status status =
            spw_notes_add(&c->warnings,
                          "the recording went through a lossy codec: widths may be off by %.*f us; "
                          "record uncompressed",
                          report->u_codec_us < 1 ? 1 : 0, 2 * report->u_codec_us);
        if (status != SPW_OK)
            return status;
    }
    spw_status status = about_shapes(report, c);
    if (status != SPW_OK)
        return status;
    if (report == NULL || report->missing_samples == 0)
        return SPW_OK;
    return spw_notes_add(&c->warnings, "%llu samples are missing",
                         (unsigned long long)report->missing_samples);
}

static spw_status about_events(spw_channel *c) {
    if (c->events_dropped == 0)
        return SPW_OK;
    return spw_notes_add(&c->warnings, "%llu further events are not listed",
                         (unsigned long long)c->events_dropped);
}

spw_status spw_warnings_add(const spw_train *train, const spw_edge_report *report,
                            spw_channel *channel) {
    spw_status status = about_polarity(channel);
    if (status == SPW_OK)
        status = about_step(train, channel);
    if (status == SPW_OK)
        status = about_few(train, channel);
    if (status == SPW_OK)
        status = about_rate(train, channel);
    if (status == SPW_OK)
        status = about_dropped(train, channel);
    if (status == SPW_OK)
        status = about_first(channel);
    if (status == SPW_OK)
        status = about_regimes(channel);
    if (status == SPW_OK)
        status = about_drift(channel);
    if (status == SPW_OK)
        status = about_scatter(channel);
    if (status == SPW_OK)
        status = about_wander(channel);
    if (status == SPW_OK)
        status = about_moves(channel);
    if (status == SPW_OK)
        status = about_doubts(report, channel);
    if (status == SPW_OK)
        status = about_events(channel);
    return status;
}
