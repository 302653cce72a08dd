/* Sorting and selecting: the same as the C library's, for every shape of series that makes
 * a quicksort slow or wrong. */
#include "spanwright/stats.h"
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

static double before_all[MOST], in_order[MOST], work[MOST];

/* Number k of `work` is in its place, and quantiles are those of the values in order. */
static void check_selection(size_t n, size_t k) {
    memcpy(work, before_all, n * sizeof *work);
    spw_select(work, n, k);
    assert_true(work[k] == in_order[k]);
    for (size_t i = 0; i < n; i++)
        assert_true(i < k ? work[i] <= work[k] : work[i] >= work[k]);
    double p = (double)k / (double)n; /* mostly between two values */
    memcpy(work, before_all, n * sizeof *work);
    double found = spw_quantile(work, n, p), expected = spw_quantile_sorted(in_order, n, p);
    assert_true(found == expected || (isnan(found) && isnan(expected)));
}

static void selection(void **state) {
    (void)state;
    uint32_t x = 521288629u;
    for (unsigned shape = 0; shape < 8; shape++)
        for (size_t n = 1; n <= MOST; n = n < 60 ? n + 1 : n * 2 + chance(&x, 9)) {
            fill(before_all, n, shape, &x);
            memcpy(in_order, before_all, n * sizeof *in_order);
            spw_sort(in_order, n);
            for (int i = 0; i < 12; i++)
                check_selection(n, chance(&x, (uint32_t)n));
            check_selection(n, 0);
            check_selection(n, n - 1);
        }
    work[0] = 4;
    assert_true(spw_quantile(work, 1, 1) == 4);
    assert_true(isnan(spw_quantile(work, 0, 0.5)));
    assert_true(isnan(spw_quantile(work, 1, -0.1)) && isnan(spw_quantile(work, 1, NAN)));
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
        cmocka_unit_test(selection),
        cmocka_unit_test(not_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
