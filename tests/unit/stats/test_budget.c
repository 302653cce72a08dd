/* Probabilities and coverage. GSL's default handler ends the program, so that
 * reaching the end of the random arguments below is itself a check. */
#include "sim/rng.h"
#include "support/test.h"

#include <math.h>

static void coverage_edges(void **state) {
    (void)state;
    assert_true(spw_coverage_factor(0, 5) == 0);
    assert_true(isinf(spw_coverage_factor(1, 5)));
    assert_true(isnan(spw_coverage_factor(0.95, 0)) && isnan(spw_coverage_factor(0.95, NAN)));
    assert_true(isnan(spw_coverage_factor(1.1, 5)) && isnan(spw_coverage_factor(NAN, 5)));
    /* Continuous where the normal quantile takes over, and between whole dof. */
    assert_true(fabs(spw_coverage_factor(0.95, 9e7) - spw_coverage_factor(0.95, INFINITY)) < 1e-7);
    assert_true(spw_coverage_factor(0.95, 4.5) < spw_coverage_factor(0.95, 4));
    assert_true(spw_coverage_factor(0.95, 4.5) > spw_coverage_factor(0.95, 5));
}

static void conformity_edges(void **state) {
    (void)state;
    assert_true(spw_conformity(1, 0, 0, 1) == 1 && spw_conformity(1.1, 0, 0, 1) == 0);
    assert_true(spw_conformity(0, 0, 0, 1) == 1 && spw_conformity(-0.1, 0, 0, 1) == 0);
    assert_true(spw_conformity(0, 1, -INFINITY, INFINITY) == 1);
    assert_true(spw_conformity(0, 1, 2, 1) == 0);
    assert_true(isnan(spw_conformity(NAN, 1, 0, 1)) && isnan(spw_conformity(0, -1, 0, 1)));
    /* Both tails keep their digits: symmetric about the interval. */
    double above = spw_conformity(20, 1, 0, 10);
    double below = spw_conformity(-10, 1, 0, 10);
    assert_true(above > 0 && fabs(above / below - 1) < 1e-12);
}

static void combine_is_safe_from_overflow(void **state) {
    (void)state;
    const spw_component tiny[] = {{3e-90, 4}, {4e-90, 4}};
    const spw_component huge[] = {{3e90, 4}, {4e90, 4}};
    double u = 0;
    double dof[2];
    spw_combine(tiny, 2, &u, &dof[0]);
    assert_true(fabs(u / 5e-90 - 1) < 1e-12);
    spw_combine(huge, 2, &u, &dof[1]);
    assert_true(fabs(u / 5e90 - 1) < 1e-12);
    assert_true(fabs(dof[0] - 625.0 / (81.0 / 4 + 256.0 / 4)) < 1e-9);
    assert_true(fabs(dof[0] - dof[1]) < 1e-9);
}

/* Clopper and Pearson: at the limits the tails of the binomial are alpha/2. */
static double tail_at_least(size_t k, size_t n, double p) {
    double sum = 0;
    for (size_t i = k; i <= n; i++)
        sum += exp(lgamma((double)n + 1) - lgamma((double)i + 1) - lgamma((double)(n - i) + 1) +
                   (double)i * log(p) + (double)(n - i) * log1p(-p));
    return sum;
}

static void binomial_interval(void **state) {
    (void)state;
    double low = 0;
    double high = 0;
    for (size_t n = 1; n <= 40; n += 3)
        for (size_t k = 0; k <= n; k++) {
            spw_binomial_interval(k, n, 0.95, &low, &high);
            assert_true(k == 0 ? low == 0 : fabs(tail_at_least(k, n, low) - 0.025) < 1e-10);
            assert_true(k == n ? high == 1
                               : fabs(1 - tail_at_least(k + 1, n, high) - 0.025) < 1e-10);
        }
    /* No success in n: 1 - 0.025^(1/n); the rule of three in its exact form. */
    spw_binomial_interval(0, 100000, 0.95, &low, &high);
    assert_true(low == 0 && fabs(high / -expm1(log(0.025) / 100000) - 1) < 1e-9);
    /* Large counts, where an expansion takes over, join the exact ones. */
    double lows[2];
    spw_binomial_interval(99000, 250000, 0.95, &lows[0], &high);
    spw_binomial_interval(101000, 255050, 0.95, &lows[1], &high);
    double z = 1.959964;
    double sd = sqrt(0.396 * 0.604 / 250000);
    assert_true(fabs((lows[0] - 0.396) / sd + z) < 0.01);
    assert_true(fabs((lows[1] - 101000.0 / 255050) / sd * sqrt(255050.0 / 250000) + z) < 0.01);
    spw_binomial_interval(3, 2, 0.95, &low, &high);
    assert_true(isnan(low) && isnan(high));
    spw_binomial_interval(0, 0, 0.95, &low, &high);
    assert_true(low == 0 && high == 1);
    spw_binomial_interval(1, 2, 1, &low, &high);
    assert_true(isnan(low) && isnan(high));
}

static void no_argument_reaches_the_handler(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(99);
    for (int i = 0; i < 20000; i++) {
        double wide = pow(10, 40 * (sim_rng_uniform(&rng) - 0.5));
        double p = i % 3 == 0 ? sim_rng_uniform(&rng) : -expm1(-20 * sim_rng_uniform(&rng));
        double t = spw_coverage_factor(p, wide);
        assert_true(isnan(t) || t >= 0);
        double c = spw_conformity(sim_rng_normal(&rng) * wide, 1 / wide, -wide, wide);
        assert_true(c >= 0 && c <= 1);
        size_t n = (size_t)pow(10, 9 * sim_rng_uniform(&rng));
        size_t k = (size_t)((double)n * pow(sim_rng_uniform(&rng), i % 9));
        double low = 0;
        double high = 0;
        if (i % 20 == 0) {
            spw_binomial_interval(k, n, p, &low, &high);
            assert_true((p > 0 && p < 1) ? low >= 0 && low <= high && high <= 1 : isnan(low));
        }
    }
}

/* 150 000 of 1 000 000: the lower limit by summing the binomial's terms in double precision. */
static void binomial_interval_of_many(void **state) {
    (void)state;
    double low = 0, high = 0;
    spw_binomial_interval(150000, 1000000, 0.95, &low, &high);
    assert_true(fabs(low - 0.1493006672521) < 2e-8); /* 1E-5 of its deviation is 4E-9 */
    double mirrored_low = 0, mirrored_high = 0;
    spw_binomial_interval(850000, 1000000, 0.95, &mirrored_low, &mirrored_high);
    assert_true(fabs(mirrored_high - (1 - low)) < 1e-12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(coverage_edges),
        cmocka_unit_test(conformity_edges),
        cmocka_unit_test(combine_is_safe_from_overflow),
        cmocka_unit_test(binomial_interval),
        cmocka_unit_test(binomial_interval_of_many),
        cmocka_unit_test(no_argument_reaches_the_handler),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
