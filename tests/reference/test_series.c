/* Published series: NIST SP 1065 (Riley 2008) test suites, Fisher's g, the Nile,
 * Pearson's line with York's weights. */
#include "support/dataset.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>

static void close_to(double value, double expected, double within) {
    if (!(fabs(value - expected) <= within))
        fail_msg("%.15g is not %.15g within %g", value, expected, within);
}

static double rms(const double *x, size_t n) {
    spw_summary s;
    assert_int_equal(spw_summarise(x, n, &s), SPW_OK);
    return sqrt(s.mean * s.mean + s.sd * s.sd * (double)(n - 1) / (double)n);
}

/* Replaces x by its differences; returns how many. */
static size_t differences(double *x, size_t n) {
    for (size_t i = 0; i + 1 < n; i++)
        x[i] = x[i + 1] - x[i];
    return n - 1;
}

static double slope(const double *y, size_t n) {
    static double x[DATASET_VALUES];
    spw_line line;
    for (size_t i = 0; i < n; i++)
        x[i] = (double)i;
    assert_int_equal(spw_fit_line(x, y, n, &line), SPW_OK);
    return line.slope;
}

static void sp1065_small(void **state) {
    (void)state;
    static dataset set;
    dataset_read("sp1065_9.dat", &set);
    spw_summary s;
    assert_int_equal(spw_summarise(set.value, set.rows, &s), SPW_OK);
    close_to(s.mean, 788.8889, 5e-5);
    close_to(s.sd, 100.9770, 5e-5);
    assert_true(s.min == 644 && s.max == 903 && s.median == 809);
    close_to(slope(set.value, 9), -10.2, 0.05);
    /* Adjacent differences (cycle-to-cycle): sqrt 2 times the Allan deviation;
     * second differences: sqrt 6 times the Hadamard deviation. */
    size_t n = differences(set.value, 9);
    close_to(rms(set.value, n), sqrt(2) * 91.22945, 1e-5);
    n = differences(set.value, n);
    close_to(rms(set.value, n), sqrt(6) * 70.80607, 2e-5);
}

static void read_large(dataset *set) {
    dataset_read("sp1065_1000.dat", set);
    assert_int_equal(set->rows, 1000);
    for (size_t i = 0; i < set->rows; i++)
        set->value[i] /= 2147483647.0;
}

static void sp1065_large(void **state) {
    (void)state;
    static dataset set;
    read_large(&set);
    spw_summary s;
    assert_int_equal(spw_summarise(set.value, 1000, &s), SPW_OK);
    close_to(s.mean, 0.48977446286, 6e-12);
    close_to(s.sd, 0.28846636471, 6e-12);
    close_to(s.min, 0.00137175992, 6e-12);
    close_to(s.max, 0.99574529426, 6e-12);
    close_to(s.median, 0.47988492995, 6e-12);
    close_to(slope(set.value, 1000), 6.490910e-06, 6e-13);
    size_t n = differences(set.value, 1000);
    close_to(rms(set.value, n), sqrt(2) * 2.922319e-01, 1e-7);
    n = differences(set.value, n);
    close_to(rms(set.value, n), sqrt(6) * 2.943883e-01, 2e-7);
}

/* The same set's periodogram: two other programs agree to 12 digits on
 * g = 0.011542101901 at bin 491 of 499, p = 0.80356, and on X500. */
static void sp1065_strongest_line(void **state) {
    (void)state;
    static dataset set;
    read_large(&set);
    double at = 0;
    double amplitude = 0;
    double p = 0;
    assert_int_equal(spw_strongest_line(set.value, 1000, &at, &amplitude, &p), SPW_OK);
    assert_true(at == 0.491);
    close_to(p, 0.80356, 5e-6);
    close_to(spw_fisher_g_p(0.011542101901, 499), p, 1e-9);
    double squares = 999 * pow(0.28846636471, 2); /* Parseval: the sum over bins 1 .. 499 */
    double total = (1000 * squares - pow(7.14157679777, 2)) / 2;
    close_to(amplitude, 2 * sqrt(0.011542101901 * total) / 1000, 1e-10);
}

/* Exact distribution (Fuller 1996, p. 363), 60-digit arithmetic; the digits of
 * the tabulated g leave m 5E-10 of p. */
static void fisher_table(void **state) {
    (void)state;
    static dataset set;
    dataset_read("fisher_g.tsv", &set);
    assert_int_equal(set.columns, 6);
    const double p[] = {0.10, 0.05, 0.01};
    for (size_t row = 0; row < set.rows; row++)
        for (size_t k = 0; k < 3; k++) {
            const double *line = set.value + 6 * row;
            close_to(spw_fisher_g_p(line[2 + k], (size_t)line[0]), p[k], p[k] * 5e-8);
        }
    close_to(spw_fisher_g_p(1 - pow(10, -0.5), 5), 0.05, 1e-15); /* closed form */
    double worked = spw_fisher_g_p(0.0381, 499); /* published as 2.0163E-06 for unrounded g */
    assert_true(worked > 1.93e-6 && worked < 2.03e-6);
}

