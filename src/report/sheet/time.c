/* The signal section: width over time with holds, events and regimes. */
#include "report/sheet/sheet.h"
#include "report/words/words.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define LEFT_PX 50.0
#define RIGHT_PX 8.0
#define TOP_PX 34.0 /* a strip of event letters over a strip of hold numbers */
#define EVENT_BASE_PX 12.0
#define HOLD_BASE_PX 27.0
#define PLOT_PX 126.0
#define FOOT_PX 24.0
#define LETTER_PX 11.0 /* room of a letter in its strip */
#define MOST_LETTERS 80
#define KINDS 11

static const struct {
    char letter;
    const char *words;
} event_words[KINDS] = {
    [SPW_EVENT_MISSING_FRAMES] = {'M', "missing frames"},
    [SPW_EVENT_SHORT_FRAME] = {'F', "short frame"},
    [SPW_EVENT_SAMPLES_LOST] = {'B', "samples lost by the recorder"},
    [SPW_EVENT_RUNT_PULSE] = {'R', "runt pulse"},
    [SPW_EVENT_LONG_PULSE] = {'L', "long pulse"},
    [SPW_EVENT_JOINED_PULSE] = {'J', "joined pulses"},
    [SPW_EVENT_ODD_WIDTH] = {'O', "odd width"},
    [SPW_EVENT_UNKNOWN_LEVEL] = {'U', "unknown level"},
    [SPW_EVENT_CUT_PULSE] = {'C', "cut pulse"},
    [SPW_EVENT_CLIPPING] = {'X', "clipping"},
    [SPW_EVENT_SIGNAL_LOST] = {'S', "signal lost"},
};

static bool in_figures(const spw_pulse *pulse) {
    return (pulse->flags & SPW_PULSE_OUT) == 0;
}

static spw_axis width_axis(const spw_channel *channel) {
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < channel->pulses; i++) {
        if (!in_figures(&channel->pulse[i]))
            continue;
        low = fmin(low, spw_pulse_width_us(&channel->pulse[i]));
        high = fmax(high, spw_pulse_width_us(&channel->pulse[i]));
    }
    double margin = fmax(0.04 * (high - low), 0.5);
    return spw_axis_make(low - margin, high + margin, TOP_PX + PLOT_PX, TOP_PX, 26.0, false);
}

static void draw_holds(const spw_draw *draw, const spw_axis *x, const spw_channel *channel) {
    double free_from = 0.0, drawn_to = -1.0;
    for (size_t i = 0; i < channel->holds; i++) {
        const spw_hold *hold = &channel->hold[i];
        double from = spw_axis_px(x, hold->start_s), to = spw_axis_px(x, hold->end_s);
        char number[24];
        if (to - drawn_to < 1.0) /* many short holds: once a px is enough */
            continue;
        spw_draw_rect(draw, "zone", fmax(from, drawn_to), TOP_PX, to - fmax(from, drawn_to),
                      PLOT_PX);
        drawn_to = to;
        (void)snprintf(number, sizeof number, "%zu", i + 1);
        double half = 0.5 * spw_draw_text_width(number), middle = 0.5 * (from + to);
        if (middle - half < free_from)
            continue;
        spw_draw_text(draw, "num", middle, HOLD_BASE_PX, SPW_ANCHOR_MIDDLE, number);
        free_from = middle + half + 4.0;
    }
}

static void draw_regimes(const spw_draw *draw, const spw_axis *x, const spw_channel *channel) {
    double free_from = 0.0;
    for (size_t i = 0; i < channel->regimes && channel->regimes > 1; i++) {
        const spw_regime *regime = &channel->regime[i];
        double from = spw_axis_px(x, regime->start_s), to = spw_axis_px(x, regime->end_s);
        spw_figure period = spw_figure_unit(regime->period_us, 0, SPW_MICRO);
        if (from < free_from)
            continue;
        spw_draw_line(draw, "dash", from, TOP_PX, from, TOP_PX + PLOT_PX);
        free_from = from + 3.0;
        if (to - from < spw_draw_text_width(period.text) + 6.0)
            continue;
        spw_draw_text(draw, "afters", from + 4.0, TOP_PX + PLOT_PX - 5.0, SPW_ANCHOR_START,
                      period.text);
    }
}

/* A place in the strip of letters. */
typedef struct slot {
    double px;
    char letter;
    bool more;
} slot;

/* The first event of each place; the others only show as a plus. */
static size_t fill_slots(const spw_axis *x, const spw_plan_source *source,
                         slot slots[MOST_LETTERS]) {
    const spw_channel *channel = source->channel;
    double length = x->end - x->at;
    size_t n = (size_t)fmin(MOST_LETTERS, floor(length / LETTER_PX));
    for (size_t i = 0; i < channel->events; i++) {
        double px = spw_axis_px(x, channel->event[i].at_s);
        if (!isfinite(px) || spw_event_is_rim(source->capture, &channel->event[i]))
            continue;
        slot *s = &slots[(size_t)((px - x->at) / length * ((double)n - 1e-6))];
        if (s->letter != 0) {
            s->more = true;
            continue;
        }
        *s = (slot){px, event_words[channel->event[i].kind].letter, false};
    }
    return n;
}

