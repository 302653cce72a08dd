/* JCGM 100:2008 (GUM) and JCGM 106:2012: tables and worked examples. Printed
 * values marked "from memory" were not read in the document for this test. */
#include "support/dataset.h"
#include "support/test.h"

#include <math.h>

static void close_to(double value, double expected, double within) {
    if (!(fabs(value - expected) <= within))
        fail_msg("%.15g is not %.15g within %g", value, expected, within);
}

/* Table G.2, recomputed to 8 decimals. The 68.27, 95.45 and 99.73 % columns
 * mean p = erf(k/sqrt 2): with 0.9973 flat, one degree of freedom gives 235.78
 * where the table prints 235.80. */
static void table_g2(void **state) {
    (void)state;
    static dataset set;
    dataset_read("t_factors.tsv", &set);
    assert_int_equal(set.columns, 7);
    const double p[] = {erf(sqrt(0.5)), 0.90, 0.95, erf(2 / sqrt(2)), 0.99, erf(3 / sqrt(2))};
    for (size_t row = 0; row < set.rows; row++)
        for (size_t k = 0; k < 6; k++) {
            const double *line = set.value + 7 * row;
            close_to(spw_coverage_factor(p[k], line[0]), line[k + 1],
                     1.1e-8 * fmax(1, line[k + 1]));
        }
    close_to(spw_coverage_factor(0.9973, 1), 235.78, 0.005);
}

/* Annex H.1, end gauge: the chain of unrounded values (GUM prints 32 nm, 16.7
 * and U99 = 93 nm; from memory). */
static void end_gauge(void **state) {
    (void)state;
    double u = 0;
    double dof = 0;
    const spw_component comparison[] = {{5.8, 24}, {3.9, 5}, {6.7, 8}};
    spw_combine(comparison, 3, &u, &dof);
    close_to(u, 9.68194195397, 1e-11);
    close_to(dof, 25.4472507774, 1e-10);
    /* 50 mm nominal; 0.1 degC and 1E-6/degC; 11.5E-6/degC and 0.05 degC, in nm. */
    const spw_component all[] = {{25, 18},
                                 {u, dof},
                                 {50e6 * 0.1 * 1e-6 / sqrt(3), 50},
                                 {50e6 * 11.5e-6 * 0.05 / sqrt(3), 2}};
    spw_combine(all, 4, &u, &dof);
    close_to(u, 31.6637674111, 1e-10);
    close_to(dof, 16.7521475092, 1e-10);
    close_to(spw_coverage_factor(0.99, floor(dof)) * round(u), 93, 0.5);
}

/* G.4.1: relative standard uncertainties 0.25, 0.57, 0.82 % of 10, 5 and 15
 * readings; GUM prints 1.03 %, 19.0, t = 2.09 (from memory). */
static void product_of_three(void **state) {
    (void)state;
    double u = 0;
    double dof = 0;
    const spw_component relative[] = {{0.25, 9}, {0.57, 4}, {0.82, 14}};
    spw_combine(relative, 3, &u, &dof);
    close_to(u, 1.03, 0.005);
    close_to(u, 1.0295, 5e-5);
    close_to(dof, 18.9987, 5e-5);
    close_to(spw_coverage_factor(0.95, 19), 2.09, 0.005);
    close_to(spw_coverage_factor(0.95, dof) * u, 2.2, 0.05);
}

static void equal_and_boundless_components(void **state) {
    (void)state;
    double u = 0;
    double dof = 0;
    const spw_component four[] = {{1, 10}, {1, 10}, {1, 10}, {1, 10}};
    spw_combine(four, 4, &u, &dof);
    close_to(u, 2, 1e-15);
    close_to(dof, 40, 1e-12);
    const spw_component type_b[] = {{3, INFINITY}, {4, INFINITY}, {0, 3}};
    spw_combine(type_b, 3, &u, &dof);
    assert_true(u == 5 && isinf(dof));
    spw_combine(NULL, 0, &u, &dof);
    assert_true(u == 0 && isinf(dof));
}

