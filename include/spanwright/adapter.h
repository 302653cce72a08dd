/* spanwright: the plan: decision, advice, remap, predicted effect. */
#ifndef SPANWRIGHT_ADAPTER_H
#define SPANWRIGHT_ADAPTER_H

#include "span.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

typedef enum spw_decision {
    SPW_DECISION_NO_ADAPTER,
    SPW_DECISION_ADJUST,
    SPW_DECISION_ADAPTER,
    SPW_DECISION_LIMIT,
    SPW_DECISION_NO_HELP,
    SPW_DECISION_MEASURE_AGAIN
} spw_decision;
const char *spw_decision_name(spw_decision decision);

typedef enum spw_advice_do {
    SPW_DO_POLARITY, /* "setting" in JSON: turn an inverted line over */
    SPW_DO_MEASURE_AGAIN,
    SPW_DO_CLOCK,
    SPW_DO_ODD_PULSES,
    SPW_DO_SETTING,
    SPW_DO_TRIM,
    SPW_DO_LIMIT,
    SPW_DO_GEARING,
    SPW_DO_ADAPTER
} spw_advice_do; /* in the order advice is given */
const char *spw_advice_do_name(spw_advice_do what);
typedef struct spw_advice {
    spw_advice_do what;
    char *why; /* a sentence with its numbers and the value to set; safe text */
} spw_advice;

/* out = gain * in + offset for in within [from, to] */
typedef struct spw_segment {
    double from_us, to_us, gain, offset_us;
} spw_segment;

/* The linear remap an adapter must apply:
 * out = clamp(gain * clamp(in, segments) + offset, clamp_low, clamp_high). */
typedef struct spw_remap {
    spw_remap_kind kind;
    double gain, offset_us;             /* bent: of the whole range, end to end */
    double clamp_low_us, clamp_high_us; /* of the output */
    double neutral_in_us, neutral_out_us, neutral_error_us; /* NAN without a neutral */
    spw_segment segment[2];
    size_t segments;
} spw_remap;
/* The output for an input width, clamped. */
double spw_remap_apply(const spw_remap *remap, double in_us);

/* The same in whole ticks, proven over every input. For an input clamped to
 * [clamp_in_low, clamp_in_high], in the segment that holds it:
 *   in' = in - in_offset
 *   out = out_offset + ((in' * multiplier + addend) >> shift) + in' * whole - out_less
 * clamped to [clamp_out_low, clamp_out_high]. Computed without a sign no step
 * leaves the word: with a negative multiplier take the product from the addend,
 * with a negative addend take it from the product, with a negative `whole` take
 * that product after the sum; out_less comes last and leaves no less than 0. What is
 * shifted is never negative. Half a tick is in the addend: the result is rounded to
 * nearest. `whole` and both offsets are 0 unless the word has 16 bits; out_less is 0
 * unless the line comes near zero.
 * by_bytes: in' * multiplier is wider than the word; shift is 16, the addend a multiple
 * of 256, and with in' = 256 i + j and multiplier = 256 m + n the shifted sum is
 *   i * m + (i * n >> 8) + (j * m >> 8) +
 *   ((j * n >> 8) + (i * n & 255) + (j * m & 255) + addend / 256 >> 8)
 * in which no number has more than 16 bits. */
typedef struct spw_fixed_segment {
    uint32_t from_ticks, to_ticks; /* both in it; a second one starts a tick later */
    int64_t multiplier;
    unsigned shift;
    int64_t addend;
    uint32_t in_offset, out_offset;
    int32_t whole; /* whole part of the gain, kept out of the product */
    uint32_t out_less;
    bool by_bytes;
} spw_fixed_segment;
typedef struct spw_fixed_point {
    bool known;
    double tick_us;
    unsigned word_bits;
    uint32_t clamp_in_low, clamp_in_high, clamp_out_low, clamp_out_high;
    spw_fixed_segment segment[2];
    size_t segments;
    double worst_error_ticks, worst_error_us;
    uint64_t inputs_checked;
    unsigned widest_product_bits; /* of products, addends and sums */
} spw_fixed_point;
/* The output in ticks for any input in ticks. */
uint32_t spw_fixed_point_apply(const spw_fixed_point *fixed, uint64_t in_ticks);

