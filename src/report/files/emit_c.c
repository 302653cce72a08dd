/* The remap as a C99 header for the adapter's program.
 *
 * Nothing from a bench file or a capture's names goes into it: only numbers and
 * words of our own, so that no name can end a comment. */
#include "spanwright/report.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>

/* Inputs this much (a quarter of the span) past the clamps, or under half of the
 * shortest, are no control pulses. */
#define PLAUSIBLE_PART 0.25
/* Frames without a plausible pulse until the signal counts as lost. */
#define LOST_FRAMES 3
#define USUAL_FRAME_US 20000.0

static const char banner[] =
    "/* Range adapter: the remap in whole ticks. Made by spanwright " SPW_VERSION ".\n"
    " *\n"
    " * Integers only: no fractions, no division, no negative number shifted.\n"
    " * Results are rounded to the nearest tick and never leave the output clamps.\n";

static const char hooks[] =
    "/* What is no control pulse must not move the servo. Define these before the include\n"
    " * to change them:\n"
    " *   RANGE_ADAPTER_PLAUSIBLE_LOW, _HIGH  shorter or longer inputs are not remapped\n"
    " *   RANGE_ADAPTER_LOST_TICKS            after so long without a plausible pulse the\n"
    " *                                       signal is lost: call RANGE_ADAPTER_FAILSAFE\n"
    " *   RANGE_ADAPTER_FAILSAFE(last)        what to send then, in ticks; `last` is the output\n"
    " *                                       sent last. 0 stands for no pulse: most servos then\n"
    " *                                       go slack, which lets a load drop. Choose it with\n"
    " *                                       whoever is responsible for the mechanism. */\n";

static const char functions[] =
    "/* Whether an input of so many ticks is a control pulse. */\n"
    "static inline int range_adapter_plausible(uint32_t in) {\n"
    "    return in >= RANGE_ADAPTER_PLAUSIBLE_LOW && in <= RANGE_ADAPTER_PLAUSIBLE_HIGH;\n"
    "}\n"
    "\n"
    "/* The pulse to send for an input, 0 for none; `last` is the output sent last. */\n"
    "static inline uint32_t range_adapter_output(uint32_t in, uint32_t last) {\n"
    "    (void)last; /* a failsafe may use it */\n"
    "    return range_adapter_plausible(in) ? range_adapter_map(in) : "
    "RANGE_ADAPTER_FAILSAFE(last);\n"
    "}\n";

/* The table's inputs: both clamps, a tick outside of them, eighths between. */
#define TABLE_ROWS 11
static uint32_t table_input(const spw_fixed_point *fixed, int row) {
    uint32_t low = fixed->clamp_in_low, high = fixed->clamp_in_high;
    if (row == 0)
        return low > 0 ? low - 1 : 0;
    if (row == TABLE_ROWS - 1)
        return high + 1;
    return low + (uint32_t)(((uint64_t)high - low) * (uint64_t)(row - 1) / 8);
}

/* Of a plan that stands: its doubts have a bound. */
static void put_doubt(const spw_span *span, spw_text *out) {
    spw_doubt doubt = span->low.doubt;
    spw_doubt_join(&doubt, &span->high.doubt);
    if (doubt.what != 0)
        spw_text_printf(out,
                        " * In doubt: %s;\n"
                        " * the measured ends may be off by another %.3g us.\n",
                        spw_doubt_words(doubt.what), doubt.bound_us);
}

static void put_facts(const spw_plan *plan, spw_text *out) {
    const spw_fixed_point *fixed = &plan->fixed_point;
    const spw_remap *remap = &plan->remap;
    spw_text_puts(out, banner);
    spw_text_printf(out, " *\n * One tick is %.6g us; products stay within %u of %u bits.\n",
                    fixed->tick_us, fixed->widest_product_bits, fixed->word_bits);
    for (size_t i = 0; i < remap->segments; i++)
        spw_text_printf(out, " * Exact line%s: out = %.10g * in %c %.10g us for %.7g to %.7g us.\n",
                        remap->segments > 1 ? (i == 0 ? ", below neutral" : ", above neutral") : "",
                        remap->segment[i].gain, remap->segment[i].offset_us < 0 ? '-' : '+',
                        fabs(remap->segment[i].offset_us), remap->segment[i].from_us,
                        remap->segment[i].to_us);
    put_doubt(&plan->span, out);
    spw_text_printf(out,
                    " * Largest error %.6g ticks (%.6g us), proven over all %" PRIu64
                    " inputs from 0 on.\n *\n *   in ticks  out ticks     in us     out us\n",
                    fixed->worst_error_ticks, fixed->worst_error_us, fixed->inputs_checked);
    for (int row = 0; row < TABLE_ROWS; row++) {
        uint32_t in = table_input(fixed, row), mapped = spw_fixed_point_apply(fixed, in);
        spw_text_printf(out, " *   %8" PRIu32 "   %8" PRIu32 "  %8.2f   %8.2f\n", in, mapped,
                        in * fixed->tick_us, mapped * fixed->tick_us);
    }
    spw_text_puts(out, " */\n");
}

