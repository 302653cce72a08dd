#include "sim/rng.h"
#include "support/test.h"

#include <math.h>

static void quantiles_by_hand(void **state) {
    (void)state;
    /* Position (n-1) p between order statistics: for five values, 4 p. */
    const double five[] = {1, 2, 4, 8, 16};
    assert_true(spw_quantile_sorted(five, 5, 0) == 1);
    assert_true(spw_quantile_sorted(five, 5, 0.25) == 2);
    assert_true(spw_quantile_sorted(five, 5, 0.375) == 3);
    assert_true(spw_quantile_sorted(five, 5, 0.875) == 12);
    assert_true(spw_quantile_sorted(five, 5, 1) == 16);
    assert_true(spw_quantile_sorted(five, 1, 0.3) == 1);
    assert_true(isnan(spw_quantile_sorted(five, 0, 0.5)));
    assert_true(isnan(spw_quantile_sorted(five, 5, 1.5)));
    assert_true(isnan(spw_quantile_sorted(five, 5, NAN)));
}

static void summary_by_hand(void **state) {
    (void)state;
    const double x[] = {9, 1, 4, 2, 4}; /* deviations from 4: 5 -3 0 -2 0, squares 38 */
    spw_summary s;
    assert_int_equal(spw_summarise(x, 5, &s), SPW_OK);
    assert_int_equal(s.n, 5);
    assert_true(s.mean == 4 && s.sd == sqrt(9.5));
    assert_true(s.min == 1 && s.max == 9 && s.median == 4);
    assert_true(fabs(s.p05 - 1.2) < 1e-15 && fabs(s.p95 - 8) < 1e-15);
    assert_true(isnan(s.u) && isnan(s.dof) && isnan(s.U95) && isnan(s.floor));
    assert_true(x[0] == 9 && x[4] == 4);
}

static void small_series(void **state) {
    (void)state;
    const double x[] = {7, 7, 7};
    spw_summary s = spw_summary_none();
    assert_int_equal(spw_summarise(x, 0, &s), SPW_ERR_EMPTY);
    assert_true(s.n == 0 && isnan(s.mean));
    assert_int_equal(spw_summarise(x, 1, &s), SPW_OK);
    assert_true(s.mean == 7 && isnan(s.sd) && s.median == 7 && s.p05 == 7);
    assert_int_equal(spw_summarise(x, 3, &s), SPW_OK);
    assert_true(s.sd == 0);
    assert_true(isnan(spw_lag1(x, 1)) && isnan(spw_lag1(x, 3)));
}

static void robust_scale(void **state) {
    (void)state;
    const double x[] = {10, 11, 1000,
                        9,  12, 8}; /* median 10.5; deviations .5 .5 1.5 1.5 2.5 989.5 */
    double median = 0;
    double sd = 0;
    assert_int_equal(spw_robust_scale(x, 6, &median, &sd), SPW_OK);
    assert_true(median == 10.5 && fabs(sd - 1.4826 * 1.5) < 1e-14);
    assert_int_equal(spw_robust_scale(x, 0, &median, &sd), SPW_ERR_EMPTY);
    assert_int_equal(spw_robust_scale(x, 1, &median, &sd), SPW_OK);
    assert_true(median == 10 && sd == 0);
}

