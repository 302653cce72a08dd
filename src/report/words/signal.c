/* A signal's clock, polarity and events, in words. */
#include "report/words/words.h"

#include "report/fields/fields.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>

#define FIRST_TIMES 4 /* of each kind of event */

/* "widths 1.0460 and frame 1.0458 of what was asked", of what could be compared. */
static void ratio_words(const spw_clock *clock, char out[200]) {
    spw_figure width = spw_figure_unit(clock->width_ratio, 4, ""),
               period = spw_figure_unit(clock->period_ratio, 4, "");
    bool has_width = isfinite(clock->width_ratio), has_period = isfinite(clock->period_ratio);
    (void)snprintf(out, 200, "%s%s%s%s%s of what was asked", has_width ? "widths " : "",
                   has_width ? width.text : "", has_width && has_period ? " and " : "",
                   has_period ? "frame " : "", has_period ? period.text : "");
}

void spw_describe_clock(const spw_page *page, const spw_clock *clock) {
    char ratios[200];
    spw_figure fix = spw_figure_fixed(clock->correction, 5);
    ratio_words(clock, ratios);
    switch (clock->verdict) {
    case SPW_CLOCK_UNKNOWN:
        spw_page_row(page, "Clock",
                     "not compared: the bench file does not say what was asked for "
                     "([controller] asked_frame_us, asked_low_us, ...)");
        return;
    case SPW_CLOCK_AGREES:
        spw_page_row_toned(page, SPW_TONE_GOOD, "Clock", "agrees: %s", ratios);
        return;
    case SPW_CLOCK_SCALED:
        spw_page_row_toned(page, SPW_TONE_BAD, "Clock",
                           "off by one factor: %s; multiply the controller's time setting by %s",
                           ratios, fix.text);
        return;
    case SPW_CLOCK_DOUBLED:
        spw_page_row_toned(page, SPW_TONE_BAD, "Clock",
                           "%s: a timer clock or prescaler, not the range; multiply the time "
                           "setting by %s",
                           ratios, fix.text);
        return;
    case SPW_CLOCK_WIDTH_ONLY:
        spw_page_row(page, "Clock", "%s: the widths differ, not the clock", ratios);
        return;
    case SPW_CLOCK_DISAGREES:
        spw_page_row_toned(page, SPW_TONE_BAD, "Clock", "cannot be told: %s, two different factors",
                           ratios);
        return;
    }
}

/* Low pulses: in a sound recording no fault by themselves. The mean of high pulses is under half
 * of their height, that of low ones over it. */
static const char *turned_over(const spw_channel *channel) {
    bool sound = channel->kind == SPW_KIND_ANALOGUE && channel->unit == SPW_UNIT_FULL_SCALE;
    if (channel->polarity != SPW_POLARITY_NEGATIVE)
        return "";
    return sound ? "; sound cards often turn a signal over. A servo needs high pulses: a voltmeter "
                   "on its line then shows less than half of their height"
                 : "; a servo follows high pulses only";
}

void spw_describe_polarity(const spw_page *page, const spw_channel *channel) {
    if (channel->signal == SPW_SIGNAL_WIDTHS) {
        spw_page_row(page, "Polarity", "not told by widths alone");
        return;
    }
    const char *name = spw_polarity_name(channel->polarity), *turned = turned_over(channel);
    switch (channel->polarity_basis) {
    case SPW_BASIS_OPTION:
        spw_page_row(page, "Polarity", "%s, as --polarity says%s", name, turned);
        return;
    case SPW_BASIS_WIDTH:
        spw_page_row(page, "Polarity", "%s: only so are the widths those of control pulses%s", name,
                     turned);
        return;
    case SPW_BASIS_STEADIER_EDGE:
        spw_page_row(page, "Polarity", "%s: so the lead edges are the steadier ones%s", name,
                     turned);
        return;
    case SPW_BASIS_IDLE:
        spw_page_row(page, "Polarity", "%s, by the level at rest%s", name, turned);
        return;
    case SPW_BASIS_UNDECIDED:
        break;
    }
    spw_page_row_toned(page, SPW_TONE_BAD, "Polarity",
                       "undecided; shown as positive. The other reading: width %s every %s. "
                       "--polarity settles it",
                       spw_figure_unit(channel->other_width_us, 2, "us").text,
                       spw_figure_unit(channel->other_period_us, 2, "us").text);
}

static const char *event_label(spw_event_kind kind) {
    static const char *const label[] = {
        [SPW_EVENT_MISSING_FRAMES] = "Missing",    [SPW_EVENT_SHORT_FRAME] = "Short frames",
        [SPW_EVENT_SAMPLES_LOST] = "Lost samples", [SPW_EVENT_RUNT_PULSE] = "Runt pulses",
        [SPW_EVENT_LONG_PULSE] = "Long pulses",    [SPW_EVENT_JOINED_PULSE] = "Joined",
        [SPW_EVENT_ODD_WIDTH] = "Odd widths",      [SPW_EVENT_UNKNOWN_LEVEL] = "Level lost",
        [SPW_EVENT_CUT_PULSE] = "Cut pulse",       [SPW_EVENT_CLIPPING] = "Clipping",
        [SPW_EVENT_SIGNAL_LOST] = "Signal lost"};
    return label[kind];
}

/* The spacing of a kind's events when it is even (within 5 %), else NAN: what comes
 * so regularly has one cause in the controller. */
