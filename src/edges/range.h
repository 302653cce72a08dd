/* Between its transitions a line hardly moves: the lowest and highest sample of every
 * few tell where nothing needs a closer look. */
#ifndef SPW_RANGE_H
#define SPW_RANGE_H

#include <stdbool.h>
#include <stddef.h>

typedef struct spw_range {
    float low, high;
} spw_range;

/* The range of no samples. */
spw_range spw_range_none(void);
/* Copies n samples and widens the range to hold them (to NULL: no copy). False when one
 * of them is not a number or beyond 1e30: the range is then of no use. */
bool spw_range_take(float *to, const float *from, size_t n, spw_range *range);
/* Copies whole chunks of `chunk` samples (a multiple of 16) and finds the range of each, up to
 * one with such a sample. How many are done. */
size_t spw_range_chunks(float *to, const float *from, size_t chunks, size_t chunk,
                        spw_range *range);

#endif
