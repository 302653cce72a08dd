/* What somebody needs to repeat the measurement, and what this sheet does not show. */
#include "report/sheet/sheet.h"
#include "report/words/words.h"

#include <math.h>
#include <string.h>

static void item(spw_sheet *sheet, const char *label) {
    spw_sheet_printf(sheet, "<dt>%s</dt><dd>", label);
}

static void item_end(spw_sheet *sheet) {
    spw_sheet_put(sheet, "</dd>\n");
}

static void put_capture(spw_sheet *sheet, const spw_plan_source *source) {
    const spw_capture *capture = source->capture;
    item(sheet, "Capture");
    spw_sheet_put(sheet, "<code>");
    spw_sheet_name(sheet, strcmp(capture->file, "-") == 0 ? "standard input" : capture->file);
    spw_sheet_printf(sheet, "</code>, %s, ",
                     spw_figure_plain(capture->summary.duration_s, 5, "s").text);
    for (size_t i = 0; i < capture->summary.recognised.n; i++) {
        spw_sheet_put(sheet, i > 0 ? ", " : "");
        spw_sheet_text(sheet, capture->summary.recognised.text[i]);
    }
    if (spw_judged_in_part(capture))
        spw_sheet_printf(sheet, "; judged from %s to %s only",
                         spw_figure_plain(spw_judged_from_s(capture), 9, "s").text,
                         spw_figure_plain(spw_judged_to_s(capture), 9, "s").text);
    item_end(sheet);
    item(sheet, "Channel");
    spw_sheet_put(sheet, "<code data-channel=\"\">");
    spw_sheet_name(sheet, source->channel->name);
    spw_sheet_printf(sheet, "</code>, %s, polarity %s (%s)",
                     source->channel->kind == SPW_KIND_LOGIC ? "logic" : "analogue",
                     spw_polarity_name(source->channel->polarity),
                     spw_polarity_basis_name(source->channel->polarity_basis));
    if (isfinite(source->channel->resolution_us))
        spw_sheet_printf(sheet, ", sampled in steps of %s",
                         spw_figure_plain(source->channel->resolution_us, 4, SPW_MICRO).text);
    item_end(sheet);
    item(sheet, "SHA-256");
    if (source->digest != NULL && source->digest[0] != '\0')
        spw_sheet_printf(sheet, "<code>%s</code>", source->digest);
    else
        spw_sheet_put(sheet, "not taken: a pipe can be read only once");
    item_end(sheet);
}

static void put_settings(spw_sheet *sheet) {
    const spw_measure_options *options = sheet->facts->options;
    const spw_capture *capture = sheet->facts->sources[0].capture;
    item(sheet, "Settings");
    spw_sheet_printf(sheet, "time base %s standard uncertainty",
                     spw_figure_plain(capture->timebase_ppm, 3, "ppm").text);
    if (capture->clock_correction != 1.0)
        spw_sheet_printf(sheet, ", times corrected by a factor of %s",
                         spw_figure_fixed(capture->clock_correction, 7).text);
    spw_sheet_printf(sheet, "; widths accepted from %s to %s; neutral looked for near %s",
                     spw_figure_plain(options->width_low_us, 5, "").text,
                     spw_figure_plain(options->width_high_us, 5, SPW_MICRO).text,
                     spw_figure_plain(options->neutral_us, 5, SPW_MICRO).text);
    item_end(sheet);
}

static void put_facts(spw_sheet *sheet) {
    const spw_sheet_facts *facts = sheet->facts;
    spw_sheet_put(sheet, "<dl class=\"facts\">\n");
    for (size_t i = 0; i < facts->n; i++)
        put_capture(sheet, &facts->sources[i]);
    put_settings(sheet);
    if (facts->command != NULL) {
        item(sheet, "Command");
        spw_sheet_put(sheet, "<code>");
        spw_sheet_text(sheet, facts->command);
        spw_sheet_put(sheet, "</code>");
        item_end(sheet);
    }
    item(sheet, "Made by");
    spw_sheet_put(sheet, "spanwright " SPW_VERSION);
    item_end(sheet);
    spw_sheet_put(sheet, "</dl>\n");
}

static void put_blind_spots(spw_sheet *sheet) {
    const spw_channel *channel = sheet->facts->sources[0].channel;
    const spw_capture *capture = sheet->facts->sources[0].capture;
    spw_sheet_put(sheet, "<h3>What this sheet does not show</h3>\n<ul>\n<li>The servo: its angle, "
                         "speed, force and current. The capture holds the control line only; "
                         "angles here are computed from what the bench file says.</li>\n");
    spw_sheet_printf(sheet,
                     "<li>A clock error common to controller and recorder; %s of the "
                     "recorder&#39;s is assumed.</li>\n",
                     spw_figure_plain(capture->timebase_ppm, 3, "ppm").text);
    if (isfinite(channel->width_us.floor))
        spw_sheet_printf(sheet,
                         "<li>Scatter of a width below what the capture itself shows, "
                         "%s rms.</li>\n",
                         spw_figure_digits(channel->width_us.floor, 2, SPW_MICRO).text);
    spw_sheet_put(sheet, "<li>Anything before and after the capture, or commands that nobody gave "
                         "in it.</li>\n</ul>\n");
}

void spw_sheet_record(spw_sheet *sheet) {
    spw_sheet_section(sheet, "record", "How to repeat it");
    spw_sheet_put(sheet, "<div class=\"split\">\n");
    put_facts(sheet);
    spw_sheet_put(sheet, "<div>\n");
    put_blind_spots(sheet);
    spw_sheet_put(sheet, "</div>\n</div>\n");
    spw_sheet_section_end(sheet);
}

static void caution(spw_sheet *sheet, const char *sentence) {
    spw_sheet_put(sheet, "<li>");
    spw_sheet_prose(sheet, sentence);
    spw_sheet_put(sheet, "</li>\n");
}

/* Those of the plan, then those of measuring that it does not give. */
static void put_cautions(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    spw_sheet_section(sheet, "caution", "Before anything moves");
    spw_sheet_put(sheet, "<ul>\n");
    for (size_t i = 0; i < plan->cautions; i++)
        caution(sheet, plan->caution[i]);
    if (!plan->has_remap)
        caution(sheet,
                "A servo that hums against a stop is stalled: it overheats, and gears break. "
                "Approach both ends slowly.");
    caution(sheet, "A sound card's line input takes about 1 V: never wire it to a servo line or a "
                   "battery without a divider.");
    spw_sheet_put(sheet, "</ul>\n<p>The event&#39;s rules, local codes and whoever is responsible "
                         "on site come before anything on this sheet.</p>\n");
    spw_sheet_section_end(sheet);
}

static void signature(spw_sheet *sheet, const char *label) {
    spw_sheet_printf(sheet, "<div><span class=\"blank\"></span><p class=\"note\">%s</p></div>\n",
                     label);
}

void spw_sheet_close(spw_sheet *sheet) {
    put_cautions(sheet);
    spw_sheet_section(sheet, "signed", "Signed");
    spw_sheet_put(sheet, "<div class=\"sign\">\n");
    signature(sheet, "Inspected by: name, date, signature");
    signature(sheet, "Team: name, date, signature");
    spw_sheet_put(sheet, "</div>\n");
    spw_sheet_section_end(sheet);
}
