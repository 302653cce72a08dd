/* spanwright: the controller's span, the verdict per end with guard bands
 * (JCGM 106), and the clock check. */
#ifndef SPANWRIGHT_SPAN_H
#define SPANWRIGHT_SPAN_H

#include "bench.h"
#include "pulses.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

typedef enum spw_span_basis { SPW_SPAN_HOLDS, SPW_SPAN_EXTREMES, SPW_SPAN_GIVEN } spw_span_basis;
const char *spw_span_basis_name(spw_span_basis basis); /* "holds" "extremes" "given" */

/* One level of the span: a pool of holds that agree. */
typedef struct spw_span_point {
    double us; /* NAN: not there */
    double u, dof, U95;
    double u_own;      /* the part of u that more frames would lower (scatter, sampling) */
    double u_shared;   /* the part that they would not (time base, template, asymmetry, wander) */
    double u_sampling; /* of u_own, the part of the capture's sampling step */
    size_t frames;
    double seconds;
    double wander_us; /* how far a hold of it was seen to wander by itself; 0 */
    spw_doubt doubt;  /* of its holds, from the first to the last of them; what 0: none */
} spw_span_point;

/* Which way the pulses go on the wire. A servo follows high pulses only. */
typedef enum spw_wire {
    SPW_WIRE_UNKNOWN,        /* given by hand, widths of a log, or captures that differ */
    SPW_WIRE_UPRIGHT,        /* high pulses */
    SPW_WIRE_INVERTED,       /* low pulses */
    SPW_WIRE_MAYBE_INVERTED, /* low pulses in a sound recording: a sound card may turn them over */
    SPW_WIRE_UNDECIDED       /* high and low stretches could each be the pulse: read as high ones */
} spw_wire;
/* "unknown" "upright" "inverted" "maybe_inverted" "undecided" */
const char *spw_wire_name(spw_wire wire);

typedef struct spw_span {
    bool known; /* false: fewer than two levels and no sweep; the reason says what is missing */
    char reason[256];
    spw_span_basis basis;
    spw_span_point low, high, neutral;       /* neutral.us NAN when there is none */
    size_t levels;                           /* distinct hold levels */
    double jitter_rms_us;                    /* pooled sd within the holds; NAN */
    double floor_us;                         /* pooled floor of the capture; NAN */
    double step_us;                          /* controller step or NAN */
    double shortest_frame_us, mean_frame_us; /* NAN for a span given by hand */
    double saturates_high_us,
        saturates_low_us; /* plateau that several commanded levels ran into; NAN */
    size_t frames;        /* in holds */
    size_t left_out;      /* holds in doubt that holds without doubt stand in for */
    spw_doubt left_doubt; /* theirs; from the first to the last of them */
    spw_doubt doubt;      /* of all that was recorded, wherever it lies */
    spw_wire wire;
    spw_odd odd; /* of the channel whose odd pulses are the farthest off */
} spw_span;

/* Does a channel's span take this regime: has it the frame period of the main regime
 * (within 1 %)? Of a line that changes its frame period only stretches of that one count;
 * what interrupts them does not. */
bool spw_regime_judged(const spw_channel *channel, size_t regime);
/* Does a hold lie in such a regime? True for every hold where there are no regimes. */
bool spw_hold_judged(const spw_channel *channel, const spw_hold *hold);

/* Pools the holds of one channel, measured in one or several captures; of each capture
 * those of its main regime's frame period. Holds in doubt stay out where holds without doubt tell
 * the same level; the level is in doubt by as much as they reached farther out, an end of holds in
 * doubt alone by their own doubt.
 *   channels     n channels with control pulses
 *   neutral_us   where neutral is looked for
 * Without a span: SPW_OK and span->known false. */
spw_status spw_span_build(const spw_channel *const *channels, size_t n, double neutral_us,
                          spw_span *span) SPW_CHECKED;
/* The same of a single regime by itself, whatever its frame period. SPW_ERR_ARGUMENT where
 * the channel has no such regime. */
spw_status spw_span_of_regime(const spw_channel *channel, size_t regime, double neutral_us,
                              spw_span *span) SPW_CHECKED;
/* A span known without a capture (plan --span). neutral NAN when not given.
 * SPW_ERR_ARGUMENT unless all are finite, positive and low < neutral < high. */
spw_status spw_span_given(double low_us, double neutral_us, double high_us,
                          spw_span *span) SPW_CHECKED;

typedef enum spw_end_verdict {
    SPW_END_MEETS,
    SPW_END_SHORT,
    SPW_END_BEYOND,
    SPW_END_UNDECIDED
} spw_end_verdict;
const char *spw_end_verdict_name(spw_end_verdict verdict);

typedef struct spw_end {
    spw_end_verdict verdict;
    double deviation_us; /* positive: reaches beyond the expected end; negative: falls short */
    double tolerance_us, U95;
    double probability_meets; /* JCGM 106 conformity probability of |deviation| <= tolerance */
    double frames_needed; /* undecided: frames in all that would decide; INFINITY when none would;
                             else NAN */
    double resolution_needed_us; /* undecided and ruled by sampling: the sampling step that would
                                    decide; else NAN */
    spw_doubt doubt;             /* of the point; then no probability and no frames are told */
} spw_end;
/* Judges one end. `sign` +1 for the high end, -1 for the low one. A point in doubt must meet or
 * miss by the doubt's bound on top of U95, else it is undecided: always, where no bound is known.
 */
spw_end spw_judge_end(const spw_span_point *point, double expected_us, double tolerance_us,
                      int sign);

/* Is the source's (or recorder's) clock off? (needs: W and T scaled alike) */
typedef enum spw_clock_verdict {
    SPW_CLOCK_UNKNOWN, /* nothing was asked for, nothing to compare */
    SPW_CLOCK_AGREES,
    SPW_CLOCK_SCALED,     /* widths and period off by one factor: a clock */
    SPW_CLOCK_DOUBLED,    /* a factor of 2, 1/2, 4 ... : prescaler or timer clock */
    SPW_CLOCK_WIDTH_ONLY, /* widths off, period right: not the clock */
    SPW_CLOCK_DISAGREES   /* widths and period off by different factors */
} spw_clock_verdict;
typedef struct spw_clock {
    spw_clock_verdict verdict;
    double width_ratio, u_width_ratio;   /* measured over asked; NAN */
    double period_ratio, u_period_ratio; /* NAN */
    bool
        one_factor; /* the widths follow what was asked by one factor (no end limited or shifted) */
    double correction; /* multiply the source's time setting by this; NAN */
} spw_clock;
spw_clock spw_clock_check(const spw_span *span, const spw_summary *period_us,
                          const spw_controller *asked);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
