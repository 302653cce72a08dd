/* A typical pulse: its state levels and its 50 % reference level instants. */
#include "report/sheet/sheet.h"
#include "report/sheet/wave.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define LEFT_PX 50.0
#define RIGHT_PX 10.0
#define TOP_PX 20.0
#define PLOT_PX 108.0
#define FOOT_PX 24.0
#define MOST_JOINED 400 /* samples that a line joins; more stand close enough */
#define BEFORE 0.3      /* of the width, shown on both sides */

/* The counted pulse whose width is nearest to the median. */
static const spw_pulse *typical(const spw_channel *channel) {
    const spw_pulse *nearest = NULL;
    double best = INFINITY;
    for (size_t i = 0; i < channel->pulses; i++) {
        const spw_pulse *pulse = &channel->pulse[i];
        double off = fabs(spw_pulse_width_us(pulse) - channel->width_us.median);
        if ((pulse->flags & SPW_PULSE_OUT) != 0 || !(off < best))
            continue;
        best = off;
        nearest = pulse;
    }
    return nearest;
}

static spw_axis level_axis(const spw_channel *channel, const spw_wave *wave) {
    double low = 0.0, high = 1.0;
    if (channel->has_levels) {
        low = fmin(channel->level_low, channel->level_high);
        high = fmax(channel->level_low, channel->level_high);
    }
    for (size_t i = 0; i < wave->n; i++) {
        low = fmin(low, (double)wave->value[i]);
        high = fmax(high, (double)wave->value[i]);
    }
    double margin = 0.14 * (high - low);
    return spw_axis_make(low - margin, high + margin, TOP_PX + PLOT_PX, TOP_PX, 30.0, false);
}

/* Instants count from the lead edge. */
static void draw_trace(const spw_draw *draw, const spw_axis *x, double rest, double active,
                       double width_us) {
    spw_path path = spw_path_begin(draw, "line");
    double lead = spw_axis_px(x, 0.0), trail = spw_axis_px(x, width_us);
    spw_path_move(&path, x->at, rest);
    spw_path_line(&path, lead, rest);
    spw_path_line(&path, lead, active);
    spw_path_line(&path, trail, active);
    spw_path_line(&path, trail, rest);
    spw_path_line(&path, x->end, rest);
    spw_path_end(&path);
}

static void draw_instants(const spw_draw *draw, const spw_axis *x, double half, double width_us) {
    double lead = spw_axis_px(x, 0.0), trail = spw_axis_px(x, width_us);
    spw_figure width = spw_figure_unit(width_us, 2, SPW_MICRO);
    spw_draw_line(draw, "fine", x->at, half, x->end, half);
    spw_draw_mark(draw, "mark", SPW_MARK_DIAMOND, lead, half);
    spw_draw_mark(draw, "mark", SPW_MARK_DIAMOND, trail, half);
    spw_draw_text(draw, "lab strong", 0.5 * (lead + trail), half - 6.0, SPW_ANCHOR_MIDDLE,
                  width.text);
    spw_draw_text(draw, "num", x->at + 4.0, half - 5.0, SPW_ANCHOR_START, "50 %");
}

/* The recorded value at an instant, between its two neighbours. */
static double value_at(const spw_wave *wave, double us) {
    double place = (us - wave->first_us) / wave->step_us;
    if (!(place >= 0.0 && place < (double)(wave->n - 1)))
        return NAN;
    size_t i = (size_t)place;
    double share = place - (double)i;
    return (1.0 - share) * (double)wave->value[i] + share * (double)wave->value[i + 1];
}

/* The samples as they were recorded, and the instants found between them. */
static void draw_samples(spw_sheet *sheet, const spw_draw *draw, const spw_axis *x,
                         const spw_axis *y, const spw_wave *wave, double width_us) {
    spw_envelope *envelope;
    if (spw_envelope_new(x, y, &envelope) != SPW_OK) {
        sheet->out->failed = true;
        return;
    }
    spw_path path = spw_path_begin(draw, "thin");
    for (size_t i = 0; i < wave->n; i++) {
        double at = wave->first_us + wave->step_us * (double)i, value = (double)wave->value[i];
        spw_envelope_add(envelope, at, value);
        if (wave->n < MOST_JOINED)
            spw_path_line(&path, isfinite(value) ? spw_axis_px(x, at) : (double)NAN,
                          spw_axis_px(y, value));
    }
    spw_path_end(&path);
    spw_envelope_draw(envelope, draw, "dots");
    spw_envelope_free(envelope);
    const double instant[] = {0.0, width_us};
    for (size_t i = 0; i < 2; i++) {
        double middle = spw_axis_px(y, value_at(wave, instant[i]));
        if (isfinite(middle))
            spw_draw_mark(draw, "mark", SPW_MARK_DIAMOND, spw_axis_px(x, instant[i]), middle);
    }
    spw_draw_text(draw, "lab strong", 0.5 * (spw_axis_px(x, 0.0) + spw_axis_px(x, width_us)),
                  0.5 * (y->at + y->end) + 4.0, SPW_ANCHOR_MIDDLE,
                  spw_figure_unit(width_us, 2, SPW_MICRO).text);
}

