/* A verification for people: the verdict, the line, then each check. */
#include "report/fields/fields.h"
#include "report/text/text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *word(int pass) {
    return pass > 0 ? "yes" : pass == 0 ? "NO" : "not told";
}

static const char *label_of(const char *name) {
    static const char *const labels[][2] = {
        {"line", "Line"},           {"residual", "Levels"},
        {"clamp_low", "Low clamp"}, {"clamp_high", "High clamp"},
        {"latency", "Delay"},       {"smoothing", "Smoothing"},
        {"pairing", "Pairing"},     {"jitter", "Jitter"},
        {"delivery", "Frames"},     {"steps", "Steps"},
        {"lines", "Lines"},
    };
    for (size_t k = 0; k < sizeof labels / sizeof labels[0]; k++)
        if (strcmp(labels[k][0], name) == 0)
            return labels[k][1];
    return name;
}

static void put_fitted(const spw_page *page, const spw_verification *v) {
    double k95 = spw_coverage_factor(0.95, v->dof);
    spw_page_section(page, "Measured");
    if (v->method == SPW_VERIFY_PULSES)
        spw_page_row(page, "Compared",
                     "%zu output pulses with the inputs that caused them; %zu "
                     "outputs without an input, %zu inputs without an output",
                     v->pairs, v->unpaired_after, v->unpaired_before);
    else
        spw_page_row(page, "Compared", "%zu levels of two captures", v->pairs);
    spw_page_row(page, "Gain", "%s", spw_figure_pm(v->gain, k95 * v->u_gain, "").text);
    spw_page_row(page, "Offset", "%s",
                 spw_figure_pm(v->offset_us, k95 * v->u_offset_us, "us").text);
    if (v->planned.known)
        spw_page_row(page, "Planned", "out = %s * in %s %s, tolerance %s",
                     spw_figure_plain(v->planned.remap.gain, 7, "").text,
                     v->planned.remap.offset_us < 0 ? "-" : "+",
                     spw_figure_plain(fabs(v->planned.remap.offset_us), 7, "us").text,
                     spw_figure_plain(v->planned.tolerance_us, 3, "us").text);
    spw_page_row(page, "Departures", "%s rms; largest %s at an input of %s",
                 spw_figure_digits(v->residual_rms_us, 2, "us").text,
                 spw_figure_digits(v->residual_largest_us, 2, "us").text,
                 spw_figure_unit(v->residual_largest_at_us, 1, "us").text);
    if (isfinite(v->clamp_low_us) || isfinite(v->clamp_high_us))
        spw_page_row(page, "Clamps", "seen at %s and %s",
                     spw_figure_unit(v->clamp_low_us, 1, "us").text,
                     spw_figure_unit(v->clamp_high_us, 1, "us").text);
    if (isfinite(v->jitter_gain))
        spw_page_row(page, "Jitter", "multiplied by %s",
                     spw_figure_digits(v->jitter_gain, 3, "").text);
}

static void put_verdict(const spw_page *page, const spw_verification *v) {
    spw_page_section(page, "Verdict");
    if (v->pass > 0)
        spw_page_row_toned(page, SPW_TONE_GOOD, "Adapter", "does what was planned");
    else if (v->pass == 0)
        spw_page_row_toned(page, SPW_TONE_BAD, "Adapter", "does NOT do what was planned");
    else if (v->exchanged)
        spw_page_row_toned(page, SPW_TONE_BAD, "Adapter",
                           "not judged: the two lines seem exchanged");
    else if (!v->planned.known)
        spw_page_row(page, "Adapter", "fitted, not judged: give the plan with --plan FILE");
    else
        spw_page_row_toned(page, SPW_TONE_BAD, "Adapter",
                           "cannot be told: something that matters was not seen");
}

/* What to do about a check that did not say yes. */
static const char *remedy(const char *name) {
    static const char *const remedies[][2] = {
        {"line", "compare the constants in the adapter with the plan's, and its clock with a good "
                 "one"},
        {"residual", "look at the adapter's timer: its tick is coarser than planned"},
        {"clamp_low", "put the low clamp in before the horn goes back on"},
        {"clamp_high", "put the high clamp in before the horn goes back on"},
        {"latency", "let the adapter answer the pulse it measured last"},
        {"smoothing", "take the averaging out of the adapter"},
        {"pairing", "check that --before and --after name the lines of one adapter"},
        {"delivery",
         "find out why pulses are lost: the adapter answers too late, is busy, or takes "
         "good pulses for bad ones"},
        {"steps", "look at the adapter's output timer: its tick is coarser than planned"},
        {"jitter", "look for the source of the added scatter: interrupts, supply, ground"},
    };
    for (size_t k = 0; k < sizeof remedies / sizeof remedies[0]; k++)
        if (strcmp(remedies[k][0], name) == 0)
            return remedies[k][1];
    return "";
}

/* Whether a clamp was not tried. */
static bool untried(const spw_verification *v) {
    for (size_t k = 0; k < v->checks; k++)
        if (v->check[k].pass < 0 && strncmp(v->check[k].name, "clamp", 5) == 0)
            return true;
    return false;
}

static void put_next(const spw_page *page, const spw_verification *v) {
    size_t step = 1;
    spw_page_section(page, "What to do next");
    if (v->exchanged) {
        spw_page_step(
            page, step,
            "Give the two lines the other way round: --before names the controller's, "
            "--after the servo's; of two captures the one before the adapter comes first.");
        return;
    }
    for (size_t k = 0; k < v->checks; k++)
        if (v->check[k].pass == 0)
            spw_page_step(page, step++, "%s: %s.", label_of(v->check[k].name),
                          remedy(v->check[k].name));
    for (size_t k = 0; k < v->checks; k++)
        if (v->check[k].pass < 0 && v->check[k].matters)
            spw_page_step(page, step++, "%s: %s.", label_of(v->check[k].name), v->check[k].why);
    if (v->pass == 0)
        spw_page_step(page, step, "Verify again, with the servo unplugged or its horn off.");
    else if (v->pass > 0 && untried(v))
        spw_page_step(
            page, step,
            "Move the stick past both ends, with the servo unplugged or its horn off, and "
            "verify again: a clamp was not tried, and an odd pulse could drive the servo "
            "into its end stop.");
    else if (v->pass > 0)
        spw_page_step(page, step,
                      "Plug the servo in with its horn off and approach both ends slowly, then fit "
                      "the horn. Keep this answer with the robot's papers.");
    else if (step == 1)
        spw_page_step(page, step,
                      "Give the plan with --plan FILE (spanwright plan --json -o FILE).");
}

spw_status spw_report_verify_text(const spw_verification *v, const char *before, const char *after,
                                  const spw_text_style *style, spw_text *out) {
    spw_page page = spw_page_start(out, style);
    spw_page_title(&page, "Adapter between %s and %s", spw_shown_name(before, 60).text,
                   spw_shown_name(after, 60).text);
    put_fitted(&page, v);
    put_verdict(&page, v);
    if (v->checks > 0)
        spw_page_section(&page, "Checks");
    for (size_t k = 0; k < v->checks; k++) {
        const spw_check *check = &v->check[k];
        spw_tone tone = check->pass > 0    ? SPW_TONE_GOOD
                        : check->pass == 0 ? SPW_TONE_BAD
                                           : SPW_TONE_PLAIN;
        spw_page_row_toned(&page, tone, label_of(check->name), "%s: %s", word(check->pass),
                           check->why);
    }
    put_next(&page, v);
    return spw_text_status(out);
}
