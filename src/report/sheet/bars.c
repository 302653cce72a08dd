/* Ranges as bars over one axis: what is expected, what is sent, what the adapter makes of it. */
#include "report/sheet/bars.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define BAR_PX 13.0
#define TEXT_PX 15.0
#define GAP_PX 9.0
#define FOOT_PX 24.0
#define SIDE_PX 6.0
#define X_ROOM_PX 64.0

static bool is_there(const spw_bar *bar) {
    return isfinite(bar->low) && isfinite(bar->high);
}

static void describe(spw_text *text, const spw_bar *bars, size_t n) {
    for (size_t i = 0; i < n; i++) {
        if (!is_there(&bars[i]))
            continue;
        spw_text_puts(text, text->length > 0 ? "; " : "");
        spw_text_puts(text, bars[i].label);
        spw_text_puts(text, ": ");
        spw_text_puts(text, bars[i].value);
        spw_text_puts(text, bars[i].more[0] != '\0' ? ", " : "");
        spw_text_puts(text, bars[i].more);
    }
    spw_text_puts(text, text->length > 0 ? "." : "Nothing is known.");
}

static spw_axis make_axis(const spw_bar *bars, size_t n, double width) {
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        if (!is_there(&bars[i]))
            continue;
        low = fmin(low, fmin(bars[i].low, bars[i].high));
        high = fmax(high, fmax(bars[i].low, bars[i].high));
    }
    double margin = 0.02 * (high - low);
    return spw_axis_make(low - margin, high + margin, SIDE_PX, width - SIDE_PX, X_ROOM_PX, false);
}

static void draw_bar(const spw_draw *draw, const spw_axis *axis, const spw_bar *bar, double y,
                     bool wide) {
    const char *tone = strcmp(bar->class_name, "sent") == 0    ? "sents"
                       : strcmp(bar->class_name, "after") == 0 ? "afters"
                                                               : "lab";
    char class_name[32];
    (void)snprintf(class_name, sizeof class_name, "%s strong", tone);
    spw_draw_text(draw, class_name, SIDE_PX, y + 11.0, SPW_ANCHOR_START, bar->label);
    char both[256];
    (void)snprintf(both, sizeof both, "%.180s%s%.60s", bar->value,
                   wide && bar->more[0] != '\0' ? ", " : "", wide ? bar->more : "");
    if (wide) {
        spw_draw_text(draw, "val", draw->width - SIDE_PX, y + 11.0, SPW_ANCHOR_END, both);
    } else {
        spw_draw_text(draw, "val", draw->width - SIDE_PX, y + 11.0, SPW_ANCHOR_END, bar->more);
        spw_draw_text(draw, "val", SIDE_PX, y + 11.0 + TEXT_PX, SPW_ANCHOR_START, both);
    }
    double top = y + (wide ? TEXT_PX : 2.0 * TEXT_PX);
    double from = spw_axis_px(axis, bar->low), to = spw_axis_px(axis, bar->high);
    spw_draw_rect(draw, bar->class_name, from, top, to - from, BAR_PX);
    if (isfinite(bar->mark))
        spw_draw_mark(draw, "mark", SPW_MARK_DIAMOND, spw_axis_px(axis, bar->mark),
                      top + 0.5 * BAR_PX);
}

static void draw_all(spw_sheet *sheet, const char *id, const char *title, const char *description,
                     const spw_bar *bars, size_t n, const char *unit, bool wide) {
    char name[48];
    size_t rows = 0;
    double width = wide ? SPW_WIDE_PX : SPW_NARROW_PX,
           row = BAR_PX + GAP_PX + (wide ? TEXT_PX : 2.0 * TEXT_PX);
    for (size_t i = 0; i < n; i++)
        rows += is_there(&bars[i]);
    (void)snprintf(name, sizeof name, "%s%s", id, wide ? "" : "-n");
    double foot = row * (double)rows;
    spw_draw draw = spw_draw_begin(sheet->out, name, wide ? "wide" : "narrow", width,
                                   foot + FOOT_PX, title, description);
    spw_axis axis = make_axis(bars, n, width);
    double y = 0.0;
    spw_axis_draw_x(&draw, &axis, foot, 0.0, unit);
    for (size_t i = 0; i < n; i++) {
        if (!is_there(&bars[i]))
            continue;
        draw_bar(&draw, &axis, &bars[i], y, wide);
        y += row;
    }
    spw_draw_end(&draw);
}

void spw_sheet_bars(spw_sheet *sheet, const char *id, const char *title, const spw_bar *bars,
                    size_t n, const char *unit) {
    spw_text description = {0};
    describe(&description, bars, n);
    if (spw_text_status(&description) == SPW_OK) {
        draw_all(sheet, id, title, description.data, bars, n, unit, true);
        draw_all(sheet, id, title, description.data, bars, n, unit, false);
    } else {
        sheet->out->failed = true;
    }
    spw_text_free(&description);
}