/* Annex H.3, thermometer calibration (Table H.6), t0 = 20 degC. */
static void thermometer(void **state) {
    (void)state;
    static dataset set;
    static double t[DATASET_VALUES];
    static double b[DATASET_VALUES];
    dataset_read("gum_h3.dat", &set);
    dataset_column(&set, 0, t);
    dataset_column(&set, 1, b);
    double mean = 0;
    for (size_t i = 0; i < set.rows; i++) {
        t[i] -= 20;
        mean += t[i] / (double)set.rows;
    }
    spw_line line;
    assert_int_equal(spw_fit_line(t, b, set.rows, &line), SPW_OK);
    close_to(line.intercept, -0.1712, 5e-5);
    close_to(line.u_intercept, 0.0029, 5e-5);
    close_to(line.slope, 0.00218, 5e-6);
    close_to(line.u_slope, 0.00067, 5e-6);
    close_to(line.covariance / (line.u_intercept * line.u_slope), -0.930, 5e-4);
    /* Recomputed exactly. */
    close_to(line.intercept, -0.17120379013135, 1e-13);
    close_to(line.u_intercept, 0.00287759783515995, 1e-14);
    close_to(line.slope, 0.00218269773988727, 1e-14);
    close_to(line.u_slope, 0.000667938773227832, 1e-14);
    close_to(line.covariance / (line.u_intercept * line.u_slope), -0.930429603093446, 1e-11);
    close_to(line.residual_sd, 0.00349756396350528, 1e-14);
    /* Correction at 30 degC: -0.1494(41). */
    close_to(line.intercept + 10 * line.slope, -0.149376812732477, 1e-13);
    double u = sqrt(line.u_intercept * line.u_intercept + 100 * line.u_slope * line.u_slope +
                    20 * line.covariance);
    close_to(u, 0.00413859575285495, 1e-13);
    /* H.3.6: all readings share an offset of standard uncertainty 0.005. */
    double dof = 0;
    const spw_component parts[] = {{line.u_intercept, 9}, {0.005, INFINITY}};
    spw_combine(parts, 2, &u, &dof);
    close_to(u, 0.00576893138292676, 1e-14);
    close_to(dof, 145.37964721007, 1e-8);
    /* t0 at the mean reading: intercept and slope no longer correlate. */
    for (size_t i = 0; i < set.rows; i++)
        t[i] -= mean;
    assert_int_equal(spw_fit_line(t, b, set.rows, &line), SPW_OK);
    close_to(line.intercept, -0.162454545454545, 1e-14);
    close_to(line.u_intercept, 0.00105455521338, 1e-14);
    close_to(line.covariance, 0, 1e-18);
}

/* JCGM 106 clause 7 (examples and clause from memory, arithmetic recomputed). */
static void conformity(void **state) {
    (void)state;
    close_to(spw_conformity(-5.47, 0.05, -INFINITY, -5.40), 0.9192433407662, 1e-12);
    close_to(spw_conformity(509.7, 8.6, 490, INFINITY), 0.9890095473849, 1e-12);
    close_to(spw_conformity(13.6, 1.8, 12.5, 16.3), 0.6626297864953, 1e-12);
    /* Guard band w = U = 2u, result on the acceptance limit. */
    close_to(spw_conformity(98, 1, -INFINITY, 100), 0.977249868, 5e-10);
    const double p[] = {0.80, 0.90, 0.95, 0.99, 0.999};
    const double z[] = {0.841621, 1.281552, 1.644854, 2.326348, 3.090232};
    for (int i = 0; i < 5; i++) {
        close_to(spw_coverage_factor(2 * p[i] - 1, INFINITY), z[i], 6e-7);
        close_to(spw_conformity(0, 1, -INFINITY, z[i]), p[i], 2e-7);
    }
}

/* A pulse of constant width W between two edges rounded by one clock of period
 * T: the count is floor or ceil, its mean is exact and its variance
 * T^2 f (1 - f), f the fraction of W/T; T^2/6 is the mean over f. */
static void quantised_width(void **state) {
    (void)state;
    enum { PHASES = 4000, FRACTIONS = 40 };
    static double count[PHASES];
    double mean_variance = 0;
    for (int k = 0; k < FRACTIONS; k++) {
        double f = k / (double)FRACTIONS;
        for (int i = 0; i < PHASES; i++) {
            double lead = (i + 0.5) / PHASES;
            count[i] = floor(lead + 1500 + f) - floor(lead);
        }
        spw_summary s;
        assert_int_equal(spw_summarise(count, PHASES, &s), SPW_OK);
        double variance = s.sd * s.sd * (PHASES - 1) / PHASES;
        close_to(s.mean, 1500 + f, 1e-9);
        close_to(variance, f * (1 - f), 1e-9);
        mean_variance += variance / FRACTIONS;
    }
    /* Sum over the grid of f: 1/6 less 1/(6 FRACTIONS^2). */
    close_to(mean_variance, 1.0 / 6 - 1.0 / (6.0 * FRACTIONS * FRACTIONS), 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(table_g2),         cmocka_unit_test(end_gauge),
        cmocka_unit_test(product_of_three), cmocka_unit_test(equal_and_boundless_components),
        cmocka_unit_test(thermometer),      cmocka_unit_test(conformity),
        cmocka_unit_test(quantised_width),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
