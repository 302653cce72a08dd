/* What goes wrong while a recording runs: disturbances of a simulated channel, each from
 * any time on, several at once. A channel (sim/channel.h) borrows a list of them:
 *
 *     sim_disturbance sags = {SIM_LEVEL, .at_s = 30, .ramp_s = 60, .value = -3};
 *     channel.disturbance = &sags;  channel.disturbances = 1;
 *
 * The line and the edges given to the channel stay as they are; what the recording makes
 * of an instant (a drifting clock, samples lost before it) is sim_recorded_s's. */
#ifndef SIM_DISTURB_H
#define SIM_DISTURB_H

#include <stdbool.h>
#include <stddef.h>

typedef enum sim_disturbance_kind {
    /* `value` comes on top of what was before; over ramp_s, evenly */
    SIM_LEVEL, /* height of the line's pulses, dB (each pulse has one height) */
    SIM_GAIN,  /* of the recorder, dB, behind the coupling */
    /* `value` takes the place of the channel's own; over ramp_s, evenly */
    SIM_HEIGHTS,   /* each pulse has its own height: standard deviation, a share */
    SIM_CLIP_HIGH, /* hard limits, of full scale */
    SIM_CLIP_LOW,
    SIM_SOFT,     /* scale of the soft saturation (0 before: from the ramp's start 8 times it) */
    SIM_RISE_US,  /* RC of the rising transition, microseconds */
    SIM_FALL_US,  /* of the falling one */
    SIM_LOW_PASS, /* one pole in front of the converter, Hz; no ramp */
    /* added to the line: `value` dB of the amplitude; faded in over ramp_s */
    SIM_CROSSTALK, /* a neighbour's pulses, see below; dB of a step against a step */
    SIM_COLOURED,  /* noise, dB of its rms: low-passed at hz (second-order Butterworth),
                      hz 0: pink (1 Hz to a quarter of the sampling rate) */
    SIM_MAINS,     /* hum, dB of the first line's peak, hz and hz_per_s of it; seven lines */
    SIM_TONE,      /* the same, one line */
    /* of time */
    SIM_CLOCK_PPM, /* the sample clock drifts, ppm a second (+: it counts too many) */
    SIM_LOST,      /* `count` samples at at_s are not recorded */
    SIM_REPEATED,  /* the last `count` samples before at_s are recorded twice */
    SIM_ZEROED     /* `count` samples at at_s are recorded as zero */
} sim_disturbance_kind;

typedef struct sim_disturbance {
    sim_disturbance_kind kind;
    double at_s;   /* no effect before; 0: from the start */
    double ramp_s; /* 0: at once */
    double value;
    double hz, hz_per_s;
    size_t count;
    /* The neighbour: pulses of width_s, frames of frame_s; frame_s 0: each starts lag_s after
     * the line's own pulse starts. spike_s > 0: coupled by a capacitor, whose spikes decay so. */
    double frame_s, width_s, lag_s, spike_s;
} sim_disturbance;

struct sim_channel;

/* A parameter of `kind` at an instant, `before` being the channel's own. For those that
 * add up, dB. */
double sim_disturbed(const struct sim_channel *channel, sim_disturbance_kind kind, double at_s,
                     double before);
bool sim_has_disturbance(const struct sim_channel *channel, sim_disturbance_kind kind);
/* How much of a disturbance is there at an instant: 0 ... 1. */
double sim_share(const sim_disturbance *d, double at_s);

/* Where the recording shows an instant of the line, seconds of samples over the nominal
 * rate; NAN where its samples were lost or zeroed. */
double sim_recorded_s(const struct sim_channel *channel, double line_s);
/* Without breaks: what the sample clock makes of it. */
double sim_clocked_s(const struct sim_channel *channel, double line_s);

/* Applies lost, repeated and zeroed samples to n of them, in place where there is room for
 * sim_repeated_samples more. How many there are then. */
size_t sim_break_time(const struct sim_channel *channel, float *samples, size_t n);
size_t sim_repeated_samples(const struct sim_channel *channel);

#endif
