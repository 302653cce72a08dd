/* The inside of a train: kept edges, and the steps from them to a channel. */
#ifndef SPW_TRAIN_H
#define SPW_TRAIN_H

#include "pulses/grid.h"
#include "spanwright/pulses.h"

/* Edges are kept in chunks; a full chunk is the window over which it is judged
 * whether they may be control pulses at all. */
#define SPW_CHUNK 256u

/* Marks, beside the flags of edges.h, a stretch whose edges were not kept:
 * time_s is its start and u_us how many edges are gone. */
#define SPW_EDGE_HOLE 0x100u
#define SPW_EDGE_NO_TRANSITION (SPW_EDGE_LOST | SPW_EDGE_FOUND | SPW_EDGE_HOLE)

/* Slowest and fastest frame taken for one of control pulses: common practice
 * runs from 10 Hz to 560 Hz; a factor of two beyond on either side. */
#define SPW_FRAME_MIN_US 900.0
#define SPW_FRAME_MAX_US 250e3

typedef struct spw_shift spw_shift; /* shifts.h */

typedef struct spw_chunk {
    spw_edge *edge;
    uint32_t n;
} spw_chunk;

struct spw_train {
    double width_low_us, width_high_us;
    double timebase_ppm;
    double asked_rate_hz; /* where all times come from a --rate; else 0 */
    double resolution_us; /* NAN when unknown */
    double grid_us;
    spw_grid_kind grid; /* that all instants of the capture lie on, beside the file's own */
    spw_polarity polarity;
    bool has_polarity;
    bool dropping; /* the last window judged was not kept */
    bool has_last;
    bool chosen_from, entered, has_before; /* of the stretch that is judged, below */
    bool read;                             /* a channel of widths that another instrument read */
    bool step_shown;                       /* by its values; else it is assumed */
    bool built;                            /* spw_train_build was called */

    uint32_t in_window, window_room, n_dropped;
    spw_chunk *chunk; /* judged and kept */
    size_t chunks, chunk_room;
    spw_edge *window;             /* being filled */
    spw_edge *dropped;            /* the first window that was not kept, for the reason */
    _Atomic uint64_t *edges_left; /* that may be kept, all trains of a capture; borrowed or NULL */
    uint64_t transitions;         /* all, kept or not */
    uint64_t dropped_edges;       /* not kept */
    double dropped_first_s, dropped_last_s;
    spw_edge last; /* the last edge of any kind, where has_last; its level is the line's last */

    /* The stretch that is judged, chosen.c: */
    double from_s, to_s; /* 0 and INFINITY where not chosen */
    spw_edge before;     /* the last edge before from_s */
    spw_shift *shift;    /* where the frames' lattice shifts, without the clock's correction */
    size_t shifts, shift_room;

    /* Widths that another instrument read: */
    double instant_us;  /* step of its rows' times; resolution_us is that of the widths */
    spw_pulse *reading; /* until spw_train_build */
    size_t readings, reading_room;

    spw_channel channel;
};

/* --- keep.c --- */
/* Not to be called after spw_train_build. Says that n transitions, the last of
 * them at last_s leaving the line at `high`, followed each other too fast to
 * be kept. Only while train->dropping. */
spw_status spw_train_skipped(spw_train *train, uint64_t n, double last_s, bool high) SPW_CHECKED;
/* Judges what waits; no more edges come. */
spw_status spw_train_flush(spw_train *train) SPW_CHECKED;
void spw_train_drop_edges(spw_train *train);
/* The same as pushing one edge, whatever the stretch chosen. */
spw_status spw_train_keep(spw_train *train, const spw_edge *edge) SPW_CHECKED;

/* --- chosen.c: the stretch that somebody chose to have judged --- */
void spw_train_choose(spw_train *train, const spw_measure_options *options);
/* Does the edge lie in it? The first one that does brings the level at its start. */
spw_status spw_train_takes(spw_train *train, const spw_edge *edge, bool *takes) SPW_CHECKED;
/* No more edges come. */
spw_status spw_train_enter(spw_train *train) SPW_CHECKED;
/* Was a pulse from start_s to end_s cut by the choice, not by the line? */
bool spw_train_cuts(const spw_train *train, double start_s, double end_s);

/* Takes n edges off what the trains of a capture may keep; false: no more. */
bool spw_train_may_keep(spw_train *train, uint64_t n);

