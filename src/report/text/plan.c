/* The plan, for people, in the order of the work. */
#include "spanwright/report.h"

#include "report/fields/fields.h"
#include "report/text/ruler.h"
#include "report/words/words.h"

#include <math.h>
#include <string.h>

static void put_title(const spw_page *page, const spw_plan *plan) {
    const spw_servo *servo = &plan->servo;
    spw_page_title(page, "Plan for %s%s", servo->name[0] != '\0' ? "" : "a servo",
                   spw_shown_name(servo->name, 60).text);
    spw_page_row(page, "Expects", "%s to %s, tolerance %s, %s%s%s",
                 spw_figure_plain(servo->expected_low_us, 6, "").text,
                 spw_figure_plain(servo->expected_high_us, 6, "us").text,
                 spw_figure_plain(servo->tolerance_us, 3, "us").text,
                 servo->mode == SPW_SERVO_CONTINUOUS ? "continuous" : "positional",
                 isfinite(servo->travel_deg) ? ", travel " : "",
                 isfinite(servo->travel_deg) ? spw_figure_plain(servo->travel_deg, 4, "deg").text
                                             : "");
}

static void put_measured(const spw_page *page, const spw_plan *plan, const spw_plan_source *sources,
                         size_t n) {
    for (size_t i = 0; i < n; i++) {
        const spw_channel *channel = sources[i].channel;
        spw_text_puts(page->out, "\n");
        spw_describe_capture(page, sources[i].capture, sources[i].digest);
        for (size_t k = 0; k < channel->warnings.n; k++)
            spw_page_warn(page, "%s", channel->warnings.text[k]);
        spw_page_row(page, "Channel", "%s", spw_shown_name(channel->name, 200).text);
        spw_describe_measured(page, sources[i].capture, channel);
    }
    if (n == 0 && plan->span.basis == SPW_SPAN_GIVEN) {
        spw_page_row(page, "Span", "given by hand, not measured");
        spw_page_row(page, "Not resolved",
                     "frame, jitter, polarity, missing pulses: a capture would show them. What is "
                     "configured is not what is sent: measure the line");
    }
}

static void put_ruler(const spw_page *page, const spw_plan *plan) {
    const spw_servo *servo = &plan->servo;
    const spw_span *span = &plan->span;
    spw_figure sent = spw_figure_unit(plan->range_covered_percent, 1, "%"), after;
    spw_ruler_row rows[3] = {
        {"servo", servo->expected_low_us, servo->expected_high_us, NAN, '=', "expected"},
        {"sent", span->low.us, span->high.us, span->neutral.us, '-', sent.text},
        {"adapted", NAN, NAN, NAN, '-', ""},
    };
    if (plan->has_after) {
        double low = fmin(plan->after.low_us, plan->after.high_us),
               high = fmax(plan->after.low_us, plan->after.high_us);
        after = spw_figure_unit(spw_covered_percent(servo, low, high), 1, "%");
        rows[2].low_us = low;
        rows[2].high_us = high;
        rows[2].neutral_us = plan->after.neutral_us;
        rows[2].note = after.text;
    }
    spw_text_puts(page->out, "\n");
    spw_ruler_draw(page->out, rows, 3, page->width);
}

static void put_widths(const spw_page *page, const spw_plan *plan, const spw_plan_source *sources,
                       size_t n) {
    spw_page_section(page, "Widths");
    for (size_t i = 0; i < n; i++)
        spw_describe_frame(page, sources[i].channel);
    if (!plan->span.known) {
        spw_page_row(page, "Span", "not known: %s", plan->span.reason);
        return;
    }
    spw_describe_ends(page, &plan->span);
    spw_page_row(page, "Covers", "%s of the expected range",
                 spw_figure_unit(plan->range_covered_percent, 1, "%").text);
    spw_describe_step(page, &plan->span);
    put_ruler(page, plan);
}

static void put_signal(const spw_page *page, const spw_plan *plan, const spw_plan_source *sources,
                       size_t n) {
    spw_page_section(page, "Signal");
    spw_describe_clock(page, &plan->clock);
    for (size_t i = 0; i < n; i++) {
        if (n > 1)
            spw_page_row(page, "In", "%s", spw_shown_name(sources[i].capture->file, 60).text);
        spw_describe_polarity(page, sources[i].channel);
        spw_describe_stretches(page, sources[i].capture, sources[i].channel);
        spw_describe_events(page, sources[i].capture, sources[i].channel);
    }
}

/* The figure is what was read, not what is known. */
static void put_doubted(const spw_page *page, const char *label, const spw_end *end,
                        const char *miss) {
    const spw_doubt *doubt = &end->doubt;
    spw_figure bound = spw_figure_digits(doubt->bound_us, 2, "us");
    spw_page_row_toned(page, SPW_TONE_STRONG, label,
                       "undecided: it reads %s by %s, but that is in doubt%s%s: %s",
                       end->deviation_us < 0 ? "short" : "beyond", miss,
                       isnan(doubt->bound_us) ? " by an unknown amount" : " by another ",
                       isnan(doubt->bound_us) ? "" : bound.text, spw_doubt_words(doubt->what));
}

