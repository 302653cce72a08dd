/* A stretch of samples held in memory, what is smooth in it (droop of the
 * coupling, hum of the mains), and the transitions found in it.
 *
 * Positions are in samples from the start of the stretch, as double. */
#ifndef SPW_TRACE_H
#define SPW_TRACE_H

#include "edges/range.h"
#include "spanwright/edges.h"

#define SPW_SAMPLE_CLIPPED 1u
#define SPW_SAMPLE_MISSING 2u
#define SPW_SAMPLE_NEAR 4u /* might as well have been clipped */

typedef struct spw_trace {
    const float *y;      /* missing samples repeat the one before */
    const uint8_t *flag; /* 0: good */
    size_t n;
    double rate_hz;
    /* samples chunk k - skip ... chunk (k + 1) - skip - 1 are within range[k] */
    const spw_range *range;
    size_t chunk, skip;
} spw_trace;

/* One transition. */
typedef struct spw_mark {
    double at;       /* 50 % instant */
    double u;        /* its standard uncertainty, samples */
    double scale;    /* height of its shape, of the learned one's */
    double step;     /* between the levels about it; 0: not known */
    float height;    /* of the coarse search, always > 0 */
    float sign;      /* +1 rises, -1 falls */
    uint32_t flags;  /* SPW_EDGE_CLIPPED, _FALLBACK, _DOUBTFUL */
    bool gap;        /* missing samples between the mark before and this one */
    uint32_t doubts; /* SPW_DOUBT_... that have a place here */
    float bound_us;  /* of them; NAN: not known */
} spw_mark;

/* The coupling undone: z = y + p I + q II + r III (running integrals), for three
 * first-order high-passes in cascade p = w1 + w2 + w3, q = w1 w2 + w1 w3 + w2 w3,
 * r = w1 w2 w3; for two r = 0, for one q = 0. From z goes the hum: lines at multiples of one
 * frequency. */
enum { SPW_HUM_LINES = 7 };
typedef struct spw_smooth {
    double p, q, r; /* 1/samples, 1/samples^2, 1/samples^3 */
    double offset;  /* the recorder\'s own, which no coupling takes out (known with q) */
    double hum;     /* radians a sample of the first line; 0: no hum */
    double re[SPW_HUM_LINES], im[SPW_HUM_LINES]; /* sum re cos(k w i) + im sin(k w i) */
} spw_smooth;

/* z of samples [first, first + n), integrals from `first` on: the offset and
 * slope that this leaves open are for the caller to fit. */
void spw_trace_smooth(const spw_trace *trace, const spw_smooth *smooth, size_t first, size_t n,
                      double *z);

/* The same smooth parts told from `by` samples later on. */
void spw_smooth_shift(spw_smooth *smooth, size_t by);

/* Samples in a time, at least `least`. */
size_t spw_trace_samples(double rate_hz, double time_s, size_t least);

#endif
