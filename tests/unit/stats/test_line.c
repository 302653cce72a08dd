#include "support/test.h"

#include <math.h>

static void two_points_and_exact_lines(void **state) {
    (void)state;
    const double x[] = {1000, 2000, 1500};
    const double y[] = {500, 2500, 1500};
    spw_line line;
    assert_int_equal(spw_fit_line(x, y, 2, &line), SPW_OK);
    assert_true(fabs(line.slope - 2) < 1e-14 && fabs(line.intercept + 1500) < 1e-10);
    assert_true(isnan(line.u_slope) && isnan(line.u_intercept) && isnan(line.covariance) &&
                isnan(line.residual_sd));
    assert_int_equal(spw_fit_line(x, y, 3, &line), SPW_OK);
    assert_true(line.residual_sd < 1e-9 && fabs(line.correlation - 1) < 1e-15 && line.n == 3);
}

/* x 0 1 2 3, y 1 3 2 5: slope 11/10, intercept 11/10, residuals squared 2.7. */
static void by_hand(void **state) {
    (void)state;
    const double x[] = {0, 1, 2, 3};
    const double y[] = {1, 3, 2, 5};
    spw_line line;
    assert_int_equal(spw_fit_line(x, y, 4, &line), SPW_OK);
    assert_true(fabs(line.slope - 1.1) < 1e-14 && fabs(line.intercept - 1.1) < 1e-14);
    assert_true(fabs(line.residual_sd - sqrt(1.35)) < 1e-14);
    assert_true(fabs(line.u_slope - sqrt(1.35 / 5)) < 1e-14);
    assert_true(fabs(line.u_intercept - sqrt(1.35 * 14 / 20)) < 1e-14);
    assert_true(fabs(line.covariance + 1.35 * 1.5 / 5) < 1e-14);
}

static void refusals(void **state) {
    (void)state;
    const double x[] = {3, 3, 3};
    const double y[] = {1, 2, 3};
    const double u[] = {1, 1, 1};
    const double none[] = {0, 0, 0};
    spw_line line = {.slope = 7};
    double chi2 = 7;
    assert_int_equal(spw_fit_line(x, y, 1, &line), SPW_ERR_EMPTY);
    assert_int_equal(spw_fit_line(x, y, 3, &line), SPW_ERR_NUMERIC);
    assert_int_equal(spw_fit_line_xy(x, u, y, u, 1, &line, &chi2), SPW_ERR_EMPTY);
    assert_int_equal(spw_fit_line_xy(y, none, x, none, 3, &line, &chi2), SPW_ERR_ARGUMENT);
    assert_true(line.slope == 7 && chi2 == 7);
    /* A level line is a line; correlation is not defined. */
    assert_int_equal(spw_fit_line(y, x, 3, &line), SPW_OK);
    assert_true(line.slope == 0 && isnan(line.correlation));
    assert_int_equal(spw_fit_line_xy(y, u, x, u, 3, &line, &chi2), SPW_OK);
    assert_true(line.slope == 0 && chi2 == 0);
}

/* Without uncertainty in x and with one for all y it is ordinary least squares. */
static void xy_becomes_ordinary(void **state) {
    (void)state;
    const double x[] = {0, 1, 2, 3};
    const double y[] = {1, 3, 2, 5};
    const double none[] = {0, 0, 0, 0};
    const double u[] = {0.5, 0.5, 0.5, 0.5};
    spw_line plain;
    spw_line line;
    double chi2 = 0;
    assert_int_equal(spw_fit_line(x, y, 4, &plain), SPW_OK);
    assert_int_equal(spw_fit_line_xy(x, none, y, u, 4, &line, &chi2), SPW_OK);
    assert_true(fabs(line.slope - plain.slope) < 1e-14);
    assert_true(fabs(line.intercept - plain.intercept) < 1e-14);
    assert_true(fabs(chi2 - 2.7 / 0.25) < 1e-12);
    double scale = sqrt(chi2 / 2);
    assert_true(fabs(line.u_slope * scale - plain.u_slope) < 1e-14);
    assert_true(fabs(line.u_intercept * scale - plain.u_intercept) < 1e-14);
    assert_true(fabs(line.covariance * scale * scale - plain.covariance) < 1e-14);
    /* And the other way round it is the regression of x on y. */
    spw_line reverse;
    assert_int_equal(spw_fit_line(y, x, 4, &reverse), SPW_OK);
    assert_int_equal(spw_fit_line_xy(x, u, y, none, 4, &line, &chi2), SPW_OK);
    assert_true(fabs(line.slope - 1 / reverse.slope) < 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_points_and_exact_lines),
        cmocka_unit_test(by_hand),
        cmocka_unit_test(refusals),
        cmocka_unit_test(xy_becomes_ordinary),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
