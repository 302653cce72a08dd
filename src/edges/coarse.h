/* Where transitions are, to a few samples, without knowing any level. */
#ifndef SPW_COARSE_H
#define SPW_COARSE_H

#include "edges/trace.h"

/* What a step looks like among the differences of adjacent 60 us means. */
typedef struct spw_step_size {
    double typical; /* height of the capture's steps; 0: none found */
    double noise;   /* robust standard deviation of the differences */
    double quantum; /* the least that a digitised line's noise can be among them; 0: none */
} spw_step_size;
/* Of the differences' robust deviation: below it, noise. */
#define SPW_STAND_OUT 8.0

/* Samples of such a mean. A chunk of ranges must not be shorter. */
size_t spw_coarse_mean(double rate_hz);

/* Scratch for a stretch's search, one a finder. */
typedef struct spw_coarse {
    size_t m;     /* samples a mean */
    double *sum;  /* running sum of a block and its rims */
    float *d;     /* the differences in it */
    float *probe; /* some of a stretch */
} spw_coarse;
spw_status spw_coarse_new(double rate_hz, spw_coarse *coarse) SPW_CHECKED;
void spw_coarse_free(spw_coarse *coarse);

/* Looks at the whole stretch. typical is 0 when no step stands out of the noise.
 *   full_scale  of the recorder, or NAN: steps of a quantum or two are no steps */
spw_status spw_coarse_size(const spw_coarse *coarse, const spw_trace *trace, double full_scale,
                           spw_step_size *size) SPW_CHECKED;

/* Transitions in the stretch, in order, directions alternating as found.
 *   marks, room   caller's array
 *   n             out; room: there may be more behind the last one
 *   glitches      out: transitions left out because their pulse was below 100 us */
void spw_coarse_find(const spw_coarse *coarse, const spw_trace *trace, const spw_step_size *size,
                     spw_mark *marks, size_t room, size_t *n, size_t *glitches);

/* The same within samples [from, to): differences of `least` and more. */
void spw_coarse_find_in(const spw_coarse *coarse, const spw_trace *trace, size_t from, size_t to,
                        double least, spw_mark *marks, size_t room, size_t *n, size_t *glitches);
/* Robust deviation of the differences within samples [from, to); 0 where it is too short. */
double spw_coarse_noise(const spw_coarse *coarse, const spw_trace *trace, size_t from, size_t to);

#endif