static void draw_events(const spw_draw *draw, const spw_axis *x, const spw_plan_source *source) {
    slot slots[MOST_LETTERS] = {{0.0, 0, false}};
    size_t n = fill_slots(x, source, slots), last = MOST_LETTERS;
    for (size_t s = 0; s < n; s++) {
        if (slots[s].letter == 0)
            continue;
        spw_draw_line(draw, "event", slots[s].px, EVENT_BASE_PX + 3.0, slots[s].px,
                      TOP_PX + PLOT_PX);
        if (last < n && slots[s].px - slots[last].px < 1.7 * LETTER_PX) {
            slots[last].more = true; /* no room for a letter of its own */
            slots[s].letter = 0;
            continue;
        }
        last = s;
    }
    for (size_t s = 0; s < n; s++) {
        char text[3] = {slots[s].letter, slots[s].more ? '+' : '\0', '\0'};
        if (slots[s].letter != 0)
            spw_draw_text(draw, "eventt", slots[s].px, EVENT_BASE_PX, SPW_ANCHOR_MIDDLE, text);
    }
}

static void draw_time(spw_sheet *sheet, const spw_plan_source *source, size_t index, bool wide) {
    const spw_channel *channel = source->channel;
    char id[32], description[400];
    double width = wide ? SPW_WIDE_PX : SPW_NARROW_PX;
    (void)snprintf(id, sizeof id, "time%zu%s", index, wide ? "" : "-n");
    (void)snprintf(
        description, sizeof description, "%zu pulses over %s in %zu holds; widths from %s to %s.",
        channel->pulses,
        spw_figure_plain(spw_judged_to_s(source->capture) - spw_judged_from_s(source->capture), 4,
                         "s")
            .text,
        channel->holds, spw_figure_unit(channel->width_us.min, 1, "").text,
        spw_figure_unit(channel->width_us.max, 1, SPW_MICRO).text);
    spw_draw draw =
        spw_draw_begin(sheet->out, id, wide ? "wide" : "narrow", width, TOP_PX + PLOT_PX + FOOT_PX,
                       "Pulse width over time", description);
    spw_axis x = spw_axis_make(spw_judged_from_s(source->capture), spw_judged_to_s(source->capture),
                               LEFT_PX, width - RIGHT_PX, 52.0, false),
             y = width_axis(channel);
    spw_envelope *envelope;
    if (spw_envelope_new(&x, &y, &envelope) != SPW_OK) {
        sheet->out->failed = true;
        return;
    }
    for (size_t i = 0; i < channel->pulses; i++)
        if (in_figures(&channel->pulse[i]))
            spw_envelope_add(envelope, channel->pulse[i].lead_s,
                             spw_pulse_width_us(&channel->pulse[i]));
    draw_holds(&draw, &x, channel);
    spw_sheet_draw_doubts(&draw, &x, TOP_PX, TOP_PX + PLOT_PX, channel);
    spw_axis_draw_x(&draw, &x, TOP_PX + PLOT_PX, TOP_PX, "s");
    spw_axis_draw_y(&draw, &y, LEFT_PX, width - RIGHT_PX, SPW_MICRO);
    draw_regimes(&draw, &x, channel);
    draw_events(&draw, &x, source);
    spw_envelope_draw(envelope, &draw, "dots");
    spw_draw_end(&draw);
    spw_envelope_free(envelope);
}

/* The letters that occur, with how often. */
static void put_legend(spw_sheet *sheet, const spw_plan_source *source) {
    const spw_channel *channel = source->channel;
    uint64_t count[KINDS] = {0};
    for (size_t i = 0; i < channel->events; i++)
        if (!spw_event_is_rim(source->capture, &channel->event[i]))
            count[channel->event[i].kind] += channel->event[i].count;
    bool any = false;
    for (size_t k = 0; k < KINDS; k++) {
        if (count[k] == 0)
            continue;
        spw_sheet_printf(sheet, "%s<b class=\"n\">%c</b> %s (%" PRIu64 ")",
                         any ? ", " : "Events: ", event_words[k].letter, event_words[k].words,
                         count[k]);
        any = true;
    }
    spw_sheet_put(sheet, any ? ". " : "No events. ");
}

void spw_sheet_time(spw_sheet *sheet) {
    const spw_sheet_facts *facts = sheet->facts;
    for (size_t i = 0; i < facts->n; i++) {
        const spw_channel *channel = facts->sources[i].channel;
        spw_sheet_put(sheet, "<figure>\n<figcaption><b>Pulse width over time</b>");
        if (facts->n > 1) {
            spw_sheet_name(sheet, facts->sources[i].capture->file);
            spw_sheet_put(sheet, ": ");
        }
        spw_sheet_put(sheet, "Numbered and shaded: holds, where the command stood still; between "
                             "them it moved. ");
        spw_sheet_trust(sheet, &facts->sources[i]);
        put_legend(sheet, &facts->sources[i]);
        if (channel->regimes > 1)
            spw_sheet_printf(
                sheet, "Dashed: where the frame period changes; only frames of %s are judged.",
                spw_figure_unit(channel->regime[channel->main_regime].period_us, 1, SPW_MICRO)
                    .text);
        spw_sheet_put(sheet, "</figcaption>\n");
        draw_time(sheet, &facts->sources[i], i, true);
        draw_time(sheet, &facts->sources[i], i, false);
        spw_sheet_put(sheet, "</figure>\n");
    }
}

void spw_sheet_signal(spw_sheet *sheet) {
    spw_sheet_section(sheet, "signal", "What was on the line");
    spw_sheet_time(sheet);
    spw_sheet_put(sheet, "<div class=\"pair\">\n");
    spw_sheet_scatter(sheet);
    spw_sheet_pulse(sheet);
    spw_sheet_put(sheet, "</div>\n<div class=\"pair\">\n");
    spw_sheet_period(sheet);
    spw_sheet_put(sheet, "</div>\n");
    spw_sheet_section_end(sheet);
}