static void type_a_edges(void **state) {
    (void)state;
    double x[64] = {0};
    double u = 5;
    double dof = 5;
    double n_effective = 5;
    assert_int_equal(spw_type_a(x, 0, &u, &dof, &n_effective), SPW_ERR_EMPTY);
    assert_true(u == 5 && dof == 5 && n_effective == 5);
    for (int i = 0; i < 64; i++)
        x[i] = 1500.1;
    assert_int_equal(spw_type_a(x, 1, &u, &dof, &n_effective), SPW_OK);
    assert_true(isnan(u) && isnan(dof) && n_effective == 1);
    assert_int_equal(spw_type_a(x, 64, &u, &dof, &n_effective), SPW_OK);
    assert_true(u == 0 && dof == 63 && n_effective == 64);
    /* Alternating: no more than s/sqrt(n) is credited. */
    for (int i = 0; i < 64; i++)
        x[i] = 1500 + i % 2;
    assert_int_equal(spw_type_a(x, 64, &u, &dof, &n_effective), SPW_OK);
    assert_true(fabs(u - sqrt(64 * 0.25 / 63) / 8) < 1e-12 && n_effective == 64);
    /* A ramp or a step is one value that moves: hardly any independent values. */
    for (int i = 0; i < 64; i++)
        x[i] = i;
    assert_int_equal(spw_type_a(x, 64, &u, &dof, &n_effective), SPW_OK);
    assert_true(u > 2 && isfinite(u) && dof > 0 && n_effective < 10);
    for (size_t n = 2; n <= 64; n++) {
        assert_int_equal(spw_type_a(x, n, &u, &dof, &n_effective), SPW_OK);
        assert_true(u > 0 && isfinite(u) && dof > 0);
        assert_true(n_effective >= 1 && n_effective <= (double)n);
    }
}

static void type_a_of_no_number_is_none(void **state) {
    (void)state;
    const double bad[] = {NAN, INFINITY, -INFINITY};
    for (int i = 0; i < 3; i++) {
        double x[12] = {1, 2, 3, 1, 2, 3, 1, 2, 3};
        double u = 5;
        double dof = 5;
        double n_effective = 5;
        x[4 * i] = bad[i];
        assert_int_equal(spw_type_a(x, 12, &u, &dof, &n_effective), SPW_OK);
        assert_true(isnan(u));
    }
}

/* Unit and level may not matter: a width in seconds is as good as one in ns. */
/* Series whose ends lean one way: the mean's distribution has its centre off the sample mean.
 * The half widths hold 95 % of it, by a sum over 4000 values of phi, each with its own centre
 * and t distribution; the answer may be up to 8 % wider, for it widens instead of shifting. */
static void type_a_counts_the_shifted_centre(void **state) {
    (void)state;
    static const struct {
        double x[12];
        size_t n;
        double half;
    } all[] = {{{5, 2, 1, 0, 0, 0, 0, 1, 2, 6}, 10, 5.729984},
               {{8, 5, 3, 2, 1, 1, 2, 3, 5, 8}, 10, 7.271113},
               {{9, 4, 2, 1, 0, -1, -2, -1, 0, 1, 3, 8}, 12, 10.522337}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        double u, dof, n_effective;
        assert_int_equal(spw_type_a(all[i].x, all[i].n, &u, &dof, &n_effective), SPW_OK);
        double half = u * spw_coverage_factor(0.95, dof);
        assert_true(half > 0.99 * all[i].half && half < 1.08 * all[i].half);
    }
}

static void type_a_scales(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(3);
    double x[50];
    double y[50];
    double u[2];
    double dof[2];
    double n_effective[2];
    for (int i = 0; i < 50; i++) {
        x[i] = (i > 0 ? 0.5 * x[i - 1] : 0) + sim_rng_normal(&rng);
        y[i] = 1 + ldexp(x[i], -20);
    }
    assert_int_equal(spw_type_a(x, 50, &u[0], &dof[0], &n_effective[0]), SPW_OK);
    assert_int_equal(spw_type_a(y, 50, &u[1], &dof[1], &n_effective[1]), SPW_OK);
    assert_true(fabs(ldexp(u[1], 20) / u[0] - 1) < 1e-7);
    assert_true(fabs(dof[1] / dof[0] - 1) < 1e-6);
    assert_true(fabs(n_effective[1] / n_effective[0] - 1) < 1e-6);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quantiles_by_hand), cmocka_unit_test(summary_by_hand),
        cmocka_unit_test(small_series),      cmocka_unit_test(robust_scale),
        cmocka_unit_test(type_a_edges),      cmocka_unit_test(type_a_counts_the_shifted_centre),
        cmocka_unit_test(type_a_scales),     cmocka_unit_test(type_a_of_no_number_is_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
