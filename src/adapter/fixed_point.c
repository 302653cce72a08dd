/* The remap in integers, for an adapter without floating point: applied as the
 * adapter will, and proven by every input from 0 to the longest frame. */
#include "adapter/fixed_point.h"

#include <math.h>
#include <stdlib.h>

/* Inputs that are proven at most: four seconds in ticks of a quarter microsecond. */
#define INPUTS_MAX (UINT64_C(1) << 24)
/* Rounding alone, and a clamp between two ticks, stay within one; what is more comes
 * from the word. */
#define WELL_ROUNDED_TICKS 1.0

double spw_exact_line(const spw_exact *e, uint64_t in_ticks) {
    double in = fmin(fmax((double)in_ticks * e->tick_us, e->remap->segment[0].from_us),
                     e->remap->segment[e->remap->segments - 1].to_us);
    const spw_segment *first = &e->remap->segment[0];
    const spw_segment *part =
        in > first->to_us ? &e->remap->segment[e->remap->segments - 1] : first;
    return (part->gain * in + part->offset_us) / e->tick_us;
}

uint64_t spw_fixed_sum(const spw_fixed_segment *s, uint64_t in_ticks) {
    uint64_t in = in_ticks - s->in_offset;
    if (s->multiplier < 0)
        return (uint64_t)s->addend - in * (uint64_t)-s->multiplier;
    if (s->addend < 0)
        return in * (uint64_t)s->multiplier - (uint64_t)-s->addend;
    return in * (uint64_t)s->multiplier + (uint64_t)s->addend;
}

uint64_t spw_fixed_output(const spw_fixed_segment *s, uint64_t in_ticks) {
    uint64_t in = in_ticks - s->in_offset;
    uint64_t out = s->out_offset + (spw_fixed_sum(s, in_ticks) >> s->shift);
    out = s->whole < 0 ? out - in * (uint64_t)-s->whole : out + in * (uint64_t)s->whole;
    return out > s->out_less ? out - s->out_less : 0;
}

static unsigned bits_of(uint64_t value) {
    unsigned bits = 0;
    while (value > 0) {
        bits++;
        value >>= 1;
    }
    return bits;
}

static uint64_t magnitude(int64_t value) {
    return value < 0 ? (uint64_t)-value : (uint64_t)value;
}

static const spw_fixed_segment *segment_of(const spw_fixed_point *fixed, uint64_t in_ticks) {
    return in_ticks > fixed->segment[0].to_ticks ? &fixed->segment[fixed->segments - 1]
                                                 : &fixed->segment[0];
}

static uint64_t clamp(uint64_t value, uint64_t low, uint64_t high) {
    return value < low ? low : (value > high ? high : value);
}

uint32_t spw_fixed_point_apply(const spw_fixed_point *fixed, uint64_t in_ticks) {
    uint64_t in = clamp(in_ticks, fixed->clamp_in_low, fixed->clamp_in_high);
    const spw_fixed_segment *s = segment_of(fixed, in);
    return (uint32_t)clamp(spw_fixed_output(s, in), fixed->clamp_out_low, fixed->clamp_out_high);
}

/* All bits of the numbers that turn up on the way from an input to its output. */
static uint64_t bits_on_the_way(const spw_fixed_segment *s, uint64_t in_ticks) {
    uint64_t x = in_ticks - s->in_offset, m = magnitude(s->multiplier);
    uint64_t whole = x * magnitude(s->whole);
    if (!s->by_bytes)
        return x * m | whole | spw_fixed_sum(s, in_ticks) | magnitude(s->addend);
    uint64_t cross = (x >> 8) * (m & 255), other = (x & 255) * (m >> 8),
             low = (x & 255) * (m & 255);
    uint64_t carry = (low >> 8) + (cross & 255) + (other & 255) + (magnitude(s->addend) >> 8);
    return x | (x >> 8) * (m >> 8) | cross | other | low | carry | whole |
           (s->out_offset + (spw_fixed_sum(s, in_ticks) >> s->shift));
}