static void define(spw_text *out, const char *name, uint32_t value) {
    spw_text_printf(out, "#define RANGE_ADAPTER_%s UINT32_C(%" PRIu32 ")\n", name, value);
}

static void define_default(spw_text *out, const char *name, uint32_t value) {
    spw_text_printf(out, "#ifndef RANGE_ADAPTER_%s\n", name);
    define(out, name, value);
    spw_text_puts(out, "#endif\n");
}

static void put_constants(const spw_plan *plan, spw_text *out) {
    const spw_fixed_point *fixed = &plan->fixed_point;
    double reach = PLAUSIBLE_PART * ((double)fixed->clamp_in_high - fixed->clamp_in_low);
    double frame = isfinite(plan->span.mean_frame_us) ? plan->span.mean_frame_us : USUAL_FRAME_US;
    define(out, "TICK_NS", (uint32_t)lround(fixed->tick_us * 1000));
    define(out, "IN_LOW", fixed->clamp_in_low);
    define(out, "IN_HIGH", fixed->clamp_in_high);
    define(out, "OUT_LOW", fixed->clamp_out_low);
    define(out, "OUT_HIGH", fixed->clamp_out_high);
    spw_text_puts(out, "\n");
    spw_text_puts(out, hooks);
    define_default(
        out, "PLAUSIBLE_LOW",
        (uint32_t)fmax(ceil(fixed->clamp_in_low * 0.5), floor(fixed->clamp_in_low - reach)));
    define_default(out, "PLAUSIBLE_HIGH", (uint32_t)ceil(fixed->clamp_in_high + reach));
    define_default(out, "LOST_TICKS", (uint32_t)ceil(LOST_FRAMES * frame / fixed->tick_us));
    spw_text_puts(out, "#ifndef RANGE_ADAPTER_FAILSAFE\n"
                       "#define RANGE_ADAPTER_FAILSAFE(last) UINT32_C(0)\n#endif\n\n");
}

static uint64_t magnitude(int64_t value) {
    return value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
}

/* product and addend, shifted: where the word holds the product. */
static void put_product(const spw_fixed_segment *s, unsigned bits, spw_text *out) {
    uint64_t m = magnitude(s->multiplier), a = magnitude(s->addend);
    spw_text_printf(out, "        product = (uint%u_t)(x * UINT%u_C(%" PRIu64 "));\n", bits, bits,
                    m);
    if (s->multiplier < 0)
        spw_text_printf(out, "        sum = (uint%u_t)(UINT%u_C(%" PRIu64 ") - product);\n", bits,
                        bits, a);
    else
        spw_text_printf(out, "        sum = (uint%u_t)(product %c UINT%u_C(%" PRIu64 "));\n", bits,
                        s->addend < 0 ? '-' : '+', bits, a);
    if (bits == 16)
        spw_text_printf(out, "        out = (uint16_t)(UINT16_C(%" PRIu32 ") + (sum >> %u));\n",
                        s->out_offset, s->shift);
    else
        spw_text_printf(out, "        out = UINT32_C(%" PRIu32 ") + (uint32_t)(sum >> %u);\n",
                        s->out_offset, s->shift);
}

/* The same where it does not: both factors by bytes. */
static void put_bytes(const spw_fixed_segment *s, spw_text *out) {
    unsigned m = (unsigned)s->multiplier >> 8, n = (unsigned)s->multiplier & 255u;
    spw_text_printf(out,
                    "        /* (x * %u + %u) >> 16, by bytes */\n"
                    "        i = (uint16_t)(x >> 8);\n"
                    "        j = (uint16_t)(x & 255u);\n"
                    "        cross = (uint16_t)(i * UINT16_C(%u));\n"
                    "        other = (uint16_t)(j * UINT16_C(%u));\n"
                    "        product = (uint16_t)(j * UINT16_C(%u));\n"
                    "        sum = (uint16_t)((product >> 8) + (cross & 255u) + (other & 255u) + "
                    "UINT16_C(%u));\n"
                    "        product = (uint16_t)(i * UINT16_C(%u));\n"
                    "        out = (uint16_t)(UINT16_C(%" PRIu32 ") + product + (cross >> 8) + "
                    "(other >> 8) + (sum >> 8));\n",
                    (unsigned)s->multiplier, (unsigned)s->addend, n, m, n, (unsigned)s->addend >> 8,
                    m, s->out_offset);
}

