/* Simulated control lines: pulse trains whose every edge is known, and what a
 * logic recorder makes of them. */
#ifndef SIM_TRAIN_H
#define SIM_TRAIN_H

#include "spanwright/capture.h"

/* A stretch of frames. Within it the commanded width goes evenly from
 * from_us (first frame) to to_us (last frame); equal: a hold. */
typedef struct sim_part {
    size_t frames;
    double from_us, to_us;
    double period_us; /* 0: the spec's */
} sim_part;

typedef enum sim_fault_kind {
    SIM_MISSING, /* no pulse in `count` frames */
    SIM_JOINED,  /* this frame and the next `count` run together without a gap */
    SIM_RUNT,    /* an extra pulse of value_us, at_us after the frame's start */
    SIM_DROPOUT, /* the line goes idle for value_us, at_us after the lead edge */
    SIM_WIDTH,   /* `count` frames have width value_us instead */
    SIM_LATE     /* the lead edge comes value_us late, the trail edge in time */
} sim_fault_kind;
typedef struct sim_fault {
    sim_fault_kind kind;
    size_t frame; /* counted over all parts, from 0 */
    size_t count; /* 0 counts as 1 */
    double value_us, at_us;
} sim_fault;

typedef struct sim_train_spec {
    const sim_part *part;
    size_t parts;
    double period_us;
    double start_s;         /* lead edge of frame 0; before it the line is idle. Negative: the
                               capture starts in mid train */
    double end_s;           /* the capture's end; 0: one period after the last frame's start */
    bool negative;          /* idle is high, pulses are low */
    double step_us;         /* widths are rounded to this controller step; 0: none */
    double jitter_us;       /* sd of every width */
    double jitter_ar;       /* its first-order correlation, 0 .. 1 */
    bool jitter_heavy;      /* Laplace instead of normal */
    double frame_jitter_us; /* sd of each lead edge about the even grid (does not add up) */
    double wander_us;       /* sd of each period, adding up (software timing) */
    const sim_fault *fault;
    size_t faults;
    double dither_us; /* sd of the command before it is rounded to step_us */
    uint64_t seed;
} sim_train_spec;

/* One true pulse: what the controller sent in a frame. */
typedef struct sim_pulse {
    double lead_s;
    double width_us;     /* as sent, with jitter */
    double commanded_us; /* without jitter and step */
    size_t frame;
    bool whole; /* sent alone and as commanded: not joined, cut in two or replaced */
} sim_pulse;

typedef struct sim_train {
    bool starts_high;
    double *edge_s; /* upwards, alternating, within [0, end_s] */
    size_t edges;
    sim_pulse *pulse;
    size_t pulses;
    double end_s;
} sim_train;

/* NULL without memory. */
sim_train *sim_train_make(const sim_train_spec *spec);
void sim_train_free(sim_train *train);

/* What a recorder with `rate_hz` sees: an edge shows at the first sampling
 * instant (k + phase) / rate_hz at or after it, and is noted as k / rate_hz;
 * what begins and ends between two instants is not seen. rate 0: exact times.
 *   phase     0 .. 1
 *   channel   put into every change
 *   changes   out, allocated (free()): first the level at time 0
 * Returns how many; 0 without memory. */
size_t sim_train_changes(const sim_train *train, double rate_hz, double phase, uint32_t channel,
                         spw_change **changes);

#endif