static double even_spacing_s(const spw_channel *channel, spw_event_kind kind) {
    double last = NAN, least = INFINITY, most = 0, sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < channel->events; i++) {
        if (channel->event[i].kind != kind)
            continue;
        double gap = channel->event[i].at_s - last;
        last = channel->event[i].at_s;
        if (isnan(gap))
            continue;
        least = fmin(least, gap);
        most = fmax(most, gap);
        sum += gap;
        n++;
    }
    return n >= 3 && most <= 1.05 * least ? sum / (double)n : (double)NAN;
}

/* One row a kind: how many, the first times. */
static void event_row(const spw_page *page, const spw_capture *capture, const spw_channel *channel,
                      spw_event_kind kind, bool also_none) {
    uint64_t places = 0, total = 0;
    spw_tone tone = SPW_TONE_PLAIN;
    spw_text times = {0};
    for (size_t i = 0; i < channel->events; i++) {
        const spw_event *event = &channel->event[i];
        if (event->kind != kind)
            continue;
        places++;
        total += event->count;
        if (!spw_event_is_rim(capture, event))
            tone = SPW_TONE_STRONG;
        if (places > FIRST_TIMES)
            continue;
        spw_text_puts(&times, places > 1 ? ", " : "");
        spw_text_puts(&times, spw_figure_unit(event->at_s, 3, "s").text);
        if (kind == SPW_EVENT_MISSING_FRAMES && event->count > 1)
            spw_text_printf(&times, " (%" PRIu64 ")", event->count);
        else if (kind == SPW_EVENT_SIGNAL_LOST)
            spw_text_printf(&times, " (no frame for %s)",
                            spw_figure_digits(event->value_us * 1e-6, 3, "s").text);
        else if (isfinite(event->value_us) && kind != SPW_EVENT_MISSING_FRAMES)
            spw_text_printf(&times, " (%s)", spw_figure_unit(event->value_us, 1, "us").text);
    }
    if (places > FIRST_TIMES)
        spw_text_printf(&times, " and %" PRIu64 " more", places - FIRST_TIMES);
    double spacing_s = even_spacing_s(channel, kind);
    if (isfinite(spacing_s))
        spw_text_printf(&times, ", one every %s", spw_figure_digits(spacing_s, 3, "s").text);
    spw_text_append(&times, "", 0);
    if (spw_text_status(&times) != SPW_OK)
        page->out->failed = true;
    else if (places > 0)
        spw_page_row_toned(page, tone, event_label(kind), "%" PRIu64 "%s: at %s", total,
                           kind == SPW_EVENT_MISSING_FRAMES ? (total == 1 ? " frame" : " frames")
                                                            : "",
                           times.data);
    else if (also_none)
        spw_page_row(page, event_label(kind), "none");
    spw_text_free(&times);
}

/* What the odd widths have in common. */
static void describe_odd(const spw_page *page, const spw_odd *odd) {
    if (odd->pulses == 0)
        return;
    bool uneven = isfinite(odd->every_s) && !odd->even;
    spw_page_row(page, "", "%zu in a row at most; the farthest %s in place of %s%s%s%s",
                 odd->longest_run, spw_figure_unit(odd->width_us, 1, "us").text,
                 spw_figure_unit(odd->instead_of_us, 1, "us").text,
                 uneven ? "; on average every " : "",
                 uneven ? spw_figure_digits(odd->every_s, 3, "s").text : "",
                 "; in no level, jitter or verdict");
}

static bool is_lost(const spw_channel *channel) {
    for (size_t i = 0; i < channel->events; i++)
        if (channel->event[i].kind == SPW_EVENT_SIGNAL_LOST)
            return true;
    return false;
}

/* A signal that is lost leaves the line at rest; else it is only the recording that ends. */
static void describe_end(const spw_page *page, const spw_capture *capture,
                         const spw_channel *channel) {
    static const char *const level[] = {"low", "high", "at an unknown level"};
    if (!(channel->last_for_s > 0))
        return;
    spw_figure for_s = spw_figure_digits(channel->last_for_s, 3, "s");
    if (is_lost(channel))
        spw_page_row(page, "Afterwards", "the line stayed %s for %s after the last frame",
                     level[channel->last_level], for_s.text);
    else
        spw_page_row(page, "Afterwards", "the %s ends; the line was %s for %s after the last frame",
                     capture->to_s > 0.0 ? "stretch judged" : "recording",
                     level[channel->last_level], for_s.text);
}

void spw_describe_events(const spw_page *page, const spw_capture *capture,
                         const spw_channel *channel) {
    bool line = channel->signal != SPW_SIGNAL_WIDTHS; /* widths tell nothing of the gaps */
    event_row(page, capture, channel, SPW_EVENT_MISSING_FRAMES, line);
    event_row(page, capture, channel, SPW_EVENT_JOINED_PULSE, line);
    static const spw_event_kind rest[] = {SPW_EVENT_SHORT_FRAME,   SPW_EVENT_RUNT_PULSE,
                                          SPW_EVENT_LONG_PULSE,    SPW_EVENT_ODD_WIDTH,
                                          SPW_EVENT_CUT_PULSE,     SPW_EVENT_CLIPPING,
                                          SPW_EVENT_UNKNOWN_LEVEL, SPW_EVENT_SIGNAL_LOST};
    spw_describe_broken_time(page, channel);
    for (size_t i = 0; i < sizeof rest / sizeof rest[0]; i++) {
        event_row(page, capture, channel, rest[i], false);
        if (rest[i] == SPW_EVENT_ODD_WIDTH)
            describe_odd(page, &channel->odd);
    }
    if (channel->events_dropped > 0)
        spw_page_row(page, "", "and %" PRIu64 " more events that are not listed",
                     channel->events_dropped);
    describe_end(page, capture, channel);
}
