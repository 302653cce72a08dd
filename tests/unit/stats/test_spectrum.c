#include "sim/rng.h"
#include "support/test.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>

static const double tau = 6.283185307179586;

static void finds_a_sine(void **state) {
    (void)state;
    double x[500];
    double at = 0;
    double amplitude = 0;
    double p = 1;
    for (int i = 0; i < 500; i++) /* 35 cycles: exactly in a bin */
        x[i] = 1500 + 2.5 * sin(tau * 35 * i / 500 + 1);
    assert_int_equal(spw_strongest_line(x, 500, &at, &amplitude, &p), SPW_OK);
    assert_true(at == 0.07 && fabs(amplitude - 2.5) < 1e-9 && p < 1e-300);
    sim_rng rng = sim_rng_seed(1);
    for (int i = 0; i < 500; i++)
        x[i] += 3 * sim_rng_normal(&rng);
    assert_int_equal(spw_strongest_line(x, 500, &at, &amplitude, &p), SPW_OK);
    /* Standard deviation of the amplitude: sqrt(2/n) 3 = 0.19. */
    assert_true(at == 0.07 && fabs(amplitude - 2.5) < 4 * 0.19 && p < 1e-9);
}

/* In white noise p is uniform: of 1000 series 50 +- 7 have p < 0.05. */
static void white_noise_gives_uniform_p(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(8);
    double x[101];
    int below[2] = {0, 0};
    for (int run = 0; run < 1000; run++) {
        double at = 0;
        double amplitude = 0;
        double p = 0;
        for (int i = 0; i < 101; i++)
            x[i] = sim_rng_normal(&rng);
        assert_int_equal(spw_strongest_line(x, 101, &at, &amplitude, &p), SPW_OK);
        below[0] += p < 0.05;
        below[1] += p < 0.5;
    }
    assert_true(abs(below[0] - 50) < 28 && abs(below[1] - 500) < 64); /* 4 sd */
}

static void edges(void **state) {
    (void)state;
    double x[4] = {1, 1, 1, 1};
    double at = 9;
    double amplitude = 9;
    double p = 9;
    assert_int_equal(spw_strongest_line(x, 2, &at, &amplitude, &p), SPW_ERR_EMPTY);
    assert_true(at == 9 && amplitude == 9 && p == 9);
    assert_int_equal(spw_strongest_line(x, 4, &at, &amplitude, &p), SPW_OK);
    assert_true(amplitude == 0 && p == 1);
}

static void fisher_stays_a_probability(void **state) {
    (void)state;
    assert_true(isnan(spw_fisher_g_p(0.5, 0)) && isnan(spw_fisher_g_p(NAN, 5)));
    assert_true(spw_fisher_g_p(1, 1) == 1 && spw_fisher_g_p(0.1, 5) == 1);
    assert_true(spw_fisher_g_p(1, 5) == 0 && spw_fisher_g_p(0.2, 5) == 1);
    const size_t sizes[] = {1, 2, 3, 10, 499, 20000, 1000000};
    for (int k = 0; k < 7; k++) {
        double before = 1;
        double m = (double)sizes[k];
        for (double times = 0.9; times < 60; times += 0.37) { /* g in means */
            double p = spw_fisher_g_p(times / m, sizes[k]);
            assert_true(p >= 0 && p <= before + 2e-9);
            before = p;
        }
    }
    /* The largest of m exponentials, m = 1E6: exp(-m e^-t) to 1E-4. */
    for (double t = 11; t < 30; t += 1) {
        double p = spw_fisher_g_p(t / 1e6, 1000000);
        double limit = -expm1(-1e6 * exp(-t));
        assert_true(fabs(p / limit - 1) < 1e-3);
    }
}

static void *work(void *out) {
    double x[256];
    double at = 0;
    double p = 0;
    double amplitude = 0;
    for (int i = 0; i < 256; i++)
        x[i] = cos(tau * 16 * i / 256);
    double worst = 0;
    for (int run = 0; run < 200; run++) {
        if (spw_strongest_line(x, 200 + (size_t)run % 57, &at, &amplitude, &p) != SPW_OK)
            worst = INFINITY;
        worst = fmax(worst, fabs(at - 0.0625));
    }
    *(double *)out = worst;
    return NULL;
}

static void threads_may_share_it(void **state) {
    (void)state;
    pthread_t thread[4];
    double worst[4];
    for (int i = 0; i < 4; i++)
        assert_int_equal(pthread_create(&thread[i], NULL, work, &worst[i]), 0);
    for (int i = 0; i < 4; i++) {
        assert_int_equal(pthread_join(thread[i], NULL), 0);
        assert_true(worst[i] <= 0.5 / 200 + 1e-12);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_a_sine),
        cmocka_unit_test(white_noise_gives_uniform_p),
        cmocka_unit_test(edges),
        cmocka_unit_test(fisher_stays_a_probability),
        cmocka_unit_test(threads_may_share_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
