/* The frame period over time, and its distribution. */
#include "report/sheet/sheet.h"
#include "report/words/words.h"

#include <math.h>
#include <stdio.h>

#define LEFT_PX 64.0
#define RIGHT_PX 8.0
#define TOP_PX 20.0
#define PLOT_PX 104.0
#define FOOT_PX 24.0
#define MOST_BINS 40
#define LEAST_BAR_PX 1.5 /* a single frame stays visible beside thousands */

/* The period that ends at pulse i, or NAN. */
static double period_us(const spw_channel *channel, size_t i) {
    const spw_pulse *now = &channel->pulse[i];
    if (i == 0 || (now->flags & (SPW_PULSE_OUT | SPW_PULSE_NO_PERIOD)) != 0 ||
        (channel->pulse[i - 1].flags & SPW_PULSE_OUT) != 0)
        return NAN;
    return 1e6 * (now->lead_s - channel->pulse[i - 1].lead_s);
}

typedef struct range {
    double low, high;
    size_t n;
} range;

static range range_of(const spw_channel *channel, size_t from, size_t to) {
    range r = {INFINITY, -INFINITY, 0};
    for (size_t i = from; i < to; i++) {
        double period = period_us(channel, i);
        if (!isfinite(period))
            continue;
        r.low = fmin(r.low, period);
        r.high = fmax(r.high, period);
        r.n++;
    }
    return r;
}

static void draw_over_time(spw_sheet *sheet, const spw_plan_source *source, range r) {
    const spw_channel *channel = source->channel;
    char description[400];
    (void)snprintf(description, sizeof description, "%zu periods from %s to %s.", r.n,
                   spw_figure_unit(r.low, 2, "").text, spw_figure_unit(r.high, 2, SPW_MICRO).text);
    spw_draw draw =
        spw_draw_begin(sheet->out, "period", "half", SPW_NARROW_PX, TOP_PX + PLOT_PX + FOOT_PX,
                       "Frame period over time", description);
    double margin = fmax(0.05 * (r.high - r.low), 0.2);
    spw_axis x = spw_axis_make(spw_judged_from_s(source->capture), spw_judged_to_s(source->capture),
                               LEFT_PX, SPW_NARROW_PX - RIGHT_PX, 52.0, false),
             y = spw_axis_make(r.low - margin, r.high + margin, TOP_PX + PLOT_PX, TOP_PX, 24.0,
                               false);
    spw_envelope *envelope;
    if (spw_envelope_new(&x, &y, &envelope) != SPW_OK) {
        sheet->out->failed = true;
        return;
    }
    for (size_t i = 0; i < channel->pulses; i++)
        spw_envelope_add(envelope, channel->pulse[i].lead_s, period_us(channel, i));
    spw_axis_draw_x(&draw, &x, TOP_PX + PLOT_PX, TOP_PX, "s");
    spw_axis_draw_y(&draw, &y, LEFT_PX, SPW_NARROW_PX - RIGHT_PX, SPW_MICRO);
    spw_envelope_draw(envelope, &draw, "dots");
    spw_draw_end(&draw);
    spw_envelope_free(envelope);
}

/* Bins of one width over a range of values. */
typedef struct histogram {
    double from, width;
    size_t bins, count[MOST_BINS + 2], most;
} histogram;

/* A bin is whole sampling steps wide: others would hold one step more or less by turns. */
static histogram count_periods(const spw_channel *channel, size_t from, size_t to, range r) {
    histogram h = {.most = 1};
    double span = fmax(r.high - r.low, 0.2), step = channel->resolution_us;
    h.width = span / MOST_BINS;
    if (channel->kind == SPW_KIND_LOGIC && step > 0.0 && step < 2.0 * span)
        h.width = ceil(h.width / step - 1e-6) * step;
    h.bins = (size_t)fmin(MOST_BINS + 1, floor(span / h.width + 1e-6) + 1.0);
    h.from = 0.5 * (r.low + r.high) - 0.5 * h.width * (double)h.bins;
    if (h.width >= step && r.high > r.low) /* periods in whole steps lie inside of a bin */
        h.from = r.low - 0.5 * step;
    for (size_t i = from; i < to; i++) {
        double place = (period_us(channel, i) - h.from) / h.width;
        if (!(place >= 0.0 && place < (double)MOST_BINS + 2.0))
            continue;
        size_t *count = &h.count[(size_t)place];
        (*count)++;
        h.most = *count > h.most ? *count : h.most;
    }
    return h;
}

