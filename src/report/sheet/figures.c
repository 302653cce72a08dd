/* The figures with their uncertainty budget, the holds, the events. */
#include "report/sheet/sheet.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define MOST_HOLDS 6
#define MOST_EVENTS 5
#define ENDS 3

static void row_begin(spw_sheet *sheet, const char *label) {
    spw_sheet_printf(sheet, "<tr><th scope=\"row\">%s</th><td>", label);
}

static void row_end(spw_sheet *sheet) {
    spw_sheet_put(sheet, "</td></tr>\n");
}

/* The level, then how far it misses the expected end. */
static void level_row(spw_sheet *sheet, const char *label, const spw_span_point *point,
                      const spw_end *end, const char *name) {
    char path[64], u_path[64];
    (void)snprintf(path, sizeof path, "plan.controller_us.%s", name);
    (void)snprintf(u_path, sizeof u_path, "plan.controller_us.%s_U95", name);
    row_begin(sheet, label);
    spw_sheet_value(sheet, spw_figure_pm(point->us, point->U95, SPW_MICRO), path,
                    isfinite(point->U95) ? u_path : NULL);
    if (isfinite(point->us))
        spw_sheet_printf(sheet, "%s <span class=\"part\">%zu frames</span>",
                         spw_sheet_star(&point->doubt), point->frames);
    if (isfinite(point->us) && end != NULL) {
        (void)snprintf(path, sizeof path, "plan.ends_us.%s.deviation_us", name);
        spw_sheet_printf(sheet, "<br>%s, off by ", spw_end_verdict_name(end->verdict));
        spw_sheet_value(sheet, spw_figure_known(end->deviation_us, end->U95, SPW_MICRO), path,
                        NULL);
    }
    if (point->doubt.what != 0)
        spw_sheet_put(sheet, "<br>");
    spw_sheet_doubted(sheet, &point->doubt);
    row_end(sheet);
}

static void plain_row(spw_sheet *sheet, const char *label, spw_figure figure, const char *path) {
    row_begin(sheet, label);
    spw_sheet_value(sheet, figure, path, NULL);
    row_end(sheet);
}

static spw_figure if_known(double value, int digits, const char *unit) {
    return isfinite(value) ? spw_figure_digits(value, digits, unit) : (spw_figure){""};
}

/* A figure as sent, then behind the adapter. */
static void both_row(spw_sheet *sheet, const char *label, double before, double after, int digits,
                     const char *unit, const char *field) {
    char path[64];
    row_begin(sheet, label);
    (void)snprintf(path, sizeof path, "plan.before.%s", field);
    spw_sheet_value(sheet, if_known(before, digits, unit), path, NULL);
    if (isfinite(after)) {
        spw_sheet_put(sheet, "; behind the adapter ");
        (void)snprintf(path, sizeof path, "plan.after.%s", field);
        spw_sheet_value(sheet, if_known(after, digits, unit), path, NULL);
    }
    row_end(sheet);
}

static void put_effect(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    const spw_effect *before = &plan->before, *after = plan->has_after ? &plan->after : NULL;
    both_row(sheet, "Width jitter, rms, at most", before->jitter_high_us,
             after != NULL ? after->jitter_high_us : (double)NAN, 2, SPW_MICRO,
             "jitter_rms_us.high");
    if (before->hunts >= 0)
        both_row(sheet, "Leaves the dead band, share", before->hunt_probability,
                 after != NULL ? after->hunt_probability : (double)NAN, 2, "", "hunt_probability");
    if (isfinite(before->creep_rpm))
        plain_row(sheet, "Creep at neutral", if_known(before->creep_rpm, 2, "rpm"),
                  "plan.before.creep_rpm");
    if (after != NULL)
        plain_row(sheet, "Shortest gap after a pulse",
                  spw_figure_unit(after->shortest_gap_us, 0, SPW_MICRO),
                  "plan.after.shortest_gap_us");
}

