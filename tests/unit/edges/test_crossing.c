/* The interpolator between samples: its kernels have unit gain, are each other's mirror
 * images, and give back what a band-limited signal is in between. */
#include "edges/crossing.h"
#include "support/test.h"

#include <math.h>

enum { TAPS = 48, PHASES = 256 };
#define RATE_HZ 48000.0

static void kernels(void **unused) {
    (void)unused;
    spw_crossing crossing;
    assert_int_equal(spw_crossing_new(RATE_HZ, &crossing), SPW_OK);
    for (int p = 0; p <= PHASES; p++) {
        const double *row = crossing.kernel + p * TAPS, *other = crossing.kernel;
        other += (PHASES - p) * TAPS;
        double sum = 0;
        for (int i = 0; i < TAPS; i++) {
            sum += row[i];
            assert_true(row[i] == other[TAPS - 1 - i]);
        }
        assert_true(fabs(sum - 1) < TAPS * 2.3e-16);
    }
    spw_crossing_free(&crossing);
}

/* A tone at a quarter of the sampling rate, well below the kernels' corner: side lobes are
 * 80 dB down (Kaiser, beta 8). */
static void between_samples(void **unused) {
    (void)unused;
    spw_crossing crossing;
    assert_int_equal(spw_crossing_new(RATE_HZ, &crossing), SPW_OK);
    for (int p = 0; p <= PHASES; p++) {
        const double *row = crossing.kernel + p * TAPS;
        for (double start = 0; start < 3; start += 0.7) {
            double value = 0, place = TAPS / 2 - 1 + (double)p / PHASES;
            for (int i = 0; i < TAPS; i++)
                value += row[i] * sin(M_PI / 2 * i + start);
            assert_true(fabs(value - sin(M_PI / 2 * place + start)) < 1e-4);
        }
    }
    spw_crossing_free(&crossing);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(kernels),
                                       cmocka_unit_test(between_samples)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
