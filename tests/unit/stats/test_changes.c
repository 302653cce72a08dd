/* Change points against exhaustive dynamic programming. */
#include "sim/rng.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>

enum { MOST = 120 };

/* Sum of squares about the mean of values a .. b-1, the slow way. */
static double segment_cost(const double *x, size_t a, size_t b) {
    double mean = 0;
    for (size_t i = a; i < b; i++)
        mean += x[i];
    mean /= (double)(b - a);
    double sum = 0;
    for (size_t i = a; i < b; i++)
        sum += (x[i] - mean) * (x[i] - mean);
    return sum;
}

static double best_cost(const double *x, size_t n, double penalty, size_t minimum) {
    double cost[MOST + 1];
    cost[0] = -penalty;
    for (size_t t = 1; t <= n; t++) {
        cost[t] = INFINITY;
        for (size_t s = 0; s + minimum <= t; s++)
            cost[t] = fmin(cost[t], cost[s] + segment_cost(x, s, t) + penalty);
    }
    return cost[n];
}

static double cost_of(const double *x, const size_t *ends, size_t segments, double penalty) {
    double sum = -penalty;
    size_t start = 0;
    for (size_t i = 0; i < segments; i++) {
        sum += segment_cost(x, start, ends[i]) + penalty;
        start = ends[i];
    }
    return sum;
}

static void fill(sim_rng *rng, double *x, size_t n, int kind) {
    double level = 0;
    for (size_t i = 0; i < n; i++) {
        if (sim_rng_uniform(rng) < 0.06)
            level = 6 * sim_rng_normal(rng);
        double noise = kind == 2 ? 0 : sim_rng_normal(rng);
        x[i] = level + noise;
        if (kind == 1) /* coarse counts: many ties */
            x[i] = floor(x[i]);
        if (kind == 3) /* a ramp: change after change */
            x[i] = 0.3 * (double)i + 0.1 * noise;
    }
}

static void equals_exhaustive_search(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(20240117);
    for (int run = 0; run < 1200; run++) {
        double x[MOST];
        size_t n = 1 + sim_rng_bits(&rng) % MOST;
        size_t minimum = 1 + sim_rng_bits(&rng) % 9;
        double penalty = 12 * sim_rng_uniform(&rng);
        fill(&rng, x, n, run % 4);
        size_t *ends = NULL;
        size_t segments = 0;
        assert_int_equal(spw_change_points(x, n, 1, penalty, minimum, &ends, &segments), SPW_OK);
        assert_int_equal(ends[segments - 1], n);
        for (size_t i = 0; i < segments && n >= minimum; i++)
            assert_true(ends[i] - (i > 0 ? ends[i - 1] : 0) >= minimum);
        double best = n < minimum ? segment_cost(x, 0, n) : best_cost(x, n, penalty, minimum);
        assert_true(fabs(cost_of(x, ends, segments, penalty) - best) < 1e-8 * (1 + fabs(best)));
        free(ends);
    }
}

/* Only scale and offset differ: the answer may not. */
static void scale_and_level_do_not_matter(void **state) {
    (void)state;
    double x[90];
    double y[90];
    sim_rng rng = sim_rng_seed(7);
    for (size_t i = 0; i < 90; i++) {
        x[i] = (i < 40 ? 0 : 3) + sim_rng_normal(&rng);
        y[i] = 1.5e-3 + 1e-9 * x[i];
    }
    size_t *a = NULL;
    size_t *b = NULL;
    size_t n_a = 0;
    size_t n_b = 0;
    assert_int_equal(spw_change_points(x, 90, 1, 3 * log(90), 8, &a, &n_a), SPW_OK);
    assert_int_equal(spw_change_points(y, 90, 1e-9, 3 * log(90), 8, &b, &n_b), SPW_OK);
    assert_int_equal(n_a, 2);
    assert_int_equal(n_b, 2);
    assert_int_equal(a[0], b[0]);
    free(a);
    free(b);
}

/* 200 000 values without a change, with a few, and noise free: an algorithm of
 * n^2 steps would take minutes here. */
static void long_series_stay_cheap(void **state) {
    (void)state;
    size_t n = 200000;
    double *x = malloc(n * sizeof *x);
    assert_non_null(x);
    sim_rng rng = sim_rng_seed(11);
    for (int kind = 0; kind < 3; kind++) {
        for (size_t i = 0; i < n; i++) {
            double level = kind == 0 ? 1500 : 1000 + 250 * (double)(i / 50000);
            x[i] = level + (kind == 2 ? 0 : 0.4 * sim_rng_normal(&rng));
        }
        size_t *ends = NULL;
        size_t segments = 0;
        assert_int_equal(spw_change_points(x, n, 0.4, 3 * log((double)n), 8, &ends, &segments),
                         SPW_OK);
        assert_int_equal(segments, kind == 0 ? 1 : 4);
        for (size_t i = 0; i < segments && kind > 0; i++)
            assert_int_equal(ends[i], 50000 * (i + 1));
        free(ends);
    }
    free(x);
}

static void refuses_what_makes_no_sense(void **state) {
    (void)state;
    double x[3] = {1, 2, 3};
    size_t *ends = NULL;
    size_t segments = 99;
    assert_int_equal(spw_change_points(x, 0, 1, 1, 1, &ends, &segments), SPW_ERR_EMPTY);
    assert_int_equal(spw_change_points(x, 3, 0, 1, 1, &ends, &segments), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_change_points(x, 3, NAN, 1, 1, &ends, &segments), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_change_points(x, 3, 1, -1, 1, &ends, &segments), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_change_points(x, 3, 1, INFINITY, 1, &ends, &segments), SPW_ERR_ARGUMENT);
    assert_null(ends);
    assert_int_equal(segments, 99);
}

/* Nonsense in, but an answer, and in finite time. */
static void ends_on_values_that_are_no_numbers(void **state) {
    (void)state;
    const double bad[] = {NAN, INFINITY, -INFINITY, 1e308};
    for (int k = 0; k < 8; k++) {
        double x[40] = {0};
        for (int i = 0; i < 40; i++)
            x[i] = i / 10;
        x[k % 2 == 0 ? 0 : 17] = bad[k / 2];
        size_t *ends = NULL;
        size_t segments = 0;
        assert_int_equal(spw_change_points(x, 40, 1, 3, 3, &ends, &segments), SPW_OK);
        assert_int_equal(ends[segments - 1], 40);
        free(ends);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(equals_exhaustive_search),
        cmocka_unit_test(scale_and_level_do_not_matter),
        cmocka_unit_test(long_series_stay_cheap),
        cmocka_unit_test(refuses_what_makes_no_sense),
        cmocka_unit_test(ends_on_values_that_are_no_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