static void draw_levels(const spw_draw *draw, const spw_channel *channel, const spw_axis *y,
                        double low, double high) {
    if (channel->has_levels) {
        const char *unit = channel->unit == SPW_UNIT_VOLT ? "V" : "of full scale";
        spw_axis_draw_y(draw, y, LEFT_PX, 0.0, "");
        spw_draw_text(draw, "num", LEFT_PX, TOP_PX - 7.0, SPW_ANCHOR_START, unit);
        return;
    }
    spw_draw_line(draw, "axis", LEFT_PX, TOP_PX, LEFT_PX, TOP_PX + PLOT_PX);
    spw_draw_text(draw, "num", LEFT_PX - 6.0, high + 4.0, SPW_ANCHOR_END, "high");
    spw_draw_text(draw, "num", LEFT_PX - 6.0, low + 4.0, SPW_ANCHOR_END, "low");
}

static void draw_pulse(spw_sheet *sheet, const spw_channel *channel, const spw_pulse *pulse,
                       const spw_wave *wave) {
    char description[400];
    double width_us = spw_pulse_width_us(pulse);
    bool negative = channel->polarity == SPW_POLARITY_NEGATIVE;
    (void)snprintf(description, sizeof description, "A pulse of %s, %s, with its lead edge at %s.",
                   spw_figure_unit(width_us, 2, SPW_MICRO).text,
                   negative ? "to the low level" : "to the high level",
                   spw_figure_unit(pulse->lead_s, 6, "s").text);
    spw_draw draw = spw_draw_begin(sheet->out, "pulse", "half", SPW_NARROW_PX,
                                   TOP_PX + PLOT_PX + FOOT_PX, "A typical pulse", description);
    spw_axis x = spw_axis_make(-BEFORE * width_us, (1.0 + BEFORE) * width_us, LEFT_PX,
                               SPW_NARROW_PX - RIGHT_PX, 52.0, false),
             y = level_axis(channel, wave);
    double low_value = channel->has_levels ? fmin(channel->level_low, channel->level_high) : 0.0,
           high_value = channel->has_levels ? fmax(channel->level_low, channel->level_high) : 1.0;
    double low = spw_axis_px(&y, low_value), high = spw_axis_px(&y, high_value);
    spw_axis_draw_x(&draw, &x, TOP_PX + PLOT_PX, TOP_PX + PLOT_PX, SPW_MICRO);
    draw_levels(&draw, channel, &y, low, high);
    if (wave->n > 0) {
        spw_draw_line(&draw, "fine", x.at, low, x.end, low);
        spw_draw_line(&draw, "fine", x.at, high, x.end, high);
        draw_samples(sheet, &draw, &x, &y, wave, width_us);
    } else {
        draw_trace(&draw, &x, negative ? high : low, negative ? low : high, width_us);
        draw_instants(&draw, &x, 0.5 * (low + high), width_us);
    }
    spw_draw_end(&draw);
}

static void describe_pulse(spw_sheet *sheet, const spw_plan_source *source, const spw_pulse *pulse,
                           const spw_wave *wave) {
    spw_sheet_printf(sheet, "The one nearest to the median width, lead edge at %s; ",
                     spw_figure_unit(pulse->lead_s, 4, "s").text);
    if (wave->n > 0)
        spw_sheet_put(
            sheet, "dots: its samples as recorded. Dotted lines: the state levels, droop undone. "
                   "Diamonds: its 50 % instants.");
    else if (source->channel->kind == SPW_KIND_LOGIC)
        spw_sheet_put(sheet, "drawn from its edges. Diamonds: its edges.");
    else
        spw_sheet_put(sheet, "drawn from its state levels and edges, not from samples. Diamonds: "
                             "its 50 % instants.");
    spw_sheet_put(sheet, "</figcaption>\n");
    draw_pulse(sheet, source->channel, pulse, wave);
    spw_sheet_figure_end(sheet);
}

void spw_sheet_pulse(spw_sheet *sheet) {
    const spw_plan_source *source = &sheet->facts->sources[0];
    const spw_pulse *pulse = typical(source->channel);
    spw_sheet_put(sheet, "<figure>\n<figcaption><b>A typical pulse</b>");
    if (pulse == NULL) {
        spw_sheet_put(sheet, "No whole pulse was seen.</figcaption>\n</figure>\n");
        return;
    }
    spw_wave *wave = malloc(sizeof *wave); /* 16 KiB: too much for a small stack */
    if (wave == NULL) {
        sheet->out->failed = true;
        return;
    }
    spw_wave_read(source, &sheet->facts->options->read, pulse, BEFORE * spw_pulse_width_us(pulse),
                  wave);
    describe_pulse(sheet, source, pulse, wave);
    free(wave);
}