/* --- readings.c: instead of edges --- */
/* From here on the train takes readings, at times in steps of instant_s (NAN: unknown). */
spw_status spw_train_read_widths(spw_train *train, double instant_s) SPW_CHECKED;
spw_status spw_train_reading(spw_train *train, const spw_reading *reading) SPW_CHECKED;
/* All readings to pulses of one regime; for spw_train_build. */
spw_status spw_readings_build(spw_train *train, spw_channel *channel) SPW_CHECKED;
/* What they do not tell, after all figures. */
spw_status spw_readings_say(const spw_train *train, spw_channel *channel) SPW_CHECKED;

/* A walk over the kept edges. */
typedef struct spw_edge_walk {
    const spw_train *train;
    size_t chunk;
    uint32_t at;
} spw_edge_walk;
static inline const spw_edge *spw_edge_next(spw_edge_walk *walk) {
    while (walk->chunk < walk->train->chunks) {
        const spw_chunk *chunk = &walk->train->chunk[walk->chunk];
        if (walk->at < chunk->n)
            return &chunk->edge[walk->at++];
        walk->chunk++;
        walk->at = 0;
    }
    return NULL;
}

/* --- survey.c: what the intervals between edges look like --- */
/* A stretch of one level. Open: its start or end was not seen. */
typedef struct spw_stretch {
    double start_s, length_us;
    bool high, open_start, open_end;
    bool after_break; /* the level before it is not known */
} spw_stretch;
typedef struct spw_stretch_walk {
    spw_edge_walk edges;
    double end_s, since_s;
    bool known, high, open_start, finished, after_break;
} spw_stretch_walk;
spw_stretch_walk spw_stretches(const spw_train *train, double end_s);
bool spw_stretch_next(spw_stretch_walk *walk, spw_stretch *stretch);

typedef struct spw_spread {
    double p10, median, p90; /* NAN when there are none */
} spw_spread;
typedef struct spw_survey {
    size_t n;               /* stretches looked at, both ends seen */
    spw_spread high, low;   /* their lengths, us */
    spw_spread period;      /* sums of two neighbours */
    size_t high_in, low_in; /* within the width window, over the whole capture */
    size_t whole;           /* stretches with both ends seen, over the whole capture */
    double first_in_s, first_in_us;
    double first_period_us; /* from its lead edge to the next like it; NAN when not seen */
} spw_survey;
spw_status spw_survey_make(const spw_train *train, double end_s, spw_survey *survey) SPW_CHECKED;

/* --- polarity.c --- */
typedef struct spw_polarity_answer {
    spw_polarity polarity;
    spw_polarity_basis basis;
    bool any; /* some pulses of the width window with a frame about them */
    double other_width_us, other_period_us;
} spw_polarity_answer;
spw_status spw_polarity_decide(const spw_train *train, double end_s, const spw_survey *survey,
                               spw_polarity_answer *answer) SPW_CHECKED;

/* --- signal.c --- */
/* Number of channels of a sum stream, 0 when it is none. */
unsigned spw_sum_stream_channels(const spw_train *train, double end_s);
/* Sets signal and reason of a channel that is not control pulses.
 *   frames_found   pulses of the window were there but no even frame */
spw_status spw_signal_explain(const spw_train *train, const spw_survey *survey, double end_s,
                              bool frames_found, spw_channel *channel) SPW_CHECKED;

/* A positive number as a person would give it. */
double spw_three_digits(double value);
/* Tells samples that move without two levels from a line at rest, once the channel's unit
 * is known. */
spw_status spw_signal_judge_rest(spw_channel *channel) SPW_CHECKED;

/* --- frames.c, regimes.c: from here on the channel's pulses are the data --- */
/* The pulses that count, of one regime or all: indices into channel->pulse. */
typedef struct spw_picked {
    uint32_t *at;
    size_t n;
} spw_picked;
spw_status spw_pick(const spw_channel *channel, size_t first, size_t end,
                    spw_picked *picked) SPW_CHECKED;
/* Finds the regimes; flags joined pulses, drop-outs and missing periods.
 * *even is the share of intervals that are whole frames. */
spw_status spw_regimes_find(spw_train *train, spw_channel *channel, double *even) SPW_CHECKED;

/* --- startup.c --- */
/* Flags the first pulses after the line came up, where they are odd. */
spw_status spw_first_pulses(const spw_train *train, spw_channel *channel) SPW_CHECKED;

/* --- breaks.c --- */
/* Tells short frames and samples that the recorder lost; flags what they touch. Times of
 * the corrected clock. */
