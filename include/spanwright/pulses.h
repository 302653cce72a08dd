/* spanwright: from edges to pulses, frames, regimes, holds and events; and the
 * whole measurement of a capture. */
#ifndef SPANWRIGHT_PULSES_H
#define SPANWRIGHT_PULSES_H

#include "edges.h"
#include "stats.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

typedef enum spw_signal {
    SPW_SIGNAL_CONTROL_PULSES,
    SPW_SIGNAL_IDLE,   /* a line that does not move */
    SPW_SIGNAL_OTHER,  /* levels that are no control pulses */
    SPW_SIGNAL_WIDTHS, /* pulse widths that another instrument read: no edges, no polarity */
    SPW_SIGNAL_VARIES  /* samples that move without two levels */
} spw_signal;
typedef enum spw_polarity {
    SPW_POLARITY_POSITIVE,
    SPW_POLARITY_NEGATIVE,
    SPW_POLARITY_UNDECIDED
} spw_polarity;
typedef enum spw_polarity_basis {
    SPW_BASIS_OPTION,
    SPW_BASIS_WIDTH,
    SPW_BASIS_STEADIER_EDGE,
    SPW_BASIS_IDLE,
    SPW_BASIS_UNDECIDED
} spw_polarity_basis;
typedef enum spw_event_kind {
    SPW_EVENT_MISSING_FRAMES,
    SPW_EVENT_SHORT_FRAME,  /* far shorter than the frames about it */
    SPW_EVENT_SAMPLES_LOST, /* the recorder lost, repeated or zeroed samples */
    SPW_EVENT_RUNT_PULSE,
    SPW_EVENT_LONG_PULSE,
    SPW_EVENT_JOINED_PULSE,
    SPW_EVENT_ODD_WIDTH,
    SPW_EVENT_UNKNOWN_LEVEL,
    SPW_EVENT_CUT_PULSE,
    SPW_EVENT_CLIPPING,
    SPW_EVENT_SIGNAL_LOST
} spw_event_kind;
/* The words of the JSON output; never NULL. */
const char *spw_signal_name(spw_signal value);
/* Has the channel pulses with a frame about them, measured or read by another instrument? */
bool spw_signal_has_pulses(spw_signal value);
const char *spw_polarity_name(spw_polarity value);
const char *spw_polarity_basis_name(spw_polarity_basis value);
const char *spw_event_kind_name(spw_event_kind value);

/* Flags of a pulse. A pulse counts in the statistics when it has none of
 * SPW_PULSE_OUT. */
#define SPW_PULSE_RUNT 0x01u   /* shorter than the width window, or cut in two by a drop-out */
#define SPW_PULSE_LONG 0x02u   /* longer than the width window */
#define SPW_PULSE_JOINED 0x04u /* spans a frame boundary: two pulses without a gap */
#define SPW_PULSE_ODD 0x08u /* far from the level about it for 1 to 5 frames: a frame, no level */
#define SPW_PULSE_NO_PERIOD 0x10u /* no valid period ends at its lead edge (first, after a gap) */
#define SPW_PULSE_CLIPPED 0x20u   /* an edge had clipped samples */
#define SPW_PULSE_DOUBTFUL 0x40u  /* an edge's uncertainty is a guess */
#define SPW_PULSE_FIRST 0x80u     /* odd, and among the first after the line came up: not counted */
#define SPW_PULSE_SHORT 0x100u    /* the frame that ends at its lead edge is a short one */
#define SPW_PULSE_SHIFTED 0x200u  /* from its lead edge on the even frames start anew */
#define SPW_PULSE_BROKEN 0x400u   /* the recorder lost, repeated or zeroed samples in it */
#define SPW_PULSE_OUT                                                                              \
    (SPW_PULSE_RUNT | SPW_PULSE_LONG | SPW_PULSE_JOINED | SPW_PULSE_FIRST | SPW_PULSE_BROKEN)
/* A pulse with one of these is in no figure of width: level, jitter, span, verdict. */
#define SPW_PULSE_NO_WIDTH (SPW_PULSE_OUT | SPW_PULSE_ODD)

/* One whole pulse (both edges seen), 24 bytes. */
typedef struct spw_pulse {
    double lead_s, trail_s;
    float u_width_us; /* edge timing alone; the time base is not in it; NAN: not known */
    uint32_t flags;
} spw_pulse;
/* (trail - lead) in microseconds. */
double spw_pulse_width_us(const spw_pulse *pulse);

/* u_sampling of a width whose edges keep their phase, in the recorder's steps: one edge may be
 * off by half a step, the other by anything up to that, and 1.96 u are 0.975 steps. */
#define SPW_SAMPLING_U 0.4975
/* Uncertainty budget of a mean width, microseconds. u_timebase and the terms
 * after it are shared by everything in the capture: they do not average down, nor does
 * u_wander, with which the interval is that of where the level will be. */