typedef struct cut {
    size_t n, end[16];
    double rss;
} cut;

static cut segment(const double *x, size_t n, double scale, double penalty, size_t minimum) {
    size_t *ends = NULL;
    cut c = {0};
    assert_int_equal(spw_change_points(x, n, scale, penalty, minimum, &ends, &c.n), SPW_OK);
    assert_true(c.n <= 16);
    size_t start = 0;
    for (size_t k = 0; k < c.n; k++) {
        spw_summary s;
        c.end[k] = ends[k];
        assert_int_equal(spw_summarise(x + start, ends[k] - start, &s), SPW_OK);
        if (s.n > 1)
            c.rss += s.sd * s.sd * (double)(s.n - 1);
        start = ends[k];
    }
    free(ends);
    return c;
}

/* Annual flow of the Nile 1871-1970 (Cobb 1978): one change, after 1898. Values
 * by strucchange in R and by exhaustive search. */
static void nile(void **state) {
    (void)state;
    static dataset set;
    dataset_read("nile.dat", &set);
    const double *x = set.value;
    size_t n = set.rows;
    assert_int_equal(n, 100);
    cut none = segment(x, n, 1, 1.3e6, 1);
    assert_int_equal(none.n, 1);
    close_to(none.rss, 2835156.75, 1e-6);
    const double penalties[] = {1e5, 4e5, 1.2e6};
    for (int k = 0; k < 3; k++) {
        cut one = segment(x, n, 1, penalties[k], 1);
        assert_int_equal(one.n, 2);
        assert_int_equal(one.end[0], 28);
        close_to(one.rss, 1597457.19444444, 1e-6);
    }
    assert_int_equal(segment(x, n, 1, 50000, 1).n, 12);
    const double totals[] = {107.2103404, 111.8155106}; /* they differ by ln 100 */
    for (int k = 0; k < 2; k++) {
        double penalty = (2 + k) * log(100);
        cut one = segment(x, n, sqrt(16300.5836), penalty, 1);
        assert_int_equal(one.n, 2);
        assert_int_equal(one.end[0], 28);
        close_to(one.rss / 16300.5836 + penalty, totals[k], 1e-6);
    }
}

/* Pearson's data with York's weights; intercept, slope and chi-squared in many
 * published suites (York et al. 2004, Table II). The standard uncertainties are
 * York 2004's: not scaled by sqrt(chi2/(n-2)), at the adjusted points. */
static void pearson_york(void **state) {
    (void)state;
    static dataset set;
    static double column[4][DATASET_VALUES];
    dataset_read("pearson_york.dat", &set);
    assert_int_equal(set.columns, 4); /* x w(x) y w(y) */
    for (size_t k = 0; k < 4; k++)
        dataset_column(&set, k, column[k]);
    for (size_t i = 0; i < set.rows; i++) {
        column[1][i] = 1 / sqrt(column[1][i]);
        column[3][i] = 1 / sqrt(column[3][i]);
    }
    spw_line line;
    double chi2 = 0;
    assert_int_equal(
        spw_fit_line_xy(column[0], column[1], column[2], column[3], set.rows, &line, &chi2),
        SPW_OK);
    close_to(line.intercept, 5.47991022403287, 1e-12);
    close_to(line.slope, -0.480533407446202, 1e-13);
    close_to(chi2, 11.8663531940614, 1e-11);
    close_to(line.u_intercept, 0.294970735493, 1e-11);
    close_to(line.u_slope, 0.0579850090008, 1e-12);
    close_to(line.u_slope * sqrt(chi2 / 8), 0.0706202695288, 1e-12);
    close_to(line.u_intercept * sqrt(chi2 / 8), 0.359246522551, 1e-11);
    /* Equal uncertainties: Deming's line, ratio 1. */
    for (size_t i = 0; i < set.rows; i++)
        column[1][i] = column[3][i] = 0.3;
    assert_int_equal(
        spw_fit_line_xy(column[0], column[1], column[2], column[3], set.rows, &line, &chi2),
        SPW_OK);
    close_to(line.slope, -0.545561197521, 1e-11);
    close_to(line.intercept, 5.784043774530, 1e-10);
    assert_int_equal(spw_fit_line(column[0], column[2], set.rows, &line), SPW_OK);
    close_to(line.slope, -0.539577, 5e-7);
    close_to(line.intercept, 5.761185, 5e-7);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sp1065_small),
        cmocka_unit_test(sp1065_large),
        cmocka_unit_test(sp1065_strongest_line),
        cmocka_unit_test(fisher_table),
        cmocka_unit_test(nile),
        cmocka_unit_test(pearson_york),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