spw_status spw_breaks_find(const spw_train *train, const spw_edge_report *report, double start_s,
                           double end_s, double clock_scale, spw_channel *channel) SPW_CHECKED;

/* --- holds.c --- */
spw_status spw_holds_find(const spw_train *train, const spw_edge_report *report,
                          spw_channel *channel) SPW_CHECKED;

/* --- odd.c --- */
spw_odd spw_odd_none(void);
/* Fills channel->odd from the flagged pulses and the holds. */
void spw_odd_describe(spw_channel *channel);

/* --- uncertainty.c --- */
typedef struct spw_recording {
    double resolution_us; /* 0: exact or not stated */
    double instant_us;    /* the same of a lead edge alone */
    bool read;            /* widths that another instrument read: their phase is not known */
    double timebase_ppm;
    double template_us, asymmetry_us;
    bool analogue;
    bool wanders; /* the controller's levels are known to (spw_channel.wanders) */
} spw_recording;
spw_recording spw_recording_of(const spw_train *train, const spw_edge_report *report);
/* Scatter that the recording alone would show on a perfect pulse. */
double spw_width_floor(const spw_recording *recording, const spw_channel *channel,
                       const uint32_t *at, size_t n);
/* Summary of widths with u, dof, U95 and floor, and its budget. */
spw_status spw_width_summary(const spw_recording *recording, const spw_channel *channel,
                             const uint32_t *at, size_t n, double period_us, spw_summary *summary,
                             spw_budget *budget) SPW_CHECKED;
/* Fills u, dof, U95, floor of a summary of the n periods.
 *   lead_scatter_us  rms of the lead edges about an even grid, NAN when unknown */
spw_status spw_period_uncertainty(const spw_recording *recording, const double *period_us, size_t n,
                                  double lead_scatter_us, spw_summary *summary) SPW_CHECKED;

/* --- drift.c --- */
/* Does a clock drift? Fills the channel's drift where frames and widths show it alike.
 *   u_ppm  out: standard uncertainty of the time base from it, also where the widths are too
 *          few to tell; 0 where there is none */
spw_status spw_drift_find(spw_channel *channel, double *u_ppm) SPW_CHECKED;

/* --- sampling.c --- */
/* Standard uncertainty of a mean width from sampling alone (Type B).
 *   lead_s, width_us  n pulses (with gaps between them)
 *   period_us         about
 *   resolution_us     the recorder's step; 0: exact edges, and 0 is the answer
 *   u_scatter_us      of the mean, Type A, that it will be combined with */
double spw_sampling_u(const double *lead_s, const double *width_us, size_t n, double period_us,
                      double resolution_us, double u_scatter_us);

/* --- step.c --- */
/* Fills the controller's step and the width's strongest line, where there are any. */
spw_status spw_step_find(const spw_recording *recording, const spw_picked *picked,
                         spw_channel *channel) SPW_CHECKED;

/* --- counter.c --- */
/* Fills the controller's step where the levels of the channel's main regime are plainly whole
 * counts of a frame of 2^8 to 2^16. */
void spw_counter_find(const spw_picked *picked, spw_channel *channel);

/* --- events.c --- */
spw_status spw_event_add(spw_channel *channel, spw_event event) SPW_CHECKED;
/* Events that follow from flagged pulses and regimes; then all in order of time. */
spw_status spw_events_find(double start_s, double end_s, const spw_edge_report *report,
                           spw_channel *channel) SPW_CHECKED;

/* --- doubts.c --- */
/* The stretches in doubt that reach into [start_s, end_s], all in the time of the
 * corrected clock. */
spw_status spw_doubts_find(const spw_edge_report *report, double start_s, double end_s,
                           double clock_scale, spw_channel *channel) SPW_CHECKED;
/* Marks the holds that they touch. */
void spw_doubts_mark_holds(spw_channel *channel);

/* --- warnings.c --- */
spw_status spw_warnings_add(const spw_train *train, const spw_edge_report *report,
                            spw_channel *channel) SPW_CHECKED;

/* --- figures.c --- */
spw_status spw_figures_fill(const spw_train *train, const spw_edge_report *report,
                            spw_channel *channel) SPW_CHECKED;

/* --- train.c --- */
/* Edges to pulses and regimes in train->channel, without the clock's correction.
 * Called by spw_train_finish where it was not before. */
spw_status spw_train_build(spw_train *train, double end_s) SPW_CHECKED;

#endif