static void put_period(spw_sheet *sheet) {
    const spw_channel *channel = sheet->facts->sources[0].channel;
    const spw_summary *period = &channel->period_us;
    row_begin(sheet, "Frame period");
    spw_sheet_value(sheet, spw_figure_pm(period->mean, period->U95, SPW_MICRO),
                    spw_sheet_field(sheet, 0, "period_us.mean").path,
                    isfinite(period->U95) ? spw_sheet_field(sheet, 0, "period_us.U95").path : NULL);
    spw_sheet_put(sheet, ", ");
    spw_sheet_value(sheet, if_known(channel->frame_rate_hz, 5, "Hz"),
                    spw_sheet_field(sheet, 0, "frame_rate_hz").path, NULL);
    row_end(sheet);
    row_begin(sheet, "Period jitter");
    spw_sheet_value(sheet, if_known(channel->period_jitter_pp_us, 2, SPW_MICRO),
                    spw_sheet_field(sheet, 0, "period_jitter_us.peak_to_peak").path, NULL);
    spw_sheet_put(sheet, " peak to peak; cycle to cycle ");
    spw_sheet_value(sheet, if_known(channel->cycle_to_cycle_rms_us, 2, SPW_MICRO),
                    spw_sheet_field(sheet, 0, "period_jitter_us.cycle_to_cycle_rms").path, NULL);
    spw_sheet_put(sheet, " rms");
    row_end(sheet);
}

static void put_figures(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    bool judged = plan->span.known;
    spw_sheet_table(sheet, "figures",
                    "<b>Figures</b>&#177; is U95, the expanded uncertainty (JCGM 100)",
                    "Figure|Value");
    level_row(sheet, "Low end", &plan->span.low, judged ? &plan->low : NULL, "low");
    level_row(sheet, "Neutral", &plan->span.neutral, NULL, "neutral");
    level_row(sheet, "High end", &plan->span.high, judged ? &plan->high : NULL, "high");
    plain_row(sheet, "Expected span covered", spw_figure_unit(plan->range_covered_percent, 1, "%"),
              "plan.range_covered_percent");
    put_period(sheet);
    plain_row(sheet, "Controller step", if_known(plan->span.step_us, 4, SPW_MICRO),
              "plan.controller_us.step");
    if (judged)
        put_effect(sheet);
    spw_sheet_table_end(sheet);
}

/* --- the budget of the longest hold at each end --- */

typedef struct end_hold {
    const spw_hold *hold;
    size_t source, index;
} end_hold;

static end_hold hold_near(const spw_sheet *sheet, const spw_span_point *point) {
    const spw_sheet_facts *facts = sheet->facts;
    end_hold best = {NULL, 0, 0};
    for (size_t i = 0; i < facts->n; i++)
        for (size_t k = 0; k < facts->sources[i].channel->holds; k++) {
            const spw_hold *hold = &facts->sources[i].channel->hold[k];
            double off = fabs(hold->width_us.mean - point->us);
            bool near = spw_hold_judged(facts->sources[i].channel, hold) &&
                        off <= fmax(fmax(4.0 * point->U95, 4.0 * hold->width_us.U95), 1e-3);
            if (near && (best.hold == NULL || hold->pulses > best.hold->pulses))
                best = (end_hold){hold, i, k};
        }
    return best;
}

static void budget_cell(spw_sheet *sheet, const end_hold *end, double u, const char *name) {
    spw_sheet_put(sheet, "<td>");
    if (end->hold == NULL) {
        spw_sheet_put(sheet, "<span class=\"none\">no hold</span></td>");
        return;
    }
    double total = end->hold->width_us.u;
    spw_sheet_value(
        sheet, if_known(u, 2, ""),
        spw_sheet_field(sheet, end->source, "holds.%zu.budget_us.%s", end->index, name).path, NULL);
    if (total > 0.0 && isfinite(u))
        spw_sheet_printf(sheet, " <span class=\"part\">%s</span>",
                         spw_figure_unit(100.0 * u * u / (total * total), 0, "%").text);
    spw_sheet_put(sheet, "</td>");
}

