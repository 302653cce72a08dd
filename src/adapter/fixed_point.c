/* The remap in integers, for an adapter without floating point.
 *
 * A line y = g x + c in ticks becomes (x m + a) >> s. m is g 2^s rounded down or up,
 * off by less than 2^-s, so over n inputs the line turns by less than n 2^-s / 2
 * about its middle, where a puts it right. A word of 16 bits has no room for that:
 * there inputs and outputs count from the segment's start and the nearest whole
 * part of g is a product of its own. Of all shifts whose products fit the
 * word, the smallest one is taken that rounds as well as the exact line would (0.5
 * tick at most), else the best. Nothing is believed: the constants are run against
 * the exact line over every input of the segment, and in the end every input from 0
 * to the longest frame. */
#include "adapter/planning.h"

#include <math.h>
#include <stdlib.h>

/* Products stay below 2^53 in JSON readers that keep numbers as doubles. */
#define WIDEST_BITS 53
#define SHIFT_MAX 36
/* Good enough: this much more than what rounding the exact line does, in ticks. */
#define AS_GOOD 1e-6
/* Inputs that are proven at most: four seconds in ticks of a quarter microsecond. */
#define INPUTS_MAX (UINT64_C(1) << 24)

/* What the integers are measured against: the remap in ticks, between whole ticks. */
typedef struct exact {
    const spw_remap *remap;
    double tick_us, low, high;
} exact;

/* A segment that is searched, and the best so far. */
typedef struct search {
    const exact *line;
    uint32_t from, to;
    double slope, at_from; /* of the unclamped line, in ticks */
    uint64_t most;         /* numbers stay below */
    bool short_word;
    int32_t whole;     /* of the slope; 0 unless the word is short */
    double aim, worst; /* errors in ticks: good enough; of the best */
    spw_fixed_segment best;
} search;

static double exact_at(const exact *e, uint64_t in_ticks) {
    double in = fmin(fmax((double)in_ticks * e->tick_us, e->remap->segment[0].from_us),
                     e->remap->segment[e->remap->segments - 1].to_us);
    const spw_segment *first = &e->remap->segment[0];
    const spw_segment *part =
        in > first->to_us ? &e->remap->segment[e->remap->segments - 1] : first;
    return fmin(fmax((part->gain * in + part->offset_us) / e->tick_us, e->low), e->high);
}

/* What is shifted, in unsigned arithmetic: product and addend, either negative. */
static uint64_t sum_of(const spw_fixed_segment *s, uint64_t in_ticks) {
    uint64_t in = in_ticks - s->in_offset;
    if (s->multiplier < 0)
        return (uint64_t)s->addend - in * (uint64_t)-s->multiplier;
    if (s->addend < 0)
        return in * (uint64_t)s->multiplier - (uint64_t)-s->addend;
    return in * (uint64_t)s->multiplier + (uint64_t)s->addend;
}

static uint64_t output_of(const spw_fixed_segment *s, uint64_t in_ticks) {
    uint64_t in = in_ticks - s->in_offset, out = s->out_offset + (sum_of(s, in_ticks) >> s->shift);
    return s->whole < 0 ? out - in * (uint64_t)-s->whole : out + in * (uint64_t)s->whole;
}

static double clamped_output(const exact *e, const spw_fixed_segment *s, uint64_t in_ticks) {
    return fmin(fmax((double)output_of(s, in_ticks), e->low), e->high);
}

/* Whether every number that turns up between both ends of the segment stays
 * within the word and above zero. */
static bool fits(const search *q, const spw_fixed_segment *s) {
    double m = (double)s->multiplier, a = (double)s->addend, most = (double)q->most;
    double first = (double)q->from - s->in_offset, last = (double)q->to - s->in_offset;
    double low = fmin(first * m, last * m) + a, high = fmax(first * m, last * m) + a;
    double out = s->out_offset + ldexp(high, -(int)s->shift) + last * abs(s->whole);
    return low >= 0 && high < most && fabs(m) * last < most && fabs(a) < most && out < most;
}

