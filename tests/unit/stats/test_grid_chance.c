/* When values show a grid and when they may lie so by chance. */
#include "support/hand_channel.h"

#include <math.h>

enum { N = 12 };

/* Twelve values on a grid of 10, each `off` to either side of it, in any order. */
static double step_of(double off, size_t n, double low, double high) {
    static const int number[N] = {100, 143, 107, 131, 119, 150, 112, 138, 125, 146, 103, 134};
    static const int side[N] = {1, 1, -1, 1, -1, -1, 1, -1, 1, -1, -1, 1};
    double x[N];
    for (size_t i = 0; i < n; i++)
        x[i] = 10 * number[i] + off * side[i];
    spw_lattice found;
    spw_status status = spw_find_lattice(x, n, low, high, &found);
    if (status != SPW_OK) {
        assert_int_equal(status, SPW_ERR_EMPTY);
        return NAN;
    }
    return found.step;
}

/* The mean of the phases is cos(2 pi off / 10) long. With 12 values over 500 and steps from 2 to
 * 60 the bound on its chance, worked out apart from this program with Bessel functions by
 * summing, is 0.0065 for 0.5, 0.044 for 0.6 and 0.21 for 0.7; for one frequency's neighbours
 * alone, without what may lie between them, it would be 16 times less at 0.6. */
static void chance_of_a_grid(void **state) {
    (void)state;
    assert_near(step_of(0, N, 2, 60), 10, 1e-6);
    assert_near(step_of(0.45, N, 2, 60), 10, 0.02);
    assert_true(isnan(step_of(0.6, N, 2, 60)));
    assert_true(isnan(step_of(0.7, N, 2, 60)));
}

static void values_enough(void **state) {
    (void)state;
    assert_near(step_of(0, 8, 8, 60), 10, 1e-6);
    assert_true(isnan(step_of(0, 7, 8, 60)));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chance_of_a_grid),
        cmocka_unit_test(values_enough),
    };
    return cmocka_run_group_tests_name("grid", tests, NULL, NULL);
}