static void budget_row(spw_sheet *sheet, const end_hold ends[ENDS], const char *label,
                       size_t offset, const char *name) {
    spw_sheet_printf(sheet, "<tr><th scope=\"row\">%s</th>", label);
    for (size_t i = 0; i < ENDS; i++) {
        double u = NAN;
        if (ends[i].hold != NULL)
            memcpy(&u, (const char *)&ends[i].hold->budget + offset, sizeof u);
        budget_cell(sheet, &ends[i], u, name);
    }
    spw_sheet_put(sheet, "</tr>\n");
}

static void total_row(spw_sheet *sheet, const end_hold ends[ENDS]) {
    spw_sheet_put(sheet, "<tr><th scope=\"row\"><b>Combined u</b></th>");
    for (size_t i = 0; i < ENDS; i++) {
        spw_sheet_put(sheet, "<td>");
        if (ends[i].hold != NULL)
            spw_sheet_value(
                sheet, if_known(ends[i].hold->width_us.u, 2, ""),
                spw_sheet_field(sheet, ends[i].source, "holds.%zu.width_us.u", ends[i].index).path,
                NULL);
        spw_sheet_put(sheet, "</td>");
    }
    spw_sheet_put(sheet, "</tr>\n");
}

static void put_budget(spw_sheet *sheet) {
    const spw_span *span = &sheet->facts->plan->span;
    if (!span->known)
        return;
    const end_hold ends[ENDS] = {hold_near(sheet, &span->low), hold_near(sheet, &span->neutral),
                                 hold_near(sheet, &span->high)};
    spw_sheet_table(sheet, "budget r",
                    "<b>Uncertainty budget</b>Standard uncertainty of the mean width in " SPW_MICRO
                    ", and its share of the variance, of the longest hold at each level",
                    "Source|Low|Neutral|High");
    budget_row(sheet, ends, "Scatter (Type A)", offsetof(spw_budget, u_scatter), "scatter");
    budget_row(sheet, ends, "Wander of the level", offsetof(spw_budget, u_wander), "wander");
    budget_row(sheet, ends, "Sampling", offsetof(spw_budget, u_sampling), "sampling");
    budget_row(sheet, ends, "Recorder's time base", offsetof(spw_budget, u_timebase), "timebase");
    if (sheet->facts->sources[0].channel->kind == SPW_KIND_ANALOGUE) {
        budget_row(sheet, ends, "Learned edge shape", offsetof(spw_budget, u_template),
                   "edge_shape");
        budget_row(sheet, ends, "Unequal rise and fall", offsetof(spw_budget, u_asymmetry),
                   "rise_fall");
    }
    total_row(sheet, ends);
    spw_sheet_table_end(sheet);
}

static void hold_row(spw_sheet *sheet, size_t source, size_t index, size_t number) {
    const spw_hold *hold = &sheet->facts->sources[source].channel->hold[index];
    const spw_summary *w = &hold->width_us;
    spw_sheet_printf(sheet, "<tr><th scope=\"row\">%zu</th><td>", number);
    spw_sheet_value(sheet, spw_figure_unit(hold->start_s, 2, ""),
                    spw_sheet_field(sheet, source, "holds.%zu.start_s", index).path, NULL);
    spw_sheet_put(sheet, "</td><td>");
    spw_sheet_printf(sheet, "%zu</td><td>", hold->pulses);
    spw_sheet_value(sheet, spw_figure_pm(w->mean, w->U95, ""),
                    spw_sheet_field(sheet, source, "holds.%zu.width_us.mean", index).path,
                    isfinite(w->U95)
                        ? spw_sheet_field(sheet, source, "holds.%zu.width_us.U95", index).path
                        : NULL);
    spw_doubt doubt = {hold->doubts, hold->start_s, hold->end_s, hold->doubt_bound_us};
    spw_sheet_printf(sheet, "%s</td><td>", spw_sheet_star(&doubt));
    spw_sheet_value(sheet, if_known(w->sd, 2, ""),
                    spw_sheet_field(sheet, source, "holds.%zu.width_us.sd", index).path, NULL);
    spw_sheet_put(sheet, "</td><td>");
    spw_sheet_value(sheet, if_known(w->floor, 2, ""),
                    spw_sheet_field(sheet, source, "holds.%zu.width_us.floor", index).path, NULL);
    spw_sheet_put(sheet, "</td></tr>\n");
}

