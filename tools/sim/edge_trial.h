/* One trial of edge timing: pulses through a simulated channel, timed by the
 * library, compared with the truth. */
#ifndef SIM_EDGE_TRIAL_H
#define SIM_EDGE_TRIAL_H

#include "sim/channel.h"
#include "sim/sound.h"
#include "spanwright/spanwright.h"

typedef struct sim_trial {
    sim_channel channel;
    size_t pulses;
    double width_samples; /* of the pulse, in sample periods (an n + 1/2 is the worst) */
    double moving_us;     /* widths wander by +- this, a sine over about 97 frames */
    double frame_s;       /* mean frame; with `locked` rounded to whole samples */
    bool locked;          /* every lead edge at the same phase of the sampling */
    double phase;         /* of the first lead edge, in sample periods; NAN: any */
    double idle_s;        /* before the first pulse */
    double alternate_us;  /* every other width is longer by this */
    size_t sum_channels;  /* > 0: a sum stream; frames of one pulse more than that, all alike */
    double from_s, to_s;  /* pulses that are compared start here (to_s 0: to the end) */
    bool coded;           /* through `codec` */
    sim_codec codec;
    double quality;
    bool lossy; /* what the finder is told: */
    double codec_samples;
} sim_trial;

/* 20 ms frames that drift through the phases, 1.5 ms pulses of n + 1/2 samples. */
sim_trial sim_trial_default(double sample_rate_hz, char filter, double snr_db);

typedef struct sim_outcome {
    spw_status status;
    size_t edges, wanted;   /* transitions found and simulated */
    size_t widths;          /* compared; a pulse that samples were lost from is not, nor one */
    size_t missed;          /* whose edges were not found: so many */
    double rms_us, bias_us; /* of the widths; rms about the truth */
    double bound_us, u_us;  /* Cramer-Rao bound; rms of the stated u_width */
    double coverage;        /* share of |error| < 2 u_width */
    double worst_us;
    spw_edge_report report;
} sim_outcome;

/* block 0: pushed in blocks of 4096. False without memory, or when the codec is not there. */
bool sim_trial_run(const sim_trial *trial, uint64_t seed, size_t block, sim_outcome *outcome);

/* The parts of it, for those who want the samples themselves. */
typedef struct sim_take {
    double *edge_s; /* of the line, 2 a pulse; rising */
    size_t edges;
    float *samples; /* as recorded */
    size_t n;
    sim_channel channel; /* with the noise's seed */
} sim_take;
bool sim_take_make(const sim_trial *trial, uint64_t seed, sim_take *take);
void sim_take_free(sim_take *take);
/* Edges that were found, upwards in time (no LOST or FOUND), against the line's. */
void sim_take_compare(const sim_trial *trial, const sim_take *take, const spw_edge *edges, size_t n,
                      sim_outcome *outcome);

#endif