static void prove(const spw_exact *e, uint64_t inputs, spw_fixed_point *fixed) {
    double low = e->remap->clamp_low_us / e->tick_us, high = e->remap->clamp_high_us / e->tick_us;
    for (uint64_t x = 0; x <= inputs; x++) {
        double exact = fmin(fmax(spw_exact_line(e, x), low), high);
        double error = fabs((double)spw_fixed_point_apply(fixed, x) - exact);
        fixed->worst_error_ticks = fmax(fixed->worst_error_ticks, error);
        uint64_t in = clamp(x, fixed->clamp_in_low, fixed->clamp_in_high);
        unsigned bits = bits_of(bits_on_the_way(segment_of(fixed, in), in));
        if (bits > fixed->widest_product_bits)
            fixed->widest_product_bits = bits;
    }
    fixed->inputs_checked = inputs + 1;
    fixed->worst_error_us = fixed->worst_error_ticks * e->tick_us;
}

spw_fixed_point spw_fixed_point_find(const spw_remap *remap, double tick_us, unsigned word_bits,
                                     double frame_us) {
    spw_fixed_point fixed = {.tick_us = tick_us, .word_bits = word_bits};
    spw_exact e = {remap, tick_us, ceil(remap->clamp_low_us / tick_us - 1e-9),
                   floor(remap->clamp_high_us / tick_us + 1e-9)};
    if (!(e.low >= 0 && e.low <= e.high && e.high < UINT32_MAX) || remap->segments < 1)
        return fixed;
    fixed.clamp_out_low = (uint32_t)e.low;
    fixed.clamp_out_high = (uint32_t)e.high;
    if (!spw_fixed_search(&e, word_bits, &fixed))
        return fixed;
    double inputs = isfinite(frame_us) ? ceil(frame_us / tick_us) : 65535;
    inputs = fmax(inputs, (double)fixed.clamp_in_high + 1);
    prove(&e, inputs < (double)INPUTS_MAX ? (uint64_t)inputs : INPUTS_MAX, &fixed);
    fixed.known = true;
    return fixed;
}

/* The coarsest tick, finer than the plan's, that keeps the tolerance. NAN: none of the bench
 * file's. */
static double tick_that_does(const spw_plan *plan) {
    static const double tick_us[] = {2, 1, 0.5, 0.25};
    for (size_t i = 0; i < sizeof tick_us / sizeof tick_us[0]; i++) {
        if (tick_us[i] >= plan->fixed_point.tick_us)
            continue;
        spw_fixed_point found =
            spw_fixed_point_find(&plan->remap, tick_us[i], plan->fixed_point.word_bits, NAN);
        if (found.known && found.worst_error_us <= plan->servo.tolerance_us)
            return tick_us[i];
    }
    return NAN;
}

/* What is too coarse, the word or the tick, and what would do. */
static spw_status too_coarse(const spw_plan *plan, spw_error *error) {
    const spw_fixed_point *fixed = &plan->fixed_point;
    double off = fixed->worst_error_us, tolerance = plan->servo.tolerance_us;
    double tick = tick_that_does(plan);
    if (fixed->worst_error_ticks > WELL_ROUNDED_TICKS && fixed->word_bits < 64)
        return spw_error_set(error, SPW_ERR_LIMIT,
                             "the integers are off by up to %.3g us, more than the servo's "
                             "tolerance_us of %.4g: set word_bits=%u in the bench file",
                             off, tolerance, 2 * fixed->word_bits);
    if (isfinite(tick))
        return spw_error_set(error, SPW_ERR_LIMIT,
                             "the integers are off by up to %.3g us, more than the servo's "
                             "tolerance_us of %.4g: set tick_us=%.4g in the bench file",
                             off, tolerance, tick);
    return spw_error_set(error, SPW_ERR_LIMIT,
                         "the integers are off by up to %.3g us, more than the servo's "
                         "tolerance_us of %.4g, which no tick_us of the bench file keeps: allow a "
                         "larger tolerance_us",
                         off, tolerance);
}

spw_status spw_plan_integers_check(const spw_plan *plan, spw_error *error) {
    const spw_fixed_point *fixed = &plan->fixed_point;
    if (!plan->has_remap)
        return spw_error_set(error, SPW_ERR_EMPTY, "this plan needs no adapter");
    if (fixed->known && fixed->worst_error_us <= plan->servo.tolerance_us)
        return SPW_OK;
    if (fixed->known)
        return too_coarse(plan, error);
    return spw_error_set(error, SPW_ERR_LIMIT,
                         "no integers for the remap fit words of %u bits with ticks of %.4g us: "
                         "set %s in the bench file",
                         fixed->word_bits, fixed->tick_us,
                         fixed->word_bits == 16 ? "word_bits=32" : "a finer tick_us");
}
