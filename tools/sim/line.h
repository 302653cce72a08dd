/* A controller that drives one line and a logic recorder that writes it to a file: the
 * captures that people really have, each with its truth. */
#ifndef SIM_LINE_H
#define SIM_LINE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

typedef enum sim_file {
    SIM_VCD_NS,      /* timescale 1 ns, whatever the recorder's own step */
    SIM_VCD_PS,      /* timescale 1 ps */
    SIM_VCD_US,      /* timescale 1 us */
    SIM_CSV_CHANGES, /* a row a change, seconds with nine decimals */
    SIM_TSV_CHANGES, /* the same in milliseconds, set apart by tabs */
    SIM_CSV_SAMPLES  /* a row a sample, microseconds */
} sim_file;

/* How the width moves about its level, frame by frame. */
typedef enum sim_motion {
    SIM_WHITE,
    SIM_CORRELATED, /* first order, coefficient phi */
    SIM_ONE_OVER_F, /* sum of first-order parts an octave apart */
    SIM_WALK,       /* each step sd / 10 */
    SIM_SINE,       /* amplitude sd, period 8 s */
    SIM_TWO_VALUES, /* level - sd or level + sd */
    SIM_HEAVY       /* Laplace */
} sim_motion;

typedef struct sim_line_spec {
    const char *name;
    sim_file file;
    double grid_us;  /* the recorder's step */
    double frame_us; /* as sent */
    bool locked;     /* the frame is counted by the recorder's own clock ... */
    double tie_ppm;  /* ... but for so much */
    double sd_us;
    sim_motion motion;
    double phi;
    double lead_sd_us;         /* the lead edge's own scatter about its frame */
    double step_us, dither_us; /* the controller's step; noise before it is rounded */
    double drift_us_per_s;     /* every hold but the first and the last moves so */
    size_t odd_every, odd_run; /* a run of odd pulses starts every so many frames */
    size_t missing_every, joined_every, runt_every;
    double other_frame_us; /* a second, shorter stretch of frames follows: widths 900 us */
    bool negative;
    double low_us, high_us; /* nominal levels; 0: 1000 and 2000 */
    size_t hold_frames;     /* 0: 75 */
} sim_line_spec;

typedef struct sim_line_hold {
    double start_s, end_s, us; /* us: the level commanded */
    double slope_us_per_s;
    size_t frames;
} sim_line_hold;

enum { SIM_LINE_HOLDS = 5 };

/* What is true of a capture, in real time as the recorder's start sees it. */
typedef struct sim_line_truth {
    sim_line_hold hold[SIM_LINE_HOLDS];
    size_t holds;
    double low_us, neutral_us, high_us, period_us;
    size_t missing, joined, runts, odd; /* frames, pulses, pulses, pulses */
    double clock_ppm;                   /* by which the recorder's times are too long */
} sim_line_truth;

/* Writes the capture of this seed. False without memory. Errors of the stream are the
 * caller's to look at. */
bool sim_line_write(const sim_line_spec *spec, uint64_t seed, FILE *file, sim_line_truth *truth);

#endif