/* One segment: every step in the word's own type, none below zero. */
static void put_segment(const spw_fixed_segment *s, unsigned bits, spw_text *out) {
    spw_text_printf(out, "        x = (uint%u_t)(in - UINT32_C(%" PRIu32 "));\n", bits,
                    s->in_offset);
    if (s->by_bytes)
        put_bytes(s, out);
    else
        put_product(s, bits, out);
    if (s->whole != 0) { /* words of 16 bits only */
        bool once = abs(s->whole) == 1;
        if (!once)
            spw_text_printf(out, "        product = (uint16_t)(x * UINT16_C(%d));\n",
                            abs(s->whole));
        spw_text_printf(out, "        out = (uint16_t)(out %c %s);\n", s->whole < 0 ? '-' : '+',
                        once ? "x" : "product");
    }
    if (s->out_less > 0 && bits == 16)
        spw_text_printf(out,
                        "        out = (uint16_t)(out > %" PRIu32 "u ? out - %" PRIu32 "u : 0);\n",
                        s->out_less, s->out_less);
    else if (s->out_less > 0)
        spw_text_printf(
            out, "        out = out > UINT32_C(%" PRIu32 ") ? out - UINT32_C(%" PRIu32 ") : 0;\n",
            s->out_less, s->out_less);
}

static bool any_by_bytes(const spw_fixed_point *fixed) {
    return fixed->segment[0].by_bytes || (fixed->segments > 1 && fixed->segment[1].by_bytes);
}

static void put_map(const spw_fixed_point *fixed, spw_text *out) {
    unsigned bits = fixed->word_bits;
    spw_text_printf(out,
                    "/* The output in ticks for any input in ticks, clamped on both sides. */\n"
                    "static inline uint32_t range_adapter_map(uint32_t in) {\n"
                    "    uint%u_t x, product, sum;\n    uint%u_t out;\n",
                    bits, bits == 16 ? 16 : 32);
    if (any_by_bytes(fixed))
        spw_text_puts(out, "    uint16_t i, j, cross, other;\n");
    if (fixed->clamp_in_low > 0)
        spw_text_puts(out,
                      "    if (in < RANGE_ADAPTER_IN_LOW)\n        in = RANGE_ADAPTER_IN_LOW;\n");
    spw_text_puts(out,
                  "    if (in > RANGE_ADAPTER_IN_HIGH)\n        in = RANGE_ADAPTER_IN_HIGH;\n");
    if (fixed->segments > 1) {
        spw_text_printf(out, "    if (in <= UINT32_C(%" PRIu32 ")) { /* up to neutral */\n",
                        fixed->segment[0].to_ticks);
        put_segment(&fixed->segment[0], bits, out);
        spw_text_puts(out, "    } else {\n");
        put_segment(&fixed->segment[1], bits, out);
    } else {
        spw_text_puts(out, "    {\n");
        put_segment(&fixed->segment[0], bits, out);
    }
    spw_text_puts(out, "    }\n");
    if (fixed->clamp_out_low > 0)
        spw_text_puts(
            out, "    if (out < RANGE_ADAPTER_OUT_LOW)\n        out = RANGE_ADAPTER_OUT_LOW;\n");
    spw_text_puts(out,
                  "    if (out > RANGE_ADAPTER_OUT_HIGH)\n        out = RANGE_ADAPTER_OUT_HIGH;\n"
                  "    return out;\n}\n\n");
}

spw_status spw_plan_emit_c(const spw_plan *plan, spw_text *out) {
    spw_status usable = spw_plan_integers_check(plan, NULL);
    if (usable != SPW_OK)
        return usable;
    put_facts(plan, out);
    spw_text_puts(out,
                  "#ifndef RANGE_ADAPTER_H\n#define RANGE_ADAPTER_H\n\n#include <stdint.h>\n\n");
    put_constants(plan, out);
    put_map(&plan->fixed_point, out);
    spw_text_puts(out, functions);
    spw_text_puts(out, "\n#endif\n");
    return spw_text_status(out);
}
