/* The step response of a simulated channel for one direction of transition. */
#ifndef SIM_RESPONSE_H
#define SIM_RESPONSE_H

#include "sim/channel.h"

/* S(t) for start_s <= t < start_s + cells * cell_s from the table; before it 0;
 * behind it the sum of the high-passes' exponentials
 *   tail[i] exp(-rate[i] (t - end_s)). */
typedef struct sim_response {
    double start_s, cell_s, end_s;
    size_t cells;
    double *value; /* cells + 6, the first at start_s - 2 cells (0 or the edge's own) */
    double tail[SIM_POLES], rate[SIM_POLES]; /* rate 0: none, and none behind it */
} sim_response;

bool sim_response_make(const sim_channel *channel, double tau_s, sim_response *response);
/* S(t) inside the table, 0 before it; undefined behind end_s. */
double sim_response_table(const sim_response *response, double t);
/* S(t) anywhere. */
double sim_response_at(const sim_response *response, double t);
void sim_response_free(sim_response *response);

#endif
