/* What counting in samples does to a mean width, against what is plain: an edge that always
 * falls into one place of a sample is off by up to half of it, one that visits two places by
 * up to a quarter, one that sweeps all of it by nothing. U95 of two such edges of which one
 * may lie on the samples is all of the one's error and 95 % of the other's. */
#include "pulses/train.h"
#include "support/hand_channel.h"

#include <math.h>

enum { N = 100 };
#define K95 1.959963984540054

/* U95 in samples of 1 us: frames of period_us, leads and trails thrown to either side in turn. */
static double bound(size_t n, double period_us, double lead_us, double trail_us, double u_us) {
    double lead_s[N], width_us[N];
    assert_true(n <= N);
    for (size_t i = 0; i < n; i++) {
        double side = i % 2 == 0 ? 1 : -1;
        lead_s[i] = ((double)i * period_us + side * lead_us) * 1e-6;
        width_us[i] = 1500 + side * (trail_us - lead_us);
    }
    return K95 * spw_sampling_u(lead_s, width_us, n, period_us, 1, u_us);
}

static void locked_edges(void **state) {
    (void)state;
    assert_near(bound(N, 20000, 0, 0, 0), 0.5 + 0.95 * 0.5, 0.01);
    assert_near(bound(2, 20000, 0, 0, 0), 0.975, 0.01);  /* too few to tell */
    assert_near(bound(N, 20000.5, 0, 0, 0), 0.49, 0.01); /* two places */
    assert_near(bound(N, 20000.25, 0, 0, 0), 0.245, 0.01);
    double sweep = bound(N, 20000.01, 0, 0, 0); /* each place once */
    assert_true(sweep > 0 && sweep < 0.35);
    assert_near(spw_sampling_u((double[]){0}, (double[]){1500}, 1, 20000, 0, 0), 0, 0);
}

/* Scatter of the mean comes beside it: 0.975 and 1.645 u at once (one side, 5 %). */
static void beside_scatter(void **state) {
    (void)state;
    double u = bound(N, 20000, 0, 0, 0.2) / K95;
    assert_near(K95 * hypot(u, 0.2), 0.975 + 1.645 * 0.2, 0.01);
}

/* One edge that is thrown by a whole sample visits all places; the other may be half one off,
 * with an rms of 1/root 12. */
static void one_edge_dithered(void **state) {
    (void)state;
    assert_near(bound(N, 20000, 0, 1, 0), K95 / sqrt(12), 0.01);
    assert_near(bound(N, 20000, 1, 0, 0), K95 / sqrt(12), 0.01);
    assert_true(bound(N, 20000, 1, 1, 0) < 0.02);
    /* less than half a sample is what rounding by itself shows */
    assert_near(bound(N, 20000, 0.45, 0.45, 0), 0.975, 0.02);
    /* sd 0.6: exp(-2 pi^2 (0.36 - 0.25)) = 0.114 of 0.975 times the root of 6/pi^2, 0.78 */
    assert_near(bound(N, 20000, 0.6, 0.6, 0), 0.114 * 0.975 * 0.78, 0.015);
}

/* Few frames never average an edge away: sharp corners of the sawtooth are left. */
static void something_remains(void **state) {
    (void)state;
    assert_true(bound(4, 20000, 3, 3, 0) > 0.02);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(locked_edges),
        cmocka_unit_test(beside_scatter),
        cmocka_unit_test(one_edge_dithered),
        cmocka_unit_test(something_remains),
    };
    return cmocka_run_group_tests_name("sampling", tests, NULL, NULL);
}
