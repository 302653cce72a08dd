/* The numbers of a plan: remap, integer constants, effect, joint. */
#include "report/words/words.h"

#include "report/fields/fields.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* "+ 3.5" or "- 1500" */
static spw_figure signed_part(double value) {
    spw_figure size = spw_figure_plain(fabs(value), 7, ""), figure;
    (void)snprintf(figure.text, sizeof figure.text, "%s %.40s", value < 0 ? "-" : "+", size.text);
    return figure;
}

static void put_line(const spw_page *page, const char *label, double gain, double offset_us) {
    if (gain == 1 && offset_us == 0)
        spw_page_row(page, label, "out = in");
    else
        spw_page_row(page, label, "out = %s * in %s us", spw_figure_plain(gain, 7, "").text,
                     signed_part(offset_us).text);
}

static void put_remap(const spw_page *page, const spw_remap *map) {
    spw_page_row(page, "Gain", "%s", spw_figure_plain(map->gain, 7, "").text);
    spw_page_row(page, "Offset", "%s", spw_figure_plain(map->offset_us, 7, "us").text);
    if (map->kind == SPW_REMAP_STRAIGHT)
        put_line(page, "Line", map->gain, map->offset_us);
    for (size_t i = 0; i < map->segments && map->kind == SPW_REMAP_BENT; i++) {
        char label[32];
        (void)snprintf(label, sizeof label, "Piece %zu", i + 1);
        put_line(page, label, map->segment[i].gain, map->segment[i].offset_us);
        spw_page_row(page, "", "for inputs from %s to %s",
                     spw_figure_unit(map->segment[i].from_us, 1, "").text,
                     spw_figure_unit(map->segment[i].to_us, 1, "us").text);
    }
    if (map->segments > 0)
        spw_page_row(page, "Clamp in", "%s to %s",
                     spw_figure_unit(map->segment[0].from_us, 1, "").text,
                     spw_figure_unit(map->segment[map->segments - 1].to_us, 1, "us").text);
    spw_page_row(page, "Clamp out", "%s to %s", spw_figure_unit(map->clamp_low_us, 1, "").text,
                 spw_figure_unit(map->clamp_high_us, 1, "us").text);
    if (isfinite(map->neutral_in_us))
        spw_page_row(page, "Neutral", "%s becomes %s, %s off",
                     spw_figure_unit(map->neutral_in_us, 2, "us").text,
                     spw_figure_unit(map->neutral_out_us, 2, "us").text,
                     spw_figure_unit(map->neutral_error_us, 2, "us").text);
}

static uint64_t size_of_number(int64_t value) {
    return value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
}

/* A product of 0 leaves constants that one number says. */
static spw_fixed_segment without_product(const spw_fixed_segment *part) {
    spw_fixed_segment plain = *part;
    if (part->multiplier == 0 && part->addend >= 0) {
        plain.addend = (int64_t)part->out_offset + (part->addend >> part->shift);
        plain.out_offset = plain.shift = 0;
    }
    return plain;
}

const char spw_plan_by_bytes[] =
    "x * m >> 16 is wider than the word: take it by bytes, as --emit-c writes it";

spw_formula spw_plan_formula(const spw_fixed_segment *segment) {
    spw_fixed_segment plain = without_product(segment);
    const spw_fixed_segment *part = &plain;
    char x[8] = "in", start[48] = "", sum[96], shifted[128], whole[48] = "", less[48] = "";
    uint64_t product = size_of_number(part->multiplier), addend = size_of_number(part->addend);
    spw_formula formula;
    if (part->in_offset != 0) {
        (void)snprintf(start, sizeof start, "x = in - %" PRIu32 "; ", part->in_offset);
        (void)snprintf(x, sizeof x, "x");
    }
    if (product == 0)
        (void)snprintf(sum, sizeof sum, "%" PRIu64, addend);
    else if (part->multiplier < 0)
        (void)snprintf(sum, sizeof sum, "%" PRIu64 " - %s * %" PRIu64, addend, x, product);
    else if (product == 1 && addend == 0)
        (void)snprintf(sum, sizeof sum, "%s", x);
    else if (product == 1)
        (void)snprintf(sum, sizeof sum, "%s %c %" PRIu64, x, part->addend < 0 ? '-' : '+', addend);
    else if (addend == 0)
        (void)snprintf(sum, sizeof sum, "%s * %" PRIu64, x, product);
    else
        (void)snprintf(sum, sizeof sum, "%s * %" PRIu64 " %c %" PRIu64, x, product,
                       part->addend < 0 ? '-' : '+', addend);
    if (part->shift > 0)
        (void)snprintf(shifted, sizeof shifted, "((%s) >> %u)", sum, part->shift);
    else
        (void)snprintf(shifted, sizeof shifted, "%s", sum);
    if (part->whole == 1 || part->whole == -1)
        (void)snprintf(whole, sizeof whole, " %c %s", part->whole < 0 ? '-' : '+', x);
    else if (part->whole != 0)
        (void)snprintf(whole, sizeof whole, " %c %s * %" PRIu64, part->whole < 0 ? '-' : '+', x,
                       size_of_number(part->whole));
    if (part->out_less != 0)
        (void)snprintf(less, sizeof less, " - %" PRIu32 " (at least 0)", part->out_less);
    if (part->out_offset != 0)
        (void)snprintf(formula.text, sizeof formula.text, "%sout = %" PRIu32 " + %s%s%s", start,
                       part->out_offset, shifted, whole, less);
    else
        (void)snprintf(formula.text, sizeof formula.text, "%sout = %s%s%s", start, shifted, whole,
                       less);
    return formula;
}

