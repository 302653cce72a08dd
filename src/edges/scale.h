/* The height of each transition against the shape's: free, but no more uncertain than it
 * must be. */
#ifndef SPW_SCALE_H
#define SPW_SCALE_H

#include "edges/fit.h"

/* Scales of n marks told by steps between levels; those of a steady height are all 1.
 * False when the height is not steady.
 *   usual  a step of scale 1
 *   noise  rms a sample */
bool spw_scale_by_steps(spw_mark *marks, size_t n, double usual, double noise);

/* Scales of n marks told by their fits, which hold the scales that the marks have: of all
 * stretches about a mark in which the height is steady or sloping evenly the longest one
 * counts, or the mark alone. False without memory: they are as before. */
bool spw_scale_by_fits(spw_mark *marks, spw_fit *fit, size_t n);

/* Pulses whose two transitions are not alike in height: something steps together with one of
 * them. Are there any? Each adds much to its seen[] where that is not NULL. */
bool spw_scale_uneven(const spw_mark *marks, const spw_fit *fit, size_t n, double *seen);

#endif
