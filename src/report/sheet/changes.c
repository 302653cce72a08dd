/* Today beside an earlier measurement. */
#include "report/sheet/sheet.h"

#include <math.h>

static void cell(spw_sheet *sheet, spw_figure figure) {
    spw_sheet_put(sheet, "<td><span class=\"n\">");
    spw_sheet_text(sheet, figure.text[0] != '\0' ? figure.text : "not known");
    spw_sheet_put(sheet, "</span></td>");
}

/* More than both uncertainties together allow: the expanded uncertainty of a difference of two
 * independent results is the root of the sum of squares (JCGM 100, 5.1.2). */
static void row(spw_sheet *sheet, const char *label, double now, double now_U95, double then,
                double then_U95) {
    double change = now - then, allowed = sqrt(now_U95 * now_U95 + then_U95 * then_U95);
    const char *words = "cannot be told";
    if (isfinite(change) && isfinite(allowed))
        words = fabs(change) > allowed ? "<b>changed</b>" : "within the uncertainties";
    spw_sheet_printf(sheet, "<tr><th scope=\"row\">%s</th>", label);
    cell(sheet, spw_figure_pm(then, then_U95, SPW_MICRO));
    cell(sheet, spw_figure_pm(now, now_U95, SPW_MICRO));
    cell(sheet, isfinite(change) ? spw_figure_pm(change, allowed, SPW_MICRO) : (spw_figure){""});
    spw_sheet_printf(sheet, "<td class=\"l\">%s</td></tr>\n", words);
}

/* With what a doubt adds; INFINITY, so that nothing can be told, where that is not known. */
static double U95_of(const spw_span_point *point) {
    return point->U95 + spw_doubt_reach_us(&point->doubt);
}

void spw_sheet_changes(spw_sheet *sheet) {
    const spw_earlier *then = &sheet->earlier;
    const spw_span *now = &sheet->facts->plan->span;
    const spw_summary *period = &sheet->facts->sources[0].channel->period_us;
    if (!then->known)
        return;
    spw_sheet_section(sheet, "changes", "What has changed");
    spw_sheet_table(sheet, "changes r",
                    "<b>Today beside an earlier measurement</b>&#177; is U95; changed means by "
                    "more than both uncertainties together allow",
                    "Figure|Earlier|Today|Change|Verdict");
    row(sheet, "Low end", now->low.us, U95_of(&now->low), then->low_us, then->low_U95);
    row(sheet, "Neutral", now->neutral.us, U95_of(&now->neutral), then->neutral_us,
        then->neutral_U95);
    row(sheet, "High end", now->high.us, U95_of(&now->high), then->high_us, then->high_U95);
    row(sheet, "Frame period", period->mean, period->U95, then->period_us, then->period_U95);
    spw_sheet_table_end(sheet);
    spw_sheet_put(sheet, "<p class=\"note\">Earlier: ");
    spw_sheet_name(sheet, then->file);
    spw_sheet_put(sheet, ", channel ");
    spw_sheet_name(sheet, then->channel);
    spw_sheet_put(sheet, ", read from ");
    spw_sheet_name(sheet, sheet->facts->earlier_file);
    spw_sheet_put(sheet, ".</p>\n");
    spw_sheet_section_end(sheet);
}