typedef struct spw_budget {
    double u_scatter, dof_scatter; /* Type A, effective independent frames */
    double n_effective;
    double u_sampling;  /* Type B: SPW_SAMPLING_U steps and what scatter adds where edges keep their
                           phase against the samples; less where it sweeps or jitters */
    double u_timebase;  /* ppm times width */
    double u_template;  /* analogue: common-mode term of the learned edge shape */
    double u_asymmetry; /* analogue: unequal rise and fall */
    double u_wander, dof_wander; /* of a level that moves by itself: where it is at another
                                    time; 0 where it does not */
    double wander_us;            /* how far it was seen to move, peak to peak; 0 */
} spw_budget;

/* A stretch in which the commanded width stood still. */
typedef struct spw_hold {
    double start_s, end_s;         /* lead edge of its first pulse, trail edge of its last */
    size_t first_pulse, end_pulse; /* range [first, end) in spw_channel.pulse */
    size_t pulses;                 /* that count: neither cut, joined nor odd */
    spw_summary width_us;          /* of them; u, U95, floor filled */
    size_t odd_pulses;             /* in its range, and not in width_us */
    double sd_with_odd_us;         /* scatter with them; NAN */
    spw_budget budget;
    double drift_us_per_s; /* NAN when no drift can be told from the scatter */
    uint32_t doubts;       /* of the stretches that it touches, SPW_DOUBT_... */
    double doubt_bound_us; /* largest error that they can cause: 0 without doubt, NAN unknown */
} spw_hold;

/* A stretch in which the width changed evenly: no hold, and in no span. */
typedef struct spw_move {
    double start_s, end_s;
    size_t first_pulse, end_pulse; /* range [first, end) in spw_channel.pulse */
    size_t pulses;
    double from_us, to_us; /* of its line, at its first and last pulse */
    double slope_us_per_s, u_slope_us_per_s;
    double sd_us; /* about its line */
} spw_move;

/* Odd pulses of a channel: one to five frames in a row (a run) far from the level about them. */
typedef struct spw_odd {
    size_t pulses, runs, longest_run; /* pulses 0: none, the rest NAN */
    double first_s, last_s;           /* lead edges of the first and the last run */
    double every_s;                   /* mean spacing of the runs; NAN for fewer than 3 */
    bool even;                        /* no spacing is off by more than a tenth of it */
    double least_us, most_us;         /* of their widths */
    double width_us, instead_of_us;   /* of the pulse farthest from its level, and that level */
    double sd_us, sd_with_us;         /* jitter within the holds without and with them; NAN */
} spw_odd;

/* A stretch with one frame period. */
typedef struct spw_regime {
    double start_s, end_s;
    size_t first_pulse, end_pulse;
    size_t frames;
    double period_us;
} spw_regime;

/* What says that the recorder, not the controller, broke time (bit set). */
#define SPW_EVIDENCE_LATTICE 0x01u       /* all later frames are shifted */
#define SPW_EVIDENCE_WHOLE_SAMPLES 0x02u /* by whole samples */
#define SPW_EVIDENCE_BUFFER 0x04u        /* by a power of two of them (and whole frames) */
#define SPW_EVIDENCE_REPEAT 0x08u        /* the samples of before come once more */
#define SPW_EVIDENCE_CONSTANT 0x10u      /* one value where samples have noise */
#define SPW_EVIDENCE_STEP 0x20u          /* the background jumps */
/* The word of JSON for one of them; never NULL. */
const char *spw_evidence_name(uint32_t evidence);

typedef struct spw_event {
    spw_event_kind kind;
    double at_s;
    uint64_t count;    /* frames for missing_frames, samples for samples_lost (of lost ones, at
                          least: whole frames more leave no trace); else how many of its kind in
                          a row */
    double value_us;   /* width or length; NAN where none applies */
    uint32_t evidence; /* of samples_lost, SPW_EVIDENCE_...; else 0 */
} spw_event;
/* Events kept a channel; further ones are counted in events_dropped. */
#define SPW_EVENTS_MAX 1000