static bool any_by_bytes(const spw_fixed_point *fixed) {
    return fixed->segment[0].by_bytes || (fixed->segments > 1 && fixed->segment[1].by_bytes);
}

static void put_integers(const spw_page *page, const spw_plan *plan) {
    const spw_fixed_point *fixed = &plan->fixed_point;
    spw_error error;
    spw_error_clear(&error);
    bool usable = spw_plan_integers_check(plan, &error) == SPW_OK;
    if (!fixed->known) {
        spw_page_row(page, "Integers", "none found: %s", error.message);
        return;
    }
    spw_page_row(page, "Integers",
                 "in ticks of %s: clamp the input to %" PRIu32 " .. %" PRIu32
                 ", apply, clamp the output to %" PRIu32 " .. %" PRIu32,
                 spw_figure_plain(fixed->tick_us, 4, "us").text, fixed->clamp_in_low,
                 fixed->clamp_in_high, fixed->clamp_out_low, fixed->clamp_out_high);
    for (size_t i = 0; i < fixed->segments; i++) {
        const spw_fixed_segment *part = &fixed->segment[i];
        spw_formula formula = spw_plan_formula(part);
        if (fixed->segments > 1)
            spw_page_row(page, "", "from %" PRIu32 " to %" PRIu32 ": %s", part->from_ticks,
                         part->to_ticks, formula.text);
        else
            spw_page_row(page, "", "%s", formula.text);
    }
    if (any_by_bytes(fixed))
        spw_page_row(page, "", "%s", spw_plan_by_bytes);
    spw_page_row(page, "Rounding",
                 "at most %s (%s ticks), every one of %" PRIu64
                 " inputs tried; widest product %u of %u bits",
                 spw_figure_digits(fixed->worst_error_us, 2, "us").text,
                 spw_figure_digits(fixed->worst_error_ticks, 2, "").text, fixed->inputs_checked,
                 fixed->widest_product_bits, fixed->word_bits);
    if (!usable)
        spw_page_row_toned(page, SPW_TONE_BAD, "", "NOT to be built on: %s", error.message);
}

static void put_fit(const spw_page *page, const spw_plan *plan) {
    double frame = plan->span.shortest_frame_us, gap = plan->after.shortest_gap_us;
    if (!plan->has_after)
        return;
    if (!isfinite(gap))
        spw_page_row(page, "Fits frame", "not known: no frame was measured");
    else
        spw_page_row_toned(page, gap > 0 ? SPW_TONE_GOOD : SPW_TONE_BAD, "Fits frame",
                           "%s: the longest pulse leaves %s of the shortest frame (%s)",
                           gap > 0 ? "yes" : "NO", spw_figure_unit(gap, 0, "us").text,
                           spw_figure_unit(frame, 0, "us").text);
}

/* A row of the table of effects; left out when neither side is known. */
static void effect_row(const spw_page *page, bool has_after, const char *label, spw_figure before,
                       spw_figure after) {
    if (before.text[0] == '\0' && (!has_after || after.text[0] == '\0'))
        return;
    int lost[2] = {(int)(strlen(before.text) - spw_page_columns(before.text)),
                   (int)(strlen(after.text) - spw_page_columns(after.text))};
    if (has_after)
        spw_page_line(page, "  %-18s%*s%*s", label, 26 + lost[0], before.text, 28 + lost[1],
                      after.text);
    else
        spw_page_line(page, "  %-18s%*s", label, 26 + lost[0], before.text);
}

static spw_figure if_known(double value, int digits, const char *unit) {
    spw_figure unknown = {""};
    return isfinite(value) ? spw_figure_plain(value, digits, unit) : unknown;
}

static spw_figure width_figure(double us, double U95) {
    spw_figure unknown = {""};
    return isfinite(us) ? spw_figure_pm(us, U95, "us") : unknown;
}