/* The largest error over the segment, or INFINITY as soon as it passes `bound`. */
static double error_over(const search *q, const spw_fixed_segment *s, double bound) {
    double worst = 0;
    for (uint64_t x = q->from; x <= q->to; x++) {
        /* both ends first: there a turned line is furthest off */
        uint64_t at = x == q->from + (uint64_t)1 && q->to > q->from ? q->to : x;
        worst = fmax(worst, fabs(clamped_output(q->line, s, at) - exact_at(q->line, at)));
        worst = fmax(worst, fabs(clamped_output(q->line, s, x) - exact_at(q->line, x)));
        if (worst > bound)
            return INFINITY;
    }
    return worst;
}

/* Tries a multiplier at a shift, with addends about the one that centres the line. */
static void try_multiplier(search *q, unsigned shift, double multiplier) {
    double scale = ldexp(1, (int)shift), middle = ((double)q->from + q->to) / 2;
    double left = q->slope - q->whole; /* of the slope, for the product */
    double lowest = fmin(q->at_from, q->at_from + left * ((double)q->to - q->from));
    spw_fixed_segment s = {.from_ticks = q->from,
                           .to_ticks = q->to,
                           .multiplier = (int64_t)multiplier,
                           .shift = shift,
                           .in_offset = q->short_word ? q->from : 0,
                           .out_offset = q->short_word ? (uint32_t)fmax(floor(lowest), 0) : 0,
                           .whole = q->whole};
    double centre = q->at_from + left * (middle - q->from) - s.out_offset + 0.5;
    /* Sums are whole: the one that rounds like a real number lies half below it. */
    double addend = round(centre * scale - 0.5 - (middle - s.in_offset) * multiplier);
    /* Words that are too short leave the addend coarse: its neighbours are tried too. */
    int reach = q->short_word ? (shift < 4 ? 1 << shift : 2) : 0;
    for (int k = 0; k <= 2 * reach && q->worst > q->aim; k++) {
        s.addend = (int64_t)addend + (k % 2 != 0 ? (k + 1) / 2 : -(k / 2));
        if (!fits(q, &s))
            continue;
        double worst = error_over(q, &s, q->worst);
        if (worst < q->worst) {
            q->worst = worst;
            q->best = s;
        }
    }
}

static double least_possible(const search *q) {
    double worst = 0;
    for (uint64_t x = q->from; x <= q->to; x++) {
        double y = exact_at(q->line, x);
        worst = fmax(worst, fabs(y - floor(y + 0.5)));
    }
    return worst;
}

/* How far a rounded multiplier turns the line at its ends, in ticks. */
static double turn(const search *q, unsigned shift, double multiplier) {
    return fabs(ldexp(multiplier, -(int)shift) - (q->slope - q->whole)) *
           ((double)q->to - q->from) / 2;
}

/* Tries both neighbours at every shift whose line turns by no more than `most`. */
static void try_shifts(search *q, double most) {
    for (unsigned shift = 0; shift <= SHIFT_MAX && q->worst > q->aim; shift++) {
        double scaled = ldexp(q->slope - q->whole, (int)shift);
        if (fabs(scaled) * (q->short_word ? q->to - q->from : q->to) >= 4 * (double)q->most)
            break;
        if (turn(q, shift, floor(scaled)) <= most)
            try_multiplier(q, shift, floor(scaled));
        if (ceil(scaled) > floor(scaled) && turn(q, shift, ceil(scaled)) <= most)
            try_multiplier(q, shift, ceil(scaled));
    }
}

/* A line that turns by more than a thousandth of a tick hardly ever rounds as well
 * as the exact one: such shifts are tried only when the word has no better. */
