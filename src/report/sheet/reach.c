/* How far the pulses reach, and how far the joint. */
#include "report/sheet/bars.h"
#include "report/words/words.h"

#include <math.h>
#include <stdio.h>

typedef struct words {
    char text[256];
} words;

/* "1000.02 ± 0.15 to 2000.00 ± 0.22 µs" */
static words range_words(double low, double low_U95, double high, double high_U95) {
    words w;
    (void)snprintf(w.text, sizeof w.text, "%s to %s", spw_figure_pm(low, low_U95, "").text,
                   spw_figure_pm(high, high_U95, SPW_MICRO).text);
    return w;
}

/* "neutral 1499.9; 50.0 %" */
static words middle_words(double neutral, double percent) {
    words w;
    (void)snprintf(w.text, sizeof w.text, "%s%s%s%s", isfinite(neutral) ? "neutral " : "",
                   spw_figure_fixed(neutral, 1).text,
                   isfinite(neutral) && isfinite(percent) ? "; " : "",
                   isfinite(percent) ? spw_figure_unit(percent, 1, "%").text : "");
    return w;
}

/* What the adapter makes of the measured ends; of a plan from a file, applied to today's. */
static spw_effect adapted(const spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    if (!sheet->adapter_read)
        return plan->after;
    spw_effect effect = {.neutral_us = NAN, .low_U95_us = NAN, .high_U95_us = NAN};
    effect.low_us = spw_remap_apply(&sheet->adapter.remap, plan->span.low.us);
    effect.high_us = spw_remap_apply(&sheet->adapter.remap, plan->span.high.us);
    if (isfinite(plan->span.neutral.us))
        effect.neutral_us = spw_remap_apply(&sheet->adapter.remap, plan->span.neutral.us);
    return effect;
}

static void draw_spans(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    const spw_servo *servo = &plan->servo;
    const spw_span *span = &plan->span;
    spw_effect after = adapted(sheet);
    bool has_after = span->known && sheet->adapter.known;
    double low = has_after ? fmin(after.low_us, after.high_us) : (double)NAN,
           high = has_after ? fmax(after.low_us, after.high_us) : (double)NAN;
    words expected,
        sent = range_words(span->low.us, span->low.U95, span->high.us, span->high.U95),
        of_sent = middle_words(span->neutral.us, plan->range_covered_percent),
        made = range_words(after.low_us, after.low_U95_us, after.high_us, after.high_U95_us),
        of_made = middle_words(after.neutral_us, spw_covered_percent(servo, low, high));
    bool doubted = (span->low.doubt.what | span->high.doubt.what) != 0;
    (void)snprintf(expected.text, sizeof expected.text, "%s to %s, tolerance %s",
                   spw_figure_plain(servo->expected_low_us, 6, "").text,
                   spw_figure_plain(servo->expected_high_us, 6, SPW_MICRO).text,
                   spw_figure_plain(servo->tolerance_us, 3, SPW_MICRO).text);
    const spw_bar bars[3] = {
        {"The servo expects", expected.text, "", "want", servo->expected_low_us,
         servo->expected_high_us, NAN},
        {doubted ? "The controller sends *" : "The controller sends", sent.text, of_sent.text,
         "sent", span->known ? span->low.us : (double)NAN, span->high.us, span->neutral.us},
        {"After the adapter", made.text, of_made.text, "after", low, high, after.neutral_us},
    };
    spw_sheet_bars(sheet, "reach", "Spans of servo, controller and adapter", bars, 3, SPW_MICRO);
}

