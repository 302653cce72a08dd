/* The search for a remap's integer constants.
 *
 * A line y = g x + c in ticks becomes (x m + a) >> s. m is g 2^s rounded down or up,
 * off by less than 2^-s, so over n inputs the line turns by less than n 2^-s / 2
 * about its middle, where a puts it right. Of all shifts whose products fit the
 * word, the smallest one is taken that rounds as well as the exact line would (0.5
 * tick at most), else the best. Nothing is believed: the constants are run against
 * the exact line over every input of the segment.
 *
 * A word of 16 bits has no room for that. There inputs and outputs count from the
 * segment's start, the whole part of g (rounded down, so that a part from 0 to 1 is
 * left) is a product of its own, and where one product is too coarse, the part left is
 * m / 2^16 with x and m taken by bytes: four products of 16 bits, 2^-16 n / 2 of turn. */
#include "adapter/fixed_point.h"

#include <math.h>
#include <stdlib.h>

/* Products stay below 2^53 in JSON readers that keep numbers as doubles. */
#define WIDEST_BITS 53
#define SHIFT_MAX 36
/* Good enough: this much more than what rounding the exact line does, in ticks. */
#define AS_GOOD 1e-6
/* In words of 16 bits, before four products are taken in place of one. */
#define NEARLY_AS_GOOD 0.0625
/* Products by bytes: the addend counts in 2^8 of 2^16. */
#define BYTES_SHIFT 16
#define BYTES_STEP 256

/* A segment that is searched, and the best so far. */
typedef struct search {
    const spw_exact *line;
    uint32_t from, to;
    double slope, at_from; /* of the unclamped line, in ticks; `less` is in it */
    uint32_t less;
    uint64_t most; /* numbers stay below */
    bool short_word;
    int32_t whole;     /* of the slope; 0 unless the word is short */
    double aim, worst; /* errors in ticks: good enough; of the best */
    int way;           /* this segment's first output is not below (+1), above (-1) `before`; */
    double before;     /* 0: nothing comes before it */
    spw_fixed_segment best;
} search;

static double between_clamps(const spw_exact *e, double ticks) {
    return fmin(fmax(ticks, e->low), e->high);
}

static double exact_at(const search *q, uint64_t in_ticks) {
    return between_clamps(q->line, spw_exact_line(q->line, in_ticks));
}

static double output_at(const search *q, const spw_fixed_segment *s, uint64_t in_ticks) {
    return between_clamps(q->line, (double)spw_fixed_output(s, in_ticks));
}

/* Whether every number that turns up between both ends of the segment stays
 * within the word and above zero. */
static bool fits(const search *q, const spw_fixed_segment *s) {
    double m = (double)s->multiplier, a = (double)s->addend, most = (double)q->most;
    double first = (double)q->from - s->in_offset, last = (double)q->to - s->in_offset;
    double low = fmin(first * m, last * m) + a, high = fmax(first * m, last * m) + a;
    double out = s->out_offset + ldexp(high, -(int)s->shift) + last * abs(s->whole);
    if (q->short_word && q->to >= q->most)
        return false;
    if (s->by_bytes)
        return low >= 0 && m < most && a < most * BYTES_STEP && out < most;
    return low >= 0 && high < most && fabs(m) * last < most && fabs(a) < most && out < most;
}

/* The largest error over the segment, or INFINITY as soon as it passes `bound`. */
static double error_over(const search *q, const spw_fixed_segment *s, double bound) {
    double worst = 0;
    for (uint64_t x = q->from; x <= q->to; x++) {
        /* both ends first: there a turned line is furthest off */
        uint64_t at = x == q->from + (uint64_t)1 && q->to > q->from ? q->to : x;
        worst = fmax(worst, fabs(output_at(q, s, at) - exact_at(q, at)));
        worst = fmax(worst, fabs(output_at(q, s, x) - exact_at(q, x)));
        if (worst > bound)
            return INFINITY;
    }
    return worst;
}

/* Where rounding would take the first output a tick back past what comes before it:
 * the least change of the addend that does not. */
static void keep_way(const search *q, spw_fixed_segment *s) {
    if (q->way == 0 || q->way * (output_at(q, s, q->from) - q->before) >= 0)
        return;
    int64_t unit = INT64_C(1) << s->shift, step = s->by_bytes ? BYTES_STEP : 1;
    int64_t over = (int64_t)(spw_fixed_sum(s, q->from) % (uint64_t)unit);
    int64_t change = q->way > 0 ? unit - over : -over - 1;
    s->addend += q->way > 0 ? (change + step - 1) / step * step : (change - step + 1) / step * step;
}

static void try_constants(search *q, spw_fixed_segment s) {
    if (!fits(q, &s))
        return;
    keep_way(q, &s);
    if (!fits(q, &s) || (q->way != 0 && q->way * (output_at(q, &s, q->from) - q->before) < 0))
        return;
    double worst = error_over(q, &s, q->worst);
    if (worst < q->worst) {
        q->worst = worst;
        q->best = s;
    }
}

