/* NIST Statistical Reference Datasets (public domain): certified values.
 *
 * The digits asked for are what a two-pass sum in double reaches; in NumAcc3
 * and NumAcc4 the rounding of the decimal data itself leaves 9.5 and 8.3. */
#include "support/dataset.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>

typedef struct certified {
    const char *name;
    size_t n;
    double mean, sd, lag1;
    double sd_digits, lag1_digits;
} certified;

static const certified univariate[] = {
    {"NumAcc1.dat", 3, 10000002, 1, -0.5, 15, 15},
    {"NumAcc2.dat", 1001, 1.2, 0.1, -0.999, 14, 14},
    {"NumAcc3.dat", 1001, 1000000.2, 0.1, -0.999, 9.4, 11.5},
    {"NumAcc4.dat", 1001, 10000000.2, 0.1, -0.999, 8.2, 10.5},
    {"Michelso.dat", 100, 299.8524, 0.0790105478190518, 0.535199668621283, 13.5, 13},
    {"Mavro.dat", 50, 2.001856, 0.000429123454003053, 0.937989183438248, 13, 12.8},
    {"Lottery.dat", 218, 518.958715596330, 291.699727470969, -0.120948622967393, 14.5, 13.5},
};

static void univariate_summaries(void **state) {
    (void)state;
    static dataset set;
    for (size_t k = 0; k < sizeof univariate / sizeof *univariate; k++) {
        const certified *c = &univariate[k];
        dataset_read(c->name, &set);
        assert_int_equal(set.rows, c->n);
        spw_summary s;
        assert_int_equal(spw_summarise(set.value, set.rows, &s), SPW_OK);
        double lag1 = spw_lag1(set.value, set.rows);
        printf("%-13s digits: mean %.1f, sd %.1f, lag 1 %.1f\n", c->name, digits(s.mean, c->mean),
               digits(s.sd, c->sd), digits(lag1, c->lag1));
        assert_true(digits(s.mean, c->mean) >= 14.5);
        assert_true(digits(s.sd, c->sd) >= c->sd_digits);
        assert_true(digits(lag1, c->lag1) >= c->lag1_digits);
    }
}

/* The same data in whole tenths are exact in binary, and so is the answer. */
static void whole_ticks_are_exact(void **state) {
    (void)state;
    static dataset set;
    dataset_read("NumAcc4.dat", &set);
    for (size_t i = 0; i < set.rows; i++)
        set.value[i] = round(10 * set.value[i]);
    spw_summary s;
    assert_int_equal(spw_summarise(set.value, set.rows, &s), SPW_OK);
    assert_true(s.mean == 100000002 && s.sd == 1);
}

/* What the data are there to catch: a one-pass sum of squares. */
static void one_pass_would_fail(void **state) {
    (void)state;
    static dataset set;
    dataset_read("NumAcc4.dat", &set);
    double sum = 0;
    double squares = 0;
    for (size_t i = 0; i < set.rows; i++) {
        sum += set.value[i];
        squares += set.value[i] * set.value[i];
    }
    double n = (double)set.rows;
    assert_true((squares - sum * sum / n) / (n - 1) < 0);
}

static void norris_line(void **state) {
    (void)state;
    static dataset set;
    static double x[DATASET_VALUES];
    static double y[DATASET_VALUES];
    dataset_read("Norris.dat", &set); /* columns y x */
    dataset_column(&set, 0, y);
    dataset_column(&set, 1, x);
    spw_line line;
    assert_int_equal(spw_fit_line(x, y, set.rows, &line), SPW_OK);
    assert_int_equal(line.n, 36);
    assert_true(digits(line.intercept, -0.262323073774029) >= 11.5);
    assert_true(digits(line.slope, 1.00211681802045) >= 13);
    assert_true(digits(line.u_intercept, 0.232818234301152) >= 12);
    assert_true(digits(line.u_slope, 0.429796848199937e-3) >= 12);
    assert_true(digits(line.residual_sd, 0.884796396144373) >= 12);
    assert_true(digits(line.correlation * line.correlation, 0.999993745883712) >= 14);
    /* Not certified; computed in rational arithmetic. */
    assert_true(digits(line.covariance, -7.74327536315644e-05) >= 12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(univariate_summaries),
        cmocka_unit_test(whole_ticks_are_exact),
        cmocka_unit_test(one_pass_would_fail),
        cmocka_unit_test(norris_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
