/* Steps of a grid found under noisy levels, and none found where there is none. */
#include "sim/rng.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>

static unsigned common_factor(unsigned a, unsigned b) {
    return b == 0 ? a : common_factor(b, a % b);
}

/* Finds among `runs` trials; *right counts those that agree with the levels' grid: the step, or
 * its multiple where all levels drawn share a factor. */
static int finds(double step, double jitter, size_t levels, double low, int runs, int *right,
                 int *covered) {
    sim_rng rng = sim_rng_seed(77 + (uint64_t)(step * 1000) + levels);
    double x[1024];
    int found = 0;
    *right = *covered = 0;
    for (int r = 0; r < runs; r++) {
        unsigned common = 0, first = 0;
        double sum = 0, squares = 0;
        for (size_t k = 0; k < levels; k++) {
            double us = 1000 + 1000 * sim_rng_uniform(&rng);
            if (step > 0) {
                unsigned number = (unsigned)lround(us / step);
                first = k == 0 ? number : first;
                common = common_factor(common, number > first ? number - first : first - number);
                us = number * step;
            }
            sum += us - 1500;
            squares += (us - 1500) * (us - 1500);
            x[k] = us + jitter * sim_rng_normal(&rng);
        }
        spw_lattice lattice;
        assert_int_equal(spw_find_lattice(x, levels, low, 60, &lattice), SPW_OK);
        if (isnan(lattice.step))
            continue;
        found++;
        double grid = common * step;
        /* a slope through the levels with the true noise; 4.5 of its standard deviations */
        double spread = sqrt(squares - sum * sum / (double)levels) / grid;
        if (fabs(lattice.step - grid) <= 4.5 * jitter / spread + 1e-6)
            (*right)++;
        *covered += fabs(lattice.step - grid) <= 2 * lattice.u + 1e-6;
    }
    print_message("step %g us, jitter %g us, %zu levels: found %d, right %d of %d, within 2 u %d\n",
                  step, jitter, levels, found, *right, runs, *covered);
    return found;
}

/* 4.8828125 us is 12 bits and 19.53125 us 10 bits at 50 Hz (20000/4096, 20000/1024);
 * 2000/255 us is an 8-bit table over the range. Hold levels: jitter 0.3 step averaged over
 * 25 frames. */
static void steps_of_controllers(void **state) {
    (void)state;
    const double step[] = {4.8828125, 19.53125, 8, 1, 2000.0 / 255};
    for (size_t i = 0; i < 5; i++) {
        int right, covered,
            found = finds(step[i], 0.3 * step[i] / 5, 24, 0.5, 100, &right, &covered);
        assert_true(found >= 99 && right == found);
        assert_true(covered >= 85);
    }
}

/* Single frames of an irregular sweep, the whole jitter of 0.3 step in each. */
static void single_frames(void **state) {
    (void)state;
    int right, covered, found = finds(4.8828125, 0.3 * 4.8828125, 1024, 4, 50, &right, &covered);
    assert_true(found >= 45 && right >= found - 1); /* p is at most 0.01 */
}

static void exact_levels(void **state) {
    (void)state;
    int right, covered, found = finds(19.53125, 0, 8, 4, 100, &right, &covered);
    assert_true(found >= 90 && right == found);
}

/* At most 1 % false finds: the bound is far below; 500 runs of each size. */
static void random_levels(void **state) {
    (void)state;
    const size_t levels[] = {8, 12, 30, 200};
    for (size_t i = 0; i < 4; i++) {
        int right, covered;
        assert_true(finds(0, 0, levels[i], i == 0 ? 0.5 : 2, 500, &right, &covered) <= 5);
    }
}

/* Levels picked every 100 us tell nothing about a step of 1 us. */
static void levels_picked_evenly(void **state) {
    (void)state;
    double x[11];
    for (int k = 0; k < 11; k++)
        x[k] = 1000 + 100 * k;
    spw_lattice lattice;
    assert_int_equal(spw_find_lattice(x, 11, 0.5, 60, &lattice), SPW_OK);
    assert_true(isnan(lattice.step));
}

/* Whatever the noise, a step is told only where chance makes it in 1 of 100 at most. */
static void told_only_against_chance(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(31);
    double x[60];
    int told = 0, kept_back = 0;
    for (int run = 0; run < 300; run++) {
        double noise = 0.4 + 0.8 * sim_rng_uniform(&rng); /* of a step of 5 us */
        for (int k = 0; k < 60; k++)
            x[k] = 1000 + 5 * floor(200 * sim_rng_uniform(&rng)) + noise * sim_rng_normal(&rng);
        spw_lattice lattice;
        assert_int_equal(spw_find_lattice(x, 60, 1, 60, &lattice), SPW_OK);
        told += !isnan(lattice.step);
        kept_back += isnan(lattice.step);
        if (!isnan(lattice.step))
            assert_true(lattice.p <= 0.01);
    }
    print_message("%d told, %d not\n", told, kept_back);
    assert_true(told > 30 && kept_back > 30);
}

static void bad_calls(void **state) {
    (void)state;
    double x[8] = {0};
    spw_lattice lattice;
    assert_int_equal(spw_find_lattice(x, 7, 1, 2, &lattice), SPW_ERR_EMPTY);
    assert_int_equal(spw_find_lattice(x, 8, 0, 2, &lattice), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_find_lattice(x, 8, 3, 2, &lattice), SPW_ERR_ARGUMENT);
    assert_int_equal(spw_find_lattice(x, 8, 1, 2, &lattice), SPW_OK);
    assert_true(isnan(lattice.step)); /* all equal */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps_of_controllers),
        cmocka_unit_test(single_frames),
        cmocka_unit_test(exact_levels),
        cmocka_unit_test(random_levels),
        cmocka_unit_test(levels_picked_evenly),
        cmocka_unit_test(bad_calls),
        cmocka_unit_test(told_only_against_chance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