/* Searches integer constants for the remap and proves them by every input.
 *   frame_us  the longest frame: inputs run from 0 to it; NAN takes 65535 ticks
 * The output's clamps are the whole ticks inside the remap's. The error is the
 * distance from spw_remap_apply, whose clamps may lie between two ticks. Outputs never
 * step back from one input to the next. `known` is false when the word cannot hold any
 * constants. */
spw_fixed_point spw_fixed_point_find(const spw_remap *remap, double tick_us, unsigned word_bits,
                                     double frame_us);

typedef struct spw_motion_deg {
    double travel, jitter, step; /* degrees; NAN when unknown */
} spw_motion_deg;

typedef struct spw_effect {
    double low_us, high_us, neutral_us;
    double low_U95_us, high_U95_us;
    double jitter_low_us, jitter_high_us; /* rms, a range where the phase decides */
    double step_us, positions;
    double hunt_probability, hunt_low, hunt_high; /* a frame; interval; NAN */
    int hunts;                                    /* 1, 0, -1 unknown */
    spw_motion_deg servo, joint;
    double creep_rpm;
    double shortest_gap_us;
    double latency_typical_ms, latency_worst_ms; /* NAN without an adapter */
} spw_effect;

typedef enum spw_reached {
    SPW_REACHED_YES,
    SPW_REACHED_NO,
    SPW_REACHED_UNDECIDED,
    SPW_REACHED_UNKNOWN
} spw_reached;
typedef struct spw_joint_verdict {
    bool known;
    double needed_deg;
    spw_reached before, after; /* after: UNKNOWN without a remap */
    double
        reduction_that_would_do; /* with the pulses sent now; NAN when they reach or when unknown */
    bool beyond_allowed;         /* the pulses sent now drive the joint past what is allowed, or
                                    what is needed does not fit into what is allowed */
} spw_joint_verdict;

/* What an end of the span goes beyond. */
typedef enum spw_bound_by {
    SPW_BOUND_BY_NONE,
    SPW_BOUND_BY_SERVO, /* its expected span */
    SPW_BOUND_BY_JOINT, /* its allowed angles, within what the servo expects */
    SPW_BOUND_BY_BOTH
} spw_bound_by;
const char *spw_bound_by_name(spw_bound_by by); /* "none" "servo" "joint" "both" */
/* To follow "beyond": "what the servo expects", "what the joint allows" ... */
const char *spw_bound_by_words(spw_bound_by by);

typedef struct spw_plan {
    char *summary; /* the decision in one sentence with its numbers; safe text */
    spw_span span;
    spw_servo servo;
    spw_adapter_facts adapter;              /* of the bench file that it was made with */
    spw_end low, high;                      /* against the servo's expected span */
    double allowed_low_us, allowed_high_us; /* that span within the angles the joint allows */
    spw_end allowed_low, allowed_high;      /* against it */
    spw_bound_by bound_by;                  /* what the ends go beyond */
    double range_covered_percent;
    spw_clock clock;
    spw_decision decision;
    spw_advice *advice;
    size_t advices;
    bool has_remap;
    spw_remap remap;
    spw_fixed_point fixed_point;
    spw_effect before;
    bool has_after;
    spw_effect after;
    spw_joint_verdict joint;
    char **caution;
    size_t cautions;
    char **recipe; /* the capture recipe, a line each, with measure_again */
    size_t recipes;
} spw_plan;

/* Makes the plan.
 *   span      known or not (then: measure_again with the recipe)
 *   period_us of the channel, NULL for a span given by hand
 * The plan owns its text; free with spw_plan_free. */
spw_status spw_plan_make(const spw_span *span, const spw_summary *period_us, const spw_bench *bench,
                         spw_plan **plan, spw_error *error) SPW_CHECKED;
