/* The transition's shape, learned from a capture's own transitions. */
#ifndef SPW_LEARN_H
#define SPW_LEARN_H

#include "edges/fit.h"

/* Refines the shape (which holds a start) from pulses among the marks, whose
 * instants are refined on the way.
 *   noise    rms a sample
 *   learned  out: pulses used (0: too few, the shape is the start's) */
spw_status spw_shape_learn(const spw_trace *trace, const spw_smooth *smooth, spw_mark *marks,
                           size_t n, double noise, spw_shape *shape, size_t *learned) SPW_CHECKED;

#endif
