/* Two numbers (or four short ones) at a time, in the compiler's own vectors: on every
 * processor, and with the same order of sums. */
#ifndef SPW_TWO_H
#define SPW_TWO_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#if defined(__SSE__)
#include <xmmintrin.h>
#endif

typedef double spw_two __attribute__((vector_size(16)));
typedef double spw_two_loose __attribute__((vector_size(16), aligned(8), may_alias));

static inline spw_two spw_two_at(const double *at) {
    return *(const spw_two_loose *)at;
}

static inline void spw_two_put(double *at, spw_two value) {
    *(spw_two_loose *)at = value;
}

static inline spw_two spw_twice(double value) {
    return (spw_two){value, value};
}

static inline double spw_dot(const double *x, const double *y, size_t n) {
    spw_two a = {0}, b = {0};
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        a += spw_two_at(x + i) * spw_two_at(y + i);
        b += spw_two_at(x + i + 2) * spw_two_at(y + i + 2);
    }
    a += b;
    double sum = a[0] + a[1];
    for (; i < n; i++)
        sum += x[i] * y[i];
    return sum;
}

static inline double spw_sum(const double *x, size_t n) {
    spw_two a = {0}, b = {0};
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        a += spw_two_at(x + i);
        b += spw_two_at(x + i + 2);
    }
    a += b;
    double sum = a[0] + a[1];
    for (; i < n; i++)
        sum += x[i];
    return sum;
}

/* y += c x */
static inline void spw_add_times(double *y, double c, const double *x, size_t n) {
    spw_two cc = spw_twice(c);
    size_t i = 0;
    for (; i + 2 <= n; i += 2)
        spw_two_put(y + i, spw_two_at(y + i) + cc * spw_two_at(x + i));
    for (; i < n; i++)
        y[i] += c * x[i];
}

typedef float spw_four __attribute__((vector_size(16)));
typedef float spw_four_loose __attribute__((vector_size(16), aligned(4), may_alias));
typedef int32_t spw_four_masks __attribute__((vector_size(16)));

static inline spw_four spw_four_at(const float *at) {
    return *(const spw_four_loose *)at;
}

static inline void spw_four_put(float *at, spw_four value) {
    *(spw_four_loose *)at = value;
}

static inline spw_four spw_four_times(float value) {
    return (spw_four){value, value, value, value};
}

static inline spw_four spw_pick(spw_four_masks mask, spw_four yes, spw_four no) {
    return (spw_four)((mask & (spw_four_masks)yes) | (~mask & (spw_four_masks)no));
}

/* The smaller, the larger ones; b's where a is no number. Not every compiler sees that
 * this is one instruction. */
static inline spw_four spw_smaller(spw_four a, spw_four b) {
#if defined(__SSE__)
    return (spw_four)_mm_min_ps((__m128)a, (__m128)b);
#else
    return spw_pick((spw_four_masks)(a < b), a, b);
#endif
}

static inline spw_four spw_larger(spw_four a, spw_four b) {
#if defined(__SSE__)
    return (spw_four)_mm_max_ps((__m128)a, (__m128)b);
#else
    return spw_pick((spw_four_masks)(a > b), a, b);
#endif
}

static inline float spw_least_of(spw_four a) {
    float x = a[0] < a[1] ? a[0] : a[1], y = a[2] < a[3] ? a[2] : a[3];
    return x < y ? x : y;
}

static inline float spw_most_of(spw_four a) {
    float x = a[0] > a[1] ? a[0] : a[1], y = a[2] > a[3] ? a[2] : a[3];
    return x > y ? x : y;
}

/* Where neither is no number. */
static inline spw_four_masks spw_numbers(spw_four a, spw_four b) {
#if defined(__SSE__)
    return (spw_four_masks)_mm_cmpord_ps((__m128)a, (__m128)b);
#else
    return (spw_four_masks)(a == a) & (spw_four_masks)(b == b);
#endif
}

static inline bool spw_all(spw_four_masks mask) {
#if defined(__SSE__)
    return _mm_movemask_ps((__m128)mask) == 15;
#else
    return (mask[0] & mask[1] & mask[2] & mask[3]) != 0;
#endif
}

static inline spw_four spw_magnitude(spw_four a) {
    const int32_t most = INT32_MAX;
    return (spw_four)((spw_four_masks)a & (spw_four_masks){most, most, most, most});
}

#endif
