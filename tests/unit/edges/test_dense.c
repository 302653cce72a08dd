/* Symmetric systems: products of rows, factor and solution against plain loops. */
#include "edges/dense.h"
#include "sim/rng.h"
#include "support/test.h"

#include <math.h>
#include <string.h>

enum { MOST = 136, LONG = 40, DEPTH = 50 };
static double a[MOST * MOST], before[MOST * MOST], row[MOST * LONG], packed[MOST * DEPTH];
static double scratch[MOST * SPW_DENSE_PANEL], x[MOST], b[MOST];
static const size_t sizes[] = {1,  2,  3,  4,  5,  6,  7,  8,  9,   31,  32,
                               33, 34, 35, 57, 64, 65, 66, 67, 121, 128, 131};
enum { SIZES = sizeof sizes / sizeof sizes[0] };

static void fill(double *at, size_t n, sim_rng *rng) {
    for (size_t i = 0; i < n; i++)
        at[i] = sim_rng_uniform(rng) - 0.5;
}

static void products_of_rows(void **unused) {
    (void)unused;
    sim_rng rng = sim_rng_seed(4);
    for (size_t s = 0; s < SIZES; s++) {
        size_t n = sizes[s], stride = spw_dense_stride(n);
        assert_true(stride >= n && stride <= MOST && stride % 64 != 0);
        fill(a, MOST * MOST, &rng);
        fill(row, n * LONG, &rng);
        fill(packed, MOST * DEPTH, &rng); /* what is beyond LONG has no part */
        for (size_t i = 0; i < spw_dense_rows(n); i++)
            for (size_t k = 0; k < LONG; k++)
                packed[spw_dense_at(i, k, DEPTH)] = i < n ? row[i * LONG + k] : 0;
        memcpy(before, a, sizeof a);
        spw_dense_less(a, stride, packed, DEPTH, n, LONG);
        for (size_t i = spw_dense_rows(n) * stride; i < MOST * MOST; i++)
            assert_true(a[i] == before[i]);
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j <= i; j++) {
                double expected = before[i * stride + j];
                for (size_t k = 0; k < LONG; k++)
                    expected -= row[i * LONG + k] * row[j * LONG + k];
                /* each of LONG terms below 1/4 is rounded LONG times at most, in either sum */
                assert_true(fabs(a[i * stride + j] - expected) < LONG * LONG * 0.25 * 2.3e-16);
            }
    }
}

/* Q = R R' + 1 is positive definite with condition below a few n. */
static void factor_and_solution(void **unused) {
    (void)unused;
    sim_rng rng = sim_rng_seed(5);
    for (size_t s = 0; s < SIZES; s++) {
        size_t n = sizes[s], stride = spw_dense_stride(n);
        fill(row, n * LONG, &rng);
        fill(x, n, &rng);
        for (size_t i = 0; i < MOST * MOST; i++)
            a[i] = NAN; /* what is beyond n is not to be used */
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++) {
                a[i * stride + j] = i == j;
                for (size_t k = 0; k < LONG; k++)
                    a[i * stride + j] += row[i * LONG + k] * row[j * LONG + k];
            }
        for (size_t i = 0; i < n; i++) {
            b[i] = 0;
            for (size_t j = 0; j < n; j++)
                b[i] += a[i * stride + j] * x[j];
        }
        for (size_t i = 0; i < n; i++)
            for (size_t j = i + 1; j < n; j++)
                a[i * stride + j] = NAN; /* the upper triangle is not to be used */
        assert_true(spw_dense_factor(a, n, scratch));
        spw_dense_solve(a, n, b);
        for (size_t i = 0; i < n; i++)
            assert_true(fabs(b[i] - x[i]) < 1e-12);
    }
}

static void not_positive(void **unused) {
    (void)unused;
    for (size_t n = 1; n <= MOST; n += 26) {
        size_t stride = spw_dense_stride(n), last = (n - 1) * stride + n - 1;
        memset(a, 0, sizeof a);
        for (size_t i = 0; i < n; i++)
            a[i * stride + i] = i + 1 == n ? -1e-3 : 1;
        assert_false(spw_dense_factor(a, n, scratch));
        a[last] = NAN;
        assert_false(spw_dense_factor(a, n, scratch));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(products_of_rows),
        cmocka_unit_test(factor_and_solution),
        cmocka_unit_test(not_positive),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