void spw_sheet_reach(spw_sheet *sheet) {
    const spw_span *span = &sheet->facts->plan->span;
    spw_sheet_section(sheet, "reach", "How far the pulses reach");
    spw_sheet_figure(sheet, "<b>Spans to one scale</b>Pulse width is the pulse duration of IEEE "
                            "Std 181, from 50 % to 50 %; &#177; is the expanded uncertainty U95; a "
                            "diamond marks neutral; percent is of the expected range.");
    draw_spans(sheet);
    spw_sheet_figure_end(sheet);
    spw_doubt doubt = span->low.doubt;
    spw_doubt_join(&doubt, &span->high.doubt);
    if (doubt.what != 0) {
        spw_sheet_put(sheet, "<p>");
        spw_sheet_doubted(sheet, &doubt);
        spw_sheet_put(sheet, "</p>\n");
    }
    if (!span->known) {
        spw_sheet_put(sheet, "<p>The controller's span is not known: ");
        spw_sheet_prose(sheet, span->reason);
        spw_sheet_put(sheet, "</p>\n");
    }
    spw_sheet_section_end(sheet);
}

static words angle_words(double deg) {
    words w;
    (void)snprintf(w.text, sizeof w.text, "%s", spw_figure_plain(deg, 4, "degrees").text);
    return w;
}

static const char *reached_words(spw_reached reached) {
    static const char *const said[] = {"yes", "no", "undecided", "not known"};
    return said[reached];
}

/* Angles lie about the middle of their range. */
static spw_bar angle_bar(const char *label, const char *value, const char *class_name, double deg) {
    return (spw_bar){label,
                     value,
                     "",
                     class_name,
                     isfinite(deg) ? -0.5 * deg : NAN,
                     isfinite(deg) ? 0.5 * deg : NAN,
                     NAN};
}

static void put_reached(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    const spw_joint_verdict *joint = &plan->joint;
    if (!joint->known)
        return;
    spw_sheet_printf(sheet, "<p>Reached with the pulses sent now: <b>%s</b>",
                     reached_words(joint->before));
    if (plan->has_after)
        spw_sheet_printf(sheet, "; behind the adapter: <b>%s</b>", reached_words(joint->after));
    spw_sheet_put(sheet, ".");
    if (isfinite(joint->reduction_that_would_do))
        spw_sheet_printf(sheet, " With the pulses sent now a reduction of %s would do.",
                         spw_figure_plain(joint->reduction_that_would_do, 3, "").text);
    if (joint->beyond_allowed)
        spw_sheet_put(sheet, " <b>What is sent or needed goes beyond what the joint allows.</b>");
    spw_sheet_put(sheet, "</p>\n");
}

void spw_sheet_joint(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    const spw_joint_facts *facts = &sheet->facts->bench->joint;
    double before = plan->before.joint.travel,
           after = plan->has_after ? plan->after.joint.travel : (double)NAN;
    if (!isfinite(before) && !plan->joint.known)
        return;
    words needed = angle_words(facts->needed_deg), now = angle_words(before),
          then = angle_words(after), allowed;
    (void)snprintf(allowed.text, sizeof allowed.text, "%s to %s",
                   spw_figure_plain(facts->allowed_low_deg, 4, "").text,
                   spw_figure_plain(facts->allowed_high_deg, 4, "degrees from neutral").text);
    spw_bar bars[4] = {
        angle_bar("The joint needs", needed.text, "want", facts->needed_deg),
        {"The joint allows", allowed.text, "", "want", facts->allowed_low_deg,
         facts->allowed_high_deg, NAN},
        angle_bar("Reached with the pulses sent now", now.text, "sent", before),
        angle_bar("Reached after the adapter", then.text, "after", after),
    };
    spw_sheet_section(sheet, "joint", "How far the joint turns");
    spw_sheet_figure(sheet,
                     "<b>Joint angle, reached against needed</b>Computed from the bench file's "
                     "travel and reduction, not seen by the capture; each range is drawn about its "
                     "middle, what is allowed about neutral.");
    spw_sheet_bars(sheet, "joint", "Joint angle reached against needed", bars, 4, "degrees");
    spw_sheet_figure_end(sheet);
    put_reached(sheet);
    spw_sheet_section_end(sheet);
}
