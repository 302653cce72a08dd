/* What searching integer constants and proving them share. */
#ifndef SPW_ADAPTER_FIXED_POINT_H
#define SPW_ADAPTER_FIXED_POINT_H

#include "spanwright/adapter.h"

/* What the integers are searched against: the remap in ticks, between the whole
 * ticks that lie inside its clamps. */
typedef struct spw_exact {
    const spw_remap *remap;
    double tick_us, low, high;
} spw_exact;

/* The exact output in ticks, before any clamp of the output. */
double spw_exact_line(const spw_exact *e, uint64_t in_ticks);

/* The output of a segment in ticks, not clamped. */
uint64_t spw_fixed_output(const spw_fixed_segment *s, uint64_t in_ticks);
/* The number whose upper bits are the product's share of the output: product and
 * addend, either negative, in unsigned arithmetic. */
uint64_t spw_fixed_sum(const spw_fixed_segment *s, uint64_t in_ticks);

/* fixed_search.c: constants for each segment and the clamps of the input. False when
 * the word cannot hold any. */
bool spw_fixed_search(const spw_exact *e, unsigned word_bits, spw_fixed_point *fixed);

#endif