static spw_figure range_figure(double low, double high, int digits, const char *unit) {
    if (!isfinite(low) || !isfinite(high))
        return (spw_figure){""};
    spw_figure from = spw_figure_digits(low, digits, ""),
               to = spw_figure_digits(high, digits, unit);
    if (strncmp(from.text, to.text, strlen(from.text)) == 0 &&
        (to.text[strlen(from.text)] == ' ' || to.text[strlen(from.text)] == '\0'))
        return to;
    spw_figure figure;
    (void)snprintf(figure.text, sizeof figure.text, "%.28s to %.28s", from.text, to.text);
    return figure;
}

static spw_figure hunts_figure(const spw_effect *effect) {
    if (effect->hunts < 0)
        return (spw_figure){""};
    spw_figure chance = spw_figure_digits(100.0 * effect->hunt_probability, 2, "%"), figure;
    (void)snprintf(figure.text, sizeof figure.text, "%s (%.24s of frames)",
                   effect->hunts > 0 ? "hunts" : "quiet", chance.text);
    return figure;
}

static void put_effect(const spw_page *page, const spw_plan *plan) {
    const spw_effect *b = &plan->before, *a = &plan->after;
    bool has = plan->has_after;
    spw_page_section(page, "Effect");
    effect_row(page, has, "", (spw_figure){"as sent"}, (spw_figure){"after the adapter"});
    effect_row(page, has, "low end", width_figure(b->low_us, b->low_U95_us),
               width_figure(a->low_us, a->low_U95_us));
    effect_row(page, has, "neutral", width_figure(b->neutral_us, NAN),
               width_figure(a->neutral_us, NAN));
    effect_row(page, has, "high end", width_figure(b->high_us, b->high_U95_us),
               width_figure(a->high_us, a->high_U95_us));
    effect_row(page, has, "jitter, rms", range_figure(b->jitter_low_us, b->jitter_high_us, 2, "us"),
               range_figure(a->jitter_low_us, a->jitter_high_us, 2, "us"));
    effect_row(page, has, "step", if_known(b->step_us, 3, "us"), if_known(a->step_us, 3, "us"));
    effect_row(page, has, "positions", if_known(b->positions, 6, ""),
               if_known(a->positions, 6, ""));
    effect_row(page, has, "servo travel", if_known(b->servo.travel, 4, "deg"),
               if_known(a->servo.travel, 4, "deg"));
    effect_row(page, has, "joint travel", if_known(b->joint.travel, 4, "deg"),
               if_known(a->joint.travel, 4, "deg"));
    effect_row(page, has, "joint jitter", if_known(b->joint.jitter, 2, "deg"),
               if_known(a->joint.jitter, 2, "deg"));
    effect_row(page, has, "joint step", if_known(b->joint.step, 2, "deg"),
               if_known(a->joint.step, 2, "deg"));
    effect_row(page, has, "at rest", hunts_figure(b), hunts_figure(a));
    effect_row(page, has, "creep at neutral", if_known(b->creep_rpm, 3, "rpm"),
               if_known(a->creep_rpm, 3, "rpm"));
    effect_row(page, has, "shortest gap", if_known(b->shortest_gap_us, 6, "us"),
               if_known(a->shortest_gap_us, 6, "us"));
    effect_row(page, has, "delay", (spw_figure){""},
               range_figure(a->latency_typical_ms, a->latency_worst_ms, 3, "ms"));
}

static const char *reached_words(spw_reached reached) {
    static const char *const words[] = {"yes", "no", "undecided", "not known"};
    return words[reached];
}

static void put_joint(const spw_page *page, const spw_plan *plan) {
    const spw_joint_verdict *joint = &plan->joint;
    if (!joint->known)
        return;
    spw_page_section(page, "Joint");
    if (isfinite(joint->needed_deg))
        spw_page_row(page, "Needs", "%s; reached as sent: %s%s%s",
                     spw_figure_plain(joint->needed_deg, 4, "deg").text,
                     reached_words(joint->before), plan->has_after ? "; after the adapter: " : "",
                     plan->has_after ? reached_words(joint->after) : "");
    if (isfinite(joint->reduction_that_would_do))
        spw_page_row(page, "Gearing", "a reduction of %s would do",
                     spw_figure_plain(joint->reduction_that_would_do, 3, "").text);
    if (joint->beyond_allowed)
        spw_page_warn(page, "What is sent turns the joint beyond what the bench file allows.");
}

void spw_plan_numbers(const spw_page *page, const spw_plan *plan) {
    if (plan->has_remap) {
        spw_page_section(page, "Adapter");
        put_remap(page, &plan->remap);
        put_integers(page, plan);
        put_fit(page, plan);
    }
    if (plan->span.known)
        put_effect(page, plan);
    put_joint(page, plan);
}
