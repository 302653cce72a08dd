/* The slopes of the backgrounds that fits leave: what is smooth between transitions and
 * was not undone shows in them. */
#ifndef SPW_TILT_H
#define SPW_TILT_H

#include "edges/fit.h"

/* Of falls and rises, a sample. */
typedef struct spw_tilts {
    double mean[2];
    double sure[2]; /* see fit.h */
} spw_tilts;

/* The slope that the smooth parts leave is nearly the same for all transitions of one
 * direction. Where clipped samples leave little to tell it from an instant, the scatter
 * beyond what noise makes says how far the mean holds for one. */
spw_tilts spw_tilts_clipped(const spw_mark *marks, const spw_fit *fit, size_t n, double noise);

/* Means over fits of 2 reach + 1 good samples; how many in *used. */
spw_tilts spw_tilts_whole(const spw_mark *marks, const spw_fit *fit, size_t n, size_t reach,
                          size_t *used);
/* Mean square distance of such fits' slopes from `usual` over what noise makes. */
double spw_tilts_excess(const spw_mark *marks, const spw_fit *fit, size_t n, size_t reach,
                        double noise, const spw_tilts *usual);

#endif
