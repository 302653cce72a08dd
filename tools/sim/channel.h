/* A recorder's analogue channel, simulated without a sampling grid.
 *
 * Edges at any real-valued times pass through the source's transition (an RC
 * corner for each direction, or a linear slew), up to four first-order
 * high-passes (coupling capacitors) and the converter's filter; then come
 * hum, soft saturation, white noise, clipping and quantisation. What changes
 * while it runs is in sim/disturb.h. The waveform
 * is the sum of exact step responses S(t - t_k): S is tabulated much finer than
 * the samples and read by six-point interpolation (error below 1e-7 of a step),
 * so an edge falls between samples exactly where it was told to.
 *
 * How to use it:
 *     sim_channel channel = sim_channel_default(48000, 'h');
 *     channel.snr_db = 60;  channel.amplitude = 0.5;  channel.high_pass_hz[0] = 5;
 *     float *samples;  size_t n;
 *     if (!sim_channel_render(&channel, edges_s, n_edges, false, 3.0, &samples, &n)) ...
 *     ... free(samples);
 * `edges_s` rises; the first edge leaves the level given by `start_high`. An
 * edge's time is the 50 % instant of the source's own waveform; the converter's
 * delay is common to all edges and does not touch widths or periods. */
#ifndef SIM_CHANNEL_H
#define SIM_CHANNEL_H

#include "sim/disturb.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SIM_POLES = 4 };
typedef struct sim_channel {
    double sample_rate_hz;
    /* Converter filter: 'a' linear phase, brick wall at 0.47 fs; 'h' half-band
     * type, -6 dB at fs/2; 'b' minimum phase, 8th-order elliptic, 0.45 fs; 'g'
     * one pole at 15 kHz, then h; '-' none. */
    char filter;
    double high_pass_hz[SIM_POLES]; /* coupling corners; 0: none */
    double low_pass_hz;             /* one pole in front of the converter; 0: none */
    double rise_tau_s;              /* RC of the rising transition */
    double fall_tau_s;              /* RC of the falling one */
    double slew_s;                  /* > 0: linear transitions of this duration instead */
    double amplitude;               /* step height; full scale is +-1 */
    double offset;                  /* without high-pass: the low level; with: the mean */
    double snr_db;                  /* 20 log10(amplitude / rms noise); INFINITY: no noise */
    double hum_hz;                  /* 0: no hum */
    double hum_db;                  /* peak of the fundamental against the amplitude */
    double hum_start_s;             /* none before */
    double transient;               /* switch-on transient at the start, of the amplitude */
    double transient_tau_s;         /* its decay */
    double soft_scale;              /* > 0: y = scale * tanh(y / scale) before the noise */
    double clip_low, clip_high;     /* hard clipping; the default is full scale */
    int bits;                       /* 8, 16, 24; 0: not quantised, not limited */
    bool inverted;
    uint64_t seed;                      /* of the noise and of the hum's phases */
    const sim_disturbance *disturbance; /* borrowed */
    size_t disturbances;
} sim_channel;

/* 16 bits, half of full scale, RC 0.3 us, no noise, no coupling. */
sim_channel sim_channel_default(double sample_rate_hz, char filter);

/* Renders duration_s of the channel.
 *   samples, n  out; the caller frees samples; duration_s of them, less those lost and with
 *               those repeated
 * False without memory or with parameters that make no sense. */
bool sim_channel_render(const sim_channel *channel, const double *edges_s, size_t n_edges,
                        bool start_high, double duration_s, float **samples, size_t *n);

/* Cramer-Rao lower bound of the standard deviation of a width, microseconds:
 * what an unbiased estimator that knew S, the noise and all else could reach,
 *   var(t) = sigma^2 / (A^2 sum_n S'(t_n - t)^2), both edges added, averaged over the
 * given pulses (pairs of neighbouring edges, first edge `first`).
 * sigma^2 is that of white noise and the quantisation's LSB^2/12. Heights and transitions are
 * those of each edge as disturbed. NAN without memory. */
double sim_channel_bound_us(const sim_channel *channel, const double *edges_s, size_t n_edges,
                            size_t first, bool start_high);

#endif