/* A segment without its addend, and the addend that centres the line. */
static spw_fixed_segment about_middle(const search *q, unsigned shift, double multiplier,
                                      double *addend) {
    double middle = ((double)q->from + q->to) / 2;
    double left = q->slope - q->whole; /* of the slope, for the product */
    double lowest = fmin(q->at_from, q->at_from + left * ((double)q->to - q->from));
    spw_fixed_segment s = {.from_ticks = q->from,
                           .to_ticks = q->to,
                           .multiplier = (int64_t)multiplier,
                           .shift = shift,
                           .in_offset = q->short_word ? q->from : 0,
                           .out_offset = q->short_word ? (uint32_t)fmax(floor(lowest), 0) : 0,
                           .whole = q->whole,
                           .out_less = q->less};
    double centre = q->at_from + left * (middle - q->from) - s.out_offset + 0.5;
    /* Sums are whole: the one that rounds like a real number lies half below it. */
    *addend = centre * ldexp(1, (int)shift) - 0.5 - (middle - s.in_offset) * multiplier;
    return s;
}

/* Tries a multiplier at a shift, with addends about the one that centres the line. */
static void try_multiplier(search *q, unsigned shift, double multiplier) {
    double addend;
    spw_fixed_segment s = about_middle(q, shift, multiplier, &addend);
    /* Words that are too short leave the addend coarse: its neighbours are tried too. */
    int reach = q->short_word ? (shift < 4 ? 1 << shift : 2) : 0;
    for (int k = 0; k <= 2 * reach && q->worst > q->aim; k++) {
        s.addend = (int64_t)round(addend) + (k % 2 != 0 ? (k + 1) / 2 : -(k / 2));
        try_constants(q, s);
    }
}

/* The same by bytes. */
static void try_bytes(search *q, double multiplier) {
    double addend;
    spw_fixed_segment s = about_middle(q, BYTES_SHIFT, multiplier, &addend);
    s.by_bytes = true;
    for (int k = -1; k <= 1; k++) {
        s.addend = ((int64_t)round(addend / BYTES_STEP) + k) * BYTES_STEP;
        try_constants(q, s);
    }
}

static double least_possible(const search *q) {
    double worst = 0;
    for (uint64_t x = q->from; x <= q->to; x++) {
        double y = exact_at(q, x);
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

static void search_short(search *q) {
    double scaled = ldexp(q->slope - q->whole, BYTES_SHIFT);
    try_shifts(q, INFINITY);
    if (q->worst <= q->aim - AS_GOOD + NEARLY_AS_GOOD)
        return;
    try_bytes(q, floor(scaled));
    try_bytes(q, ceil(scaled));
}

/* A line that turns by more than a thousandth of a tick hardly ever rounds as well
 * as the exact one: such shifts are tried only when the word has no better. */
static bool search_segment(search *q) {
    q->worst = INFINITY;
    q->aim = least_possible(q) + AS_GOOD;
    if (q->short_word)
        search_short(q);
    else
        try_shifts(q, 1e-3);
    for (double most = 4e-3; isinf(q->worst) && !q->short_word && most < 1e6; most *= 4)
        try_shifts(q, most);
    return isfinite(q->worst);
}

/* The line at the whole ticks about a segment's ends may lie below zero, where no
 * clamp has raised it yet: so many ticks are added, and taken away last. */
static uint32_t ticks_below_zero(double at_from, double at_to) {
    return (uint32_t)fmax(0, ceil(-fmin(at_from, at_to)));
}

/* Segments in ticks: an input belongs where the exact remap puts it. Neutral
 * itself is the last of the first. */
bool spw_fixed_search(const spw_exact *e, unsigned word_bits, spw_fixed_point *fixed) {
    const spw_remap *remap = e->remap;
    for (size_t i = 0; i < remap->segments; i++) {
        const spw_segment *part = &remap->segment[i];
        bool last = i + 1 == remap->segments;
        double from = floor(part->from_us / e->tick_us) + (i > 0 ? 1 : 0);
        double to = last ? ceil(part->to_us / e->tick_us) : floor(part->to_us / e->tick_us);
        if (!(from >= 0 && from <= to && to < UINT32_MAX))
            return false;
        double at_from = part->gain * from + part->offset_us / e->tick_us;
        double at_to = at_from + part->gain * (to - from);
        if (!(fmax(fabs(at_from), fabs(at_to)) < UINT32_MAX))
            return false;
        uint32_t less = ticks_below_zero(at_from, at_to);
        search q = {.line = e,
                    .from = (uint32_t)from,
                    .to = (uint32_t)to,
                    .slope = part->gain,
                    .at_from = at_from + less,
                    .less = less,
                    .most = UINT64_C(1) << (word_bits < WIDEST_BITS ? word_bits : WIDEST_BITS),
                    .short_word = word_bits == 16,
                    .whole = word_bits == 16 ? (int32_t)floor(part->gain) : 0};
        if (i > 0) {
            q.way = part->gain < 0 ? -1 : 1;
            q.before = output_at(&q, &fixed->segment[i - 1], q.from - (uint64_t)1);
        }
        if (!search_segment(&q))
            return false;
        fixed->segment[i] = q.best;
    }
    fixed->segments = remap->segments;
    fixed->clamp_in_low = fixed->segment[0].from_ticks;
    fixed->clamp_in_high = fixed->segment[fixed->segments - 1].to_ticks;
    return true;
}