static void draw_bins(const spw_draw *draw, const histogram *h, const spw_axis *x,
                      const spw_axis *y) {
    for (size_t k = 0; k < h->bins; k++) {
        double left = spw_axis_px(x, h->from + h->width * (double)k),
               right = spw_axis_px(x, h->from + h->width * (double)(k + 1));
        double height = fmax(y->at - spw_axis_px(y, (double)h->count[k]), LEAST_BAR_PX);
        if (h->count[k] > 0)
            spw_draw_rect(draw, "bars", left + 0.5, y->at, fmax(right - left - 1.0, 1.0), -height);
    }
}

static void draw_distribution(spw_sheet *sheet, const histogram *h, range r) {
    char description[400];
    (void)snprintf(description, sizeof description,
                   "Numbers of %zu periods in bins of %s from %s to %s; the fullest holds %zu.",
                   r.n, spw_figure_digits(h->width, 2, SPW_MICRO).text,
                   spw_figure_unit(r.low, 2, "").text, spw_figure_unit(r.high, 2, SPW_MICRO).text,
                   h->most);
    spw_draw draw =
        spw_draw_begin(sheet->out, "spread", "half", SPW_NARROW_PX, TOP_PX + PLOT_PX + FOOT_PX,
                       "Distribution of the frame period", description);
    spw_axis x = spw_axis_make(h->from, h->from + h->width * (double)h->bins, LEFT_PX,
                               SPW_NARROW_PX - RIGHT_PX, 62.0, false),
             y = spw_axis_make(0.0, 1.04 * (double)h->most, TOP_PX + PLOT_PX, TOP_PX, 26.0, false);
    if (y.step < 1.0) { /* there is no half a frame */
        y.step = 1.0;
        y.decimals = 0;
    }
    spw_axis_draw_y(&draw, &y, LEFT_PX, SPW_NARROW_PX - RIGHT_PX, "frames");
    draw_bins(&draw, h, &x, &y);
    spw_axis_draw_x(&draw, &x, TOP_PX + PLOT_PX, TOP_PX + PLOT_PX, SPW_MICRO);
    spw_draw_end(&draw);
}

void spw_sheet_period(spw_sheet *sheet) {
    const spw_plan_source *source = &sheet->facts->sources[0];
    const spw_channel *channel = source->channel;
    size_t from = 0, to = channel->pulses;
    if (channel->regimes > 0 && channel->main_regime < channel->regimes) {
        from = channel->regime[channel->main_regime].first_pulse;
        to = channel->regime[channel->main_regime].end_pulse;
    }
    range all = range_of(channel, 0, channel->pulses), main = range_of(channel, from, to);
    spw_sheet_figure(sheet, sheet->facts->n > 1
                                ? "<b>Frame period over time</b>Of the first capture, from lead "
                                  "edge to lead edge; gaps of missing frames are left out."
                                : "<b>Frame period over time</b>From lead edge to lead edge; gaps "
                                  "of missing frames are left out.");
    draw_over_time(sheet, source, all);
    spw_sheet_figure_end(sheet);
    spw_sheet_figure(sheet, channel->regimes > 1
                                ? "<b>Distribution of the frame period</b>Of the stretch that "
                                  "lasted longest; a bin with one frame is still drawn."
                                : "<b>Distribution of the frame period</b>A bin with one frame is "
                                  "still drawn.");
    histogram h = count_periods(channel, from, to, main);
    draw_distribution(sheet, &h, main);
    spw_sheet_figure_end(sheet);
}
