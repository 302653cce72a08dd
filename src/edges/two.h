/* Two numbers at a time, in the compiler's own vectors: the same on every
 * processor, and the order of sums the same too. */
#ifndef SPW_TWO_H
#define SPW_TWO_H

#include <stddef.h>

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

#endif