static void put_holds(spw_sheet *sheet) {
    const spw_sheet_facts *facts = sheet->facts;
    size_t number = 0;
    bool doubted = false;
    spw_sheet_table(sheet, "holds r", "<b>Holds</b>Widths in " SPW_MICRO ", beginnings in s",
                    "No.|From|Frames|Width|sd|Floor");
    for (size_t i = 0; i < facts->n; i++)
        for (size_t k = 0; k < facts->sources[i].channel->holds; k++)
            if (number++ < MOST_HOLDS) {
                hold_row(sheet, i, k, number);
                doubted |= facts->sources[i].channel->hold[k].doubts != 0;
            }
    spw_sheet_table_end(sheet);
    if (doubted)
        spw_sheet_put(sheet, "<p class=\"note\">* in doubt: off by more than its &#177;.</p>\n");
    if (number > MOST_HOLDS)
        spw_sheet_printf(
            sheet, "<p class=\"note\">And %zu more holds: spanwright measure lists them.</p>\n",
            number - MOST_HOLDS);
}

static void put_events(spw_sheet *sheet) {
    const spw_sheet_facts *facts = sheet->facts;
    uint64_t number = 0;
    for (size_t i = 0; i < facts->n; i++) {
        const spw_channel *channel = facts->sources[i].channel;
        for (size_t k = 0; k < channel->events; k++) {
            const spw_event *event = &channel->event[k];
            if (number++ == 0)
                spw_sheet_table(sheet, "events r", "<b>Events</b>In order of time",
                                "Kind|At, s|Count|Length, " SPW_MICRO);
            if (number > MOST_EVENTS)
                continue;
            char kind[48];
            (void)snprintf(kind, sizeof kind, "%s", spw_event_kind_name(event->kind));
            for (char *c = kind; *c != '\0'; c++)
                if (*c == '_')
                    *c = ' ';
            spw_sheet_printf(sheet, "<tr><th scope=\"row\">%s</th><td>", kind);
            spw_sheet_value(sheet, spw_figure_unit(event->at_s, 3, ""),
                            spw_sheet_field(sheet, i, "events.%zu.at_s", k).path, NULL);
            spw_sheet_printf(sheet, "</td><td>%" PRIu64 "</td><td>", event->count);
            if (isfinite(event->value_us))
                spw_sheet_value(sheet, spw_figure_unit(event->value_us, 1, ""),
                                spw_sheet_field(sheet, i, "events.%zu.value_us", k).path, NULL);
            spw_sheet_put(sheet, "</td></tr>\n");
        }
        number += channel->events_dropped;
    }
    if (number > 0)
        spw_sheet_table_end(sheet);
    else
        spw_sheet_put(sheet,
                      "<p class=\"note\">No events: no missing, joined, cut or odd pulse was "
                      "seen.</p>\n");
    if (number > MOST_EVENTS)
        spw_sheet_printf(sheet,
                         "<p class=\"note\">And %" PRIu64
                         " more events: spanwright measure lists them.</p>\n",
                         number - MOST_EVENTS);
}

void spw_sheet_figures(spw_sheet *sheet) {
    spw_sheet_section(sheet, "figures", "The figures");
    spw_sheet_put(sheet, "<div class=\"pair\">\n<div class=\"stack\">\n");
    put_figures(sheet);
    put_events(sheet);
    spw_sheet_put(sheet, "</div>\n<div class=\"stack\">\n");
    put_budget(sheet);
    put_holds(sheet);
    spw_sheet_put(sheet, "</div>\n</div>\n");
    spw_sheet_section_end(sheet);
}
