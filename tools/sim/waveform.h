/* The waveform of a simulated line before noise: sums of exact step responses. */
#ifndef SIM_WAVEFORM_H
#define SIM_WAVEFORM_H

#include "sim/bank.h"

typedef struct sim_edges {
    const double *at_s; /* rising, alternating in direction */
    size_t n;
    bool start_high;
} sim_edges;

/* Height of the step of edge k, > 0: both edges of a pulse (from k even on) have one. */
double sim_step_height(const sim_channel *channel, const sim_edges *edges, size_t k);

/* Adds the line's edges, and those of neighbours that couple in, to n samples of y. False
 * without memory. */
bool sim_waveform_add(sim_bank *bank, const sim_edges *edges, double *y, size_t n);

#endif
