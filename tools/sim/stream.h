/* The channel of sim/channel.h for recordings of any length: the same step
 * responses, block by block, in constant memory and a few nanoseconds a sample.
 *
 * Of the channel it takes sample_rate_hz, filter, rise_tau_s, fall_tau_s,
 * slew_s, amplitude, offset, snr_db, seed and high_pass_hz[0]; the coupling is a
 * first-order recursion on the samples, in place of the exact exponentials.
 *
 * How to use it:
 *     sim_stream *stream = sim_stream_new(&channel, edges_s, n_edges, false);
 *     while (...)
 *         sim_stream_next(stream, values, n);
 *     sim_stream_free(stream);
 */
#ifndef SIM_STREAM_H
#define SIM_STREAM_H

#include "sim/channel.h"

typedef struct sim_stream sim_stream;

/* `edges_s` is borrowed and rises. NULL without memory or with parameters that
 * make no sense. */
sim_stream *sim_stream_new(const sim_channel *channel, const double *edges_s, size_t n_edges,
                           bool start_high);
/* The next n samples, with noise, neither quantised nor limited. */
void sim_stream_next(sim_stream *stream, float *out, size_t n);
void sim_stream_free(sim_stream *stream);

#endif
