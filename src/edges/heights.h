/* Transitions where the height of the steps changes on the way: each is held against those
 * near it in time, not against the whole stretch. */
#ifndef SPW_HEIGHTS_H
#define SPW_HEIGHTS_H

#include "edges/coarse.h"

/* What stays known from stretch to stretch. */
typedef struct spw_heights {
    double gap;       /* samples: longest usual distance of two transitions; 0: not known */
    double density;   /* transitions a sample; 0: not known */
    double strong;    /* height of the steps so far; 0: not known */
    double crosstalk; /* height of what was seen beside stronger steps; 0: none */
    spw_mark *found;  /* scratch */
} spw_heights;
spw_status spw_heights_new(spw_heights *heights) SPW_CHECKED;
void spw_heights_free(spw_heights *heights);

/* Steps below this share of the strong ones may be the crosstalk of another line. */
#define SPW_WEAK_SHARE 0.2

/* As spw_coarse_find, with what is weaker or stronger than usual; marks weak ones. */
void spw_heights_find(spw_heights *heights, const spw_coarse *coarse, const spw_trace *trace,
                      const spw_step_size *size, spw_mark *marks, size_t room, size_t *n,
                      size_t *glitches);

/* From which position on a stretch that is decided up to `end` is to be kept: where a pause
 * begins, with what tells whether steps in it are crosstalk. */
double spw_heights_keep(const spw_heights *heights, const spw_mark *marks, size_t n, double end,
                        double rate_hz);

/* The height that the last steps of n have in common; 0 without any. */
double spw_heights_last(const spw_mark *marks, size_t n);

#endif
