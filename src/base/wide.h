/* Whole numbers of 128 bits (two's complement), for compilers that have none: times of 19
 * digits shifted by 18 decimal places. */
#ifndef SPW_BASE_WIDE_H
#define SPW_BASE_WIDE_H

#include <stdbool.h>
#include <stdint.h>

typedef struct spw_wide {
    uint64_t low;
    uint64_t high; /* its top bit is the sign */
} spw_wide;

/* a times b, by halves (Knuth, The Art of Computer Programming 2, 4.3.1, algorithm M). */
static inline spw_wide spw_wide_product(uint64_t a, uint64_t b) {
    uint64_t a0 = (uint32_t)a, a1 = a >> 32, b0 = (uint32_t)b, b1 = b >> 32;
    uint64_t low = a0 * b0, middle = a1 * b0 + (low >> 32), other = a0 * b1 + (uint32_t)middle;
    return (spw_wide){(other << 32) | (uint32_t)low, a1 * b1 + (middle >> 32) + (other >> 32)};
}

/* a - b; what does not fit is cut off. */
static inline spw_wide spw_wide_less(spw_wide a, spw_wide b) {
    return (spw_wide){a.low - b.low, a.high - b.high - (a.low < b.low)};
}

static inline spw_wide spw_wide_negative(spw_wide a) {
    return spw_wide_less((spw_wide){0, 0}, a);
}

/* Is it within -most ... most? Then *value is it. most < 2^63. */
static inline bool spw_wide_within(spw_wide a, int64_t most, int64_t *value) {
    bool negative = (a.high >> 63) != 0;
    spw_wide size = negative ? spw_wide_negative(a) : a;
    if (size.high != 0 || size.low > (uint64_t)most)
        return false;
    *value = negative ? -(int64_t)size.low : (int64_t)size.low;
    return true;
}

#endif