void spw_plan_free(spw_plan *plan);

/* Whether an adapter may be built on the plan's integers.
 * SPW_ERR_EMPTY: the plan has no remap. SPW_ERR_LIMIT: no integers fit the word, or their
 * rounding passes the servo's tolerance; the sentence names what to set. */
spw_status spw_plan_integers_check(const spw_plan *plan, spw_error *error) SPW_CHECKED;

/* --- does the fitted adapter do what was planned? --- */

typedef enum spw_verify_method { SPW_VERIFY_PULSES, SPW_VERIFY_HOLDS } spw_verify_method;
const char *spw_verify_method_name(spw_verify_method method); /* "pulses" "holds" */

/* What the adapter should do. */
typedef struct spw_planned {
    bool known; /* false: the line is fitted and nothing is judged against a plan */
    spw_remap remap;
    double tolerance_us; /* allowed departure of the line */
    double tick_us;      /* of the adapter's timer; NAN */
    double gap_us;       /* shortest gap after a pulse; NAN */
    double clock_ppm;    /* standard uncertainty of the adapter's clock; 0 */
} spw_planned;
spw_planned spw_planned_none(void);
/* Of a plan that has a remap; known is false otherwise. */
spw_planned spw_planned_of(const spw_plan *plan);

/* One input and the output it caused: a pulse each, or the means of a hold. */
typedef struct spw_pair {
    double at_s; /* lead edge of the output */
    double in_us, out_us;
    double u_in_us, u_out_us;
    size_t frames;
    bool moving;  /* the input had just changed */
    bool clamped; /* the plan or the outputs say that a clamp holds */
    int side;     /* of the plan: -1 the low output's clamp holds, +1 the high one's, 2 too near to
                     where one begins, 0 free or no plan */
} spw_pair;

typedef struct spw_check {
    const char *name;    /* static: "line" "residual" "clamp_low" "clamp_high" "latency" "smoothing"
                            "pairing" "delivery" "steps" "jitter"; or "lines" alone */
    double value, limit; /* NAN when not known */
    int pass;            /* 1 yes, 0 no, -1 not told */
    bool matters;        /* a -1 here makes the whole verdict -1 */
    char why[320];       /* a sentence with its numbers; what to capture when not told */
} spw_check;
#define SPW_CHECKS_MAX 12

typedef struct spw_verification {
    spw_verify_method method;
    size_t pairs, unpaired_before, unpaired_after;
    spw_summary latency_ms; /* n 0 when not measured */
    double gain, u_gain, offset_us, u_offset_us, covariance;
    double dof; /* of the line: INFINITY, or levels less two where they scatter more than they
                   should */
    double correlation;
    bool exchanged; /* the two lines seem to have changed places: nothing else is judged */
    double residual_rms_us, residual_largest_us, residual_largest_at_us;
    double clamp_low_us, clamp_high_us; /* seen at the output; NAN */
    double jitter_gain; /* scatter out over scatter in, the recordings' own taken out; NAN */
    spw_planned planned;
    spw_check check[SPW_CHECKS_MAX];
    size_t checks;
    int pass;       /* 1 yes, 0 no, -1 a check that matters was not exercised */
    spw_pair *pair; /* all of them, in order of time or of level */
} spw_verification;

/* Compares the line before the adapter with the line after it.
 *   before, after  measured channels with control pulses
 *   one_capture    both from one recording: pulse by pulse, each output pulse with the
 *                  input that caused it (up to 5 frames before); otherwise hold by hold
 * The line has errors in both variables (York 2004) and the degrees of freedom of
 * the levels, not of the pulses: an adapter's timer can lock to its input.
 * SPW_ERR_EMPTY when fewer than two levels can be paired, with what to record. */
spw_status spw_verify(const spw_channel *before, const spw_channel *after, bool one_capture,
                      const spw_planned *planned, spw_verification **verification,
                      spw_error *error) SPW_CHECKED;
void spw_verification_free(spw_verification *verification);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
