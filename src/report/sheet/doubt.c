/* What is in doubt, on the sheet: stars, reasons, marks on the time axis. */
#include "report/sheet/sheet.h"
#include "report/words/words.h"

#include <math.h>

#define BAR_PX 5.0   /* height of the mark on the axis */
#define LEAST_PX 2.0 /* width of the shortest one */

const char *spw_sheet_star(const spw_doubt *doubt) {
    return doubt->what != 0 ? " *" : "";
}

void spw_sheet_doubted(spw_sheet *sheet, const spw_doubt *doubt) {
    if (doubt->what == 0)
        return;
    spw_sheet_put(sheet, "<span class=\"doubted\">* in doubt ");
    if (isnan(doubt->bound_us))
        spw_sheet_put(sheet, "by an unknown amount: ");
    else
        spw_sheet_printf(sheet,
                         "by another %s: ", spw_figure_digits(doubt->bound_us, 2, SPW_MICRO).text);
    spw_sheet_prose(sheet, spw_doubt_words(doubt->what));
    spw_sheet_put(sheet, "</span>");
}

void spw_sheet_draw_doubts(const spw_draw *draw, const spw_axis *x, double top, double bottom,
                           const spw_channel *channel) {
    double drawn_to = -1;
    for (size_t i = 0; i < channel->doubts; i++) {
        double from = fmax(spw_axis_px(x, channel->doubt[i].from_s), drawn_to);
        double to = fmax(spw_axis_px(x, channel->doubt[i].to_s), from + LEAST_PX);
        if (spw_axis_px(x, channel->doubt[i].to_s) <= drawn_to)
            continue;
        spw_draw_rect(draw, "doubt", from, top, to - from, bottom - top);
        spw_draw_rect(draw, "doubtbar", from, bottom - BAR_PX, to - from, BAR_PX);
        drawn_to = to;
    }
}

void spw_sheet_trust(spw_sheet *sheet, const spw_plan_source *source) {
    const spw_channel *channel = source->channel;
    if (channel->doubts == 0 && channel->kind == SPW_KIND_LOGIC)
        return;
    spw_text text = {0};
    spw_trust_words(source->capture, channel, &text);
    if (spw_text_status(&text) != SPW_OK) {
        sheet->out->failed = true;
    } else {
        spw_sheet_put(sheet, "Trusted: ");
        spw_sheet_prose(sheet, text.data);
        spw_sheet_put(sheet, channel->doubts > 0 ? "; a bar on the time axis marks that. " : ". ");
    }
    spw_text_free(&text);
}
