/* Sorting: the same as the C library's, for every shape of series that makes
 * a quicksort slow or wrong. */
#include "stats/order.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST 5000

static int upwards(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* xorshift (Marsaglia 2003), seeded */
static uint32_t chance(uint32_t *x, uint32_t n) {
    *x ^= *x << 13;
    *x ^= *x >> 17;
    *x ^= *x << 5;
    return *x % n;
}

static void fill(double *values, size_t n, unsigned shape, uint32_t *x) {
    for (size_t i = 0; i < n; i++) {
        const double shapes[] = {(double)i,
                                 -(double)i,
                                 7,
                                 (double)chance(x, 3),
                                 (double)chance(x, 1000000) * 1e-3,
                                 (double)(i % 2 == 0 ? i : n - i),
                                 i < n / 2 ? (double)i : (double)(n - i),
                                 chance(x, 9) == 0 ? -INFINITY : (double)chance(x, 50)};
        values[i] = shapes[shape];
    }
}

static void as_the_library(void **state) {
    (void)state;
    static double values[MOST], expected[MOST];
    uint32_t x = 2463534242u;
    for (unsigned shape = 0; shape < 8; shape++)
        for (size_t n = 0; n <= MOST; n = n < 300 ? n + 1 : n * 2 + chance(&x, 9)) {
            fill(values, n, shape, &x);
            memcpy(expected, values, n * sizeof *values);
            qsort(expected, n, sizeof *expected, upwards);
            spw_sort(values, n);
            assert_memory_equal(values, expected, n * sizeof *values);
        }
}

/* Values that are no numbers may lie anywhere, but all stay there. */
static void not_numbers(void **state) {
    (void)state;
    static double values[MOST];
    uint32_t x = 88172645u;
    size_t odd = 0, after = 0;
    double sum = 0, sum_after = 0;
    for (size_t i = 0; i < MOST; i++) {
        values[i] = chance(&x, 4) == 0 ? (double)NAN : (double)chance(&x, 100);
        odd += isnan(values[i]) != 0;
        sum += isnan(values[i]) ? 0 : values[i];
    }
    spw_sort(values, MOST);
    for (size_t i = 0; i < MOST; i++) {
        after += isnan(values[i]) != 0;
        sum_after += isnan(values[i]) ? 0 : values[i];
    }
    assert_int_equal(after, odd);
    assert_true(sum_after == sum);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_the_library),
        cmocka_unit_test(not_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
