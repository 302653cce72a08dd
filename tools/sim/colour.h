/* Coloured noise, one sample at a time, rms 1. */
#ifndef SIM_COLOUR_H
#define SIM_COLOUR_H

#include "sim/rng.h"

#include <stddef.h>

enum { SIM_OCTAVES = 24 };
typedef struct sim_colour {
    size_t octaves; /* pink: one-pole noises, an octave apart; 0: low-passed */
    double keep[SIM_OCTAVES], drive[SIM_OCTAVES], state[SIM_OCTAVES];
    double a1, a2, gain, z1, z2; /* low-passed: y = g x - a1 y1 - a2 y2 on white x */
} sim_colour;

/* hz > 0: low-passed there, second order (Butterworth); 0: pink from 1 Hz to a quarter of
 * the sampling rate. */
sim_colour sim_colour_new(double hz, double sample_rate_hz);
double sim_colour_next(sim_colour *colour, sim_rng *rng);

#endif