/* One measured channel: all that `measure` reports of it. Owned by its capture. */
typedef struct spw_channel {
    char *name; /* resolved: unique, raw bytes; make safe before showing */
    spw_kind kind;
    spw_unit unit;
    double resolution_us;
    double sample_rate_hz; /* analogue, else NAN */
    spw_signal signal;
    char *reason; /* why not control pulses, safe text; NULL for control pulses */
    spw_polarity polarity;
    spw_polarity_basis polarity_basis;
    double other_width_us, other_period_us; /* only when undecided, else NAN */

    spw_pulse *pulse; /* whole pulses, in order, flagged */
    size_t pulses;
    size_t counted; /* of them in the statistics of the main regime: odd ones have a period */

    spw_summary period_us;
    /* mean, sd, quantiles and u are those of the even frames; min, max and the jitter show
     * short frames (events) too */
    double least_frame_us; /* the shortest of the even frames; NAN */
    double frame_rate_hz;
    double period_jitter_pp_us; /* JESD65: peak to peak of the deviations from the mean period */
    double cycle_to_cycle_rms_us, cycle_to_cycle_peak_us;
    spw_summary width_us; /* u, U95 NAN unless the channel is one hold */
    double width_median_us, width_robust_sd_us;
    double lead_jitter_us, trail_jitter_us; /* scatter of each edge about an even frame; NAN */
    spw_budget budget;                      /* of width_us when the channel is one hold */

    spw_hold *hold;
    size_t holds;
    bool wanders; /* a slow part under the noise of all holds: each is taken to wander */
    spw_move *move;
    size_t moves;
    spw_odd odd;
    spw_regime *regime;
    size_t regimes;
    size_t main_regime; /* index of the one that lasted longest in seconds */
    spw_event *event;
    size_t events;
    uint64_t events_dropped;
    spw_doubt *doubt; /* stretches in doubt, in order of time */
    size_t doubts;

    double clock_drift_ppm_per_s; /* that frames and widths show alike; it is in u_timebase. NAN */
    double step_us, step_u_us;    /* controller step; NAN */
    double line_hz, line_amplitude_us, line_p; /* periodic component of the width; NAN */

    spw_level last_level; /* of the line after the last frame */
    double last_for_s;
    bool has_levels;
    double level_low, level_high;
    bool has_edge_report;
    spw_edge_report edge_report;
    spw_notes warnings;
} spw_channel;

/* Pulses kept of all channels of a capture, unless its options say otherwise: 2 GiB, a
 * week of one line at 50 Hz. More is SPW_ERR_LIMIT. */
#define SPW_PULSES_MAX ((uint64_t)1 << 25)

typedef struct spw_measure_options {
    spw_read_options read;
    const char *const *channels; /* names asked for (exact, or a unique ending after a '.') */
    size_t n_channels;           /* 0: all */
    bool has_polarity;
    spw_polarity polarity;
    double timebase_ppm;   /* standard uncertainty of the recorder's clock, >= 0; default 50 */
    double known_frame_us; /* > 0: correct the clock by this exact frame period; else 0 */
    double width_low_us, width_high_us; /* accepted widths; default 200, 3500 */
    double neutral_us;                  /* for the neutral level; default 1500 */
    /* The stretch that is judged, in seconds of the recorder's clock (without the correction
     * of known_frame_us) from the capture's first instant; NAN, the default: from its start,
     * to its end. Edges outside are not judged, events outside not told; times stay those of
     * the capture. What is known of the recording itself (levels, noise, edge shape) comes
     * from all of it. */
    double from_s, to_s;
    uint64_t pulses_max; /* 0: SPW_PULSES_MAX */
    /* Threads that a long recording's sampled channels may take, the caller's among them; 1:
     * no others; 0, the default: as many as help. The answer is the same. */
    unsigned threads;
} spw_measure_options;
spw_measure_options spw_measure_defaults(void);

/* One measured capture. */
typedef struct spw_capture {
    char *file; /* as given; raw bytes */
    spw_capture_summary summary;
    double timebase_ppm;
    double clock_correction; /* factor applied to every time by known_frame_us; 1 */
    double rate_hz;          /* --rate, to be given again with the same file; 0: not given */
    double from_s, to_s;     /* the stretch judged, in corrected times; NAN where not chosen */
    spw_channel *channel;
    size_t channels;
} spw_capture;

/* Reads and measures a whole capture in one pass.
 * SPW_ERR_ARGUMENT when a channel asked for is not there (the message lists
 * those present). A capture without control pulses is SPW_OK: its channels
 * say why. *capture is valid and to be freed on SPW_OK only. */
spw_status spw_measure(const char *path, const spw_measure_options *options, spw_capture **capture,
                       spw_error *error) SPW_CHECKED;
void spw_capture_free(spw_capture *capture);

/* Which channel of a sound recording a word means besides its name: "left" and "1" the first,
 * "right" and "2" the second, "3" the third ...; SIZE_MAX for other words. */
size_t spw_sound_side(const char *word);

/* The measuring of one channel by itself, for edges that come from elsewhere
 * (tests, other programs): push edges in time order, then finish. */
typedef struct spw_train spw_train;
spw_status spw_train_new(const spw_measure_options *options, double resolution_s,
                         spw_train **train) SPW_CHECKED;
spw_status spw_train_push(spw_train *train, const spw_edge *edges, size_t n) SPW_CHECKED;
/*   end_s        last instant of the capture
 *   clock_scale  factor on every time (1, or the correction of known_frame_us)
 *   report       of the edge finder for analogue channels, else NULL
 *   channel      out: everything but name, kind, unit and level fields, which the caller owns;
 *                free with spw_channel_clear */
spw_status spw_train_finish(spw_train *train, double end_s, double clock_scale,
                            const spw_edge_report *report, spw_channel *channel) SPW_CHECKED;
void spw_train_free(spw_train *train);
void spw_channel_clear(spw_channel *channel);

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