static void put_end(const spw_page *page, const char *label, const spw_end *end) {
    spw_figure miss = spw_figure_pm(fabs(end->deviation_us), end->U95, "us"),
               tolerance = spw_figure_plain(end->tolerance_us, 3, "us");
    switch (end->verdict) {
    case SPW_END_MEETS:
        spw_page_row_toned(page, SPW_TONE_GOOD, label, "meets (off by %s, tolerance %s)", miss.text,
                           tolerance.text);
        return;
    case SPW_END_SHORT:
        spw_page_row_toned(page, SPW_TONE_BAD, label, "short by %s (tolerance %s)", miss.text,
                           tolerance.text);
        return;
    case SPW_END_BEYOND:
        spw_page_row_toned(page, SPW_TONE_BAD, label, "beyond by %s (tolerance %s)", miss.text,
                           tolerance.text);
        return;
    case SPW_END_UNDECIDED:
        break;
    }
    if (end->doubt.what != 0) {
        put_doubted(page, label, end, miss.text);
        return;
    }
    spw_page_row_toned(page, SPW_TONE_STRONG, label,
                       "undecided: %s by %s, tolerance %s; probability that it meets: %s",
                       end->deviation_us < 0 ? "short" : "beyond", miss.text, tolerance.text,
                       spw_figure_unit(100.0 * end->probability_meets, 0, "%").text);
    if (isfinite(end->frames_needed))
        spw_page_row(page, "", "about %s frames in this hold would decide",
                     spw_figure_fixed(ceil(end->frames_needed), 0).text);
    if (isfinite(end->resolution_needed_us))
        spw_page_row(page, "", "sampling in steps of %s or less would decide",
                     spw_figure_digits(end->resolution_needed_us, 2, "us").text);
}

/* What the joint forbids of an end that the servo would take. */
static void put_allowed(const spw_page *page, const spw_end *of_servo, const spw_end *allowed) {
    if (allowed->verdict == SPW_END_BEYOND && allowed->deviation_us > of_servo->deviation_us)
        spw_page_row_toned(page, SPW_TONE_BAD, "", "beyond what the joint allows by %s",
                           spw_figure_pm(allowed->deviation_us, allowed->U95, "us").text);
}

static void put_verdict(const spw_page *page, const spw_plan *plan) {
    static const struct {
        const char *words;
        spw_tone tone;
    } decision[] = {
        [SPW_DECISION_NO_ADAPTER] = {"no adapter is needed", SPW_TONE_GOOD},
        [SPW_DECISION_ADJUST] = {"set the controller; no adapter is needed", SPW_TONE_STRONG},
        [SPW_DECISION_ADAPTER] = {"fit a range adapter", SPW_TONE_STRONG},
        [SPW_DECISION_LIMIT] = {"limit: an end goes beyond ", SPW_TONE_BAD},
        [SPW_DECISION_NO_HELP] = {"a range adapter will not help", SPW_TONE_BAD},
        [SPW_DECISION_MEASURE_AGAIN] = {"measure again: this cannot tell", SPW_TONE_BAD},
    };
    spw_page_section(page, "Verdict");
    spw_page_row_toned(
        page, decision[plan->decision].tone, "Decision", "%s%s", decision[plan->decision].words,
        plan->decision == SPW_DECISION_LIMIT ? spw_bound_by_words(plan->bound_by) : "");
    if (plan->summary != NULL && plan->decision != SPW_DECISION_ADAPTER)
        spw_page_row(page, "Because", "%s", plan->summary);
    if (plan->span.wire == SPW_WIRE_INVERTED)
        spw_page_row_toned(page, SPW_TONE_BAD, "Line",
                           "inverted: a servo does not follow low pulses");
    if (plan->span.known) {
        put_end(page, "Low end", &plan->low);
        put_allowed(page, &plan->low, &plan->allowed_low);
        put_end(page, "High end", &plan->high);
        put_allowed(page, &plan->high, &plan->allowed_high);
    }
}

static void put_cautions(const spw_page *page, const spw_plan *plan) {
    if (plan->cautions > 0)
        spw_page_section(page, "Cautions");
    for (size_t i = 0; i < plan->cautions; i++)
        spw_page_warn(page, "%s", plan->caution[i]);
}

static void put_next(const spw_page *page, const spw_plan *plan) {
    size_t step = 1;
    if (plan->advices + plan->recipes == 0 && plan->decision == SPW_DECISION_NO_ADAPTER)
        return;
    spw_page_section(page, "What to do next");
    for (size_t i = 0; i < plan->advices; i++) {
        spw_page_step(page, step++, "%s", plan->advice[i].why);
        if (plan->advice[i].what != SPW_DO_MEASURE_AGAIN)
            continue;
        for (size_t k = 0; k < plan->recipes; k++)
            spw_page_step(page, step++, "%s", plan->recipe[k]);
    }
    if (plan->has_remap)
        spw_page_step(page, step++,
                      "With the adapter in line and the horn off, record its output "
                      "and measure it before the horn goes back on.");
}

spw_status spw_report_plan_text(const spw_plan *plan, const spw_plan_source *sources, size_t n,
                                const spw_text_style *style, spw_text *out) {
    spw_page page = spw_page_start(out, style);
    put_title(&page, plan);
    put_measured(&page, plan, sources, n);
    put_widths(&page, plan, sources, n);
    put_signal(&page, plan, sources, n);
    put_verdict(&page, plan);
    spw_plan_numbers(&page, plan);
    put_cautions(&page, plan);
    put_next(&page, plan);
    return spw_text_status(out);
}