static bool search_segment(search *q) {
    q->worst = INFINITY;
    q->aim = least_possible(q) + AS_GOOD;
    try_shifts(q, q->short_word ? INFINITY : 1e-3);
    for (double most = 4e-3; isinf(q->worst) && most < 1e6; most *= 4)
        try_shifts(q, most);
    return isfinite(q->worst);
}

/* Segments in ticks: an input belongs where the exact remap puts it. Neutral
 * itself is the last of the first. */
static bool search_all(const exact *e, unsigned word_bits, spw_fixed_point *fixed) {
    const spw_remap *remap = e->remap;
    for (size_t i = 0; i < remap->segments; i++) {
        const spw_segment *part = &remap->segment[i];
        bool last = i + 1 == remap->segments;
        double from = floor(part->from_us / e->tick_us) + (i > 0 ? 1 : 0);
        double to = last ? ceil(part->to_us / e->tick_us) : floor(part->to_us / e->tick_us);
        if (!(from >= 0 && from <= to && to < UINT32_MAX))
            return false;
        search q = {.line = e,
                    .from = (uint32_t)from,
                    .to = (uint32_t)to,
                    .slope = part->gain,
                    .at_from = part->gain * from + part->offset_us / e->tick_us,
                    .most = UINT64_C(1) << (word_bits < WIDEST_BITS ? word_bits : WIDEST_BITS),
                    .short_word = word_bits == 16,
                    .whole = word_bits == 16 ? (int32_t)lround(part->gain) : 0};
        if (!search_segment(&q))
            return false;
        fixed->segment[i] = q.best;
    }
    fixed->segments = remap->segments;
    fixed->clamp_in_low = fixed->segment[0].from_ticks;
    fixed->clamp_in_high = fixed->segment[fixed->segments - 1].to_ticks;
    return true;
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
    return (uint32_t)clamp(output_of(s, in), fixed->clamp_out_low, fixed->clamp_out_high);
}

static void prove(const exact *e, uint64_t inputs, spw_fixed_point *fixed) {
    for (uint64_t x = 0; x <= inputs; x++) {
        double error = fabs((double)spw_fixed_point_apply(fixed, x) - exact_at(e, x));
        fixed->worst_error_ticks = fmax(fixed->worst_error_ticks, error);
        uint64_t in = clamp(x, fixed->clamp_in_low, fixed->clamp_in_high);
        const spw_fixed_segment *s = segment_of(fixed, in);
        uint64_t product = (in - s->in_offset) * magnitude(s->multiplier);
        uint64_t whole = (in - s->in_offset) * magnitude(s->whole);
        unsigned bits = bits_of(product | whole | sum_of(s, in) | magnitude(s->addend));
        if (bits > fixed->widest_product_bits)
            fixed->widest_product_bits = bits;
    }
    fixed->inputs_checked = inputs + 1;
    fixed->worst_error_us = fixed->worst_error_ticks * e->tick_us;
}

spw_fixed_point spw_fixed_point_find(const spw_remap *remap, double tick_us, unsigned word_bits,
                                     double frame_us) {
    spw_fixed_point fixed = {.tick_us = tick_us, .word_bits = word_bits};
    exact e = {remap, tick_us, ceil(remap->clamp_low_us / tick_us - 1e-9),
               floor(remap->clamp_high_us / tick_us + 1e-9)};
    if (!(e.low >= 0 && e.low <= e.high && e.high < UINT32_MAX) || remap->segments < 1)
        return fixed;
    fixed.clamp_out_low = (uint32_t)e.low;
    fixed.clamp_out_high = (uint32_t)e.high;
    if (!search_all(&e, word_bits, &fixed))
        return fixed;
    double inputs = isfinite(frame_us) ? ceil(frame_us / tick_us) : 65535;
    inputs = fmax(inputs, (double)fixed.clamp_in_high + 1);
    prove(&e, inputs < (double)INPUTS_MAX ? (uint64_t)inputs : INPUTS_MAX, &fixed);
    fixed.known = true;
    return fixed;
}
