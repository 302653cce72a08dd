/* Eight characters at a time, as one number: the first one is its lowest byte
 * on any machine. */
#ifndef SPW_DIGITS_H
#define SPW_DIGITS_H

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#define SPW_EIGHT(byte) (UINT64_C(0x0101010101010101) * (uint64_t)(byte))

static inline uint64_t spw_eight_order(uint64_t eight) {
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    return __builtin_bswap64(eight);
#else
    return eight;
#endif
}

static inline uint64_t spw_eight_load(const char *text) {
    uint64_t eight;
    memcpy(&eight, text, sizeof eight);
    return spw_eight_order(eight);
}

/* The high bit of the first byte that is no decimal digit, and perhaps of
 * later ones; 0 when all eight are digits. */
static inline uint64_t spw_eight_others(uint64_t eight) {
    uint64_t values = eight ^ SPW_EIGHT('0'); /* 0 to 9, or more */
    return (values | (values + SPW_EIGHT(0x76))) & SPW_EIGHT(0x80);
}

/* How many digits come first, of spw_eight_others, which is not 0. */
static inline unsigned spw_eight_count(uint64_t others) {
    return (unsigned)__builtin_ctzll(others) / 8;
}

/* The number that eight digits say. The first n digits alone: shift the eight
 * up by 8 * (8 - n) bits first, 0 < n <= 8. */
static inline uint64_t spw_eight_value(uint64_t eight) {
    eight &= SPW_EIGHT(0x0f);
    eight = (eight * 10 + (eight >> 8)) & UINT64_C(0x00ff00ff00ff00ff); /* pairs */
    eight = (eight * 100 + (eight >> 16)) & UINT64_C(0x0000ffff0000ffff);
    return (eight & 0xffff) * 10000 + (eight >> 32);
}

#endif
