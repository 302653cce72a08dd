/* The shape of a rising transition as this recorder shows it: a cubic spline with
 * four knots a sample, 0 before it, its own height after it.
 *
 * A sample grid meets the knots of one transition at one phase only, so the four
 * spline weights are the same for all samples and the rest is a multiplication of
 * four rows of coefficients. */
#ifndef SPW_SHAPE_H
#define SPW_SHAPE_H

#include "spanwright/base.h"

enum { SPW_KNOTS = 4, SPW_SHAPE_TAPS = 4 };

typedef struct spw_shape {
    size_t half;            /* samples on either side of the instant that are not constant */
    size_t n;               /* free coefficients: of knots 2 ... 8 half - 2, then the height */
    double *free_;          /* them */
    double *row[SPW_KNOTS]; /* all coefficients, knot j at row[(j + 4) % 4][(j + 4) / 4] */
    double height;
    double *block;
} spw_shape;

spw_status spw_shape_new(size_t half, spw_shape *shape) SPW_CHECKED;
void spw_shape_free(spw_shape *shape);
/* Takes n free coefficients over. */
void spw_shape_set(spw_shape *shape, const double *coefficients);
/* An ideal low-pass at `corner` (of half the sampling rate) of a step `height`. */
void spw_shape_ideal(spw_shape *shape, double height, double corner);

/* Where one transition at t meets the spline: samples [from, to) lie within it;
 * sample i uses knots knot + 4 (i - from) + 0 ... 3 with these weights, and
 * `slope` for the derivative, a sample. */
typedef struct spw_shape_phase {
    ptrdiff_t from, to;
    ptrdiff_t knot;
    double weight[SPW_SHAPE_TAPS], slope[SPW_SHAPE_TAPS];
} spw_shape_phase;
spw_shape_phase spw_shape_meet(const spw_shape *shape, double t);

/* The same within samples [first, end): the part that is not constant, from
 * sample *from on; how many samples. `slope` may be NULL. */
size_t spw_shape_part(const spw_shape *shape, const spw_shape_phase *phase, ptrdiff_t first,
                      ptrdiff_t end, double *value, double *slope, ptrdiff_t *from);

/* Values (and slopes when not NULL) at samples first ... first + n - 1. */
void spw_shape_at(const spw_shape *shape, double t, ptrdiff_t first, size_t n, double *value,
                  double *slope);

#endif
