/* The first pulses after a line came up: odd by more than 5 us, and only where the line was
 * seen at rest before. */
#include "pulses/train.h"
#include "support/hand_channel.h"

#include <math.h>

enum { N = 40 };

/* Pulses of 1500 us and 20 ms, the first `n` of them `off_us` longer, from lead_s on; how many
 * are flagged. */
static size_t flagged(size_t n, double off_us, double lead_s, double resolution_us) {
    spw_pulse pulse[N];
    for (size_t i = 0; i < N; i++) {
        double at_s = lead_s + 0.02 * (double)i, us = 1500 + (i < n ? off_us : 0);
        pulse[i] = (spw_pulse){.lead_s = at_s, .trail_s = at_s + us * 1e-6};
    }
    spw_regime regime = {.period_us = 20000};
    spw_channel c = hand_channel(NULL, 0);
    c.pulse = pulse;
    c.pulses = N;
    c.regime = &regime;
    c.regimes = 1;
    spw_train train = {.from_s = 0, .resolution_us = resolution_us};
    assert_int_equal(spw_first_pulses(&train, &c), SPW_OK);
    size_t first = 0;
    for (size_t i = 0; i < N; i++)
        first += (pulse[i].flags & SPW_PULSE_FIRST) != 0;
    return first;
}

static void far_enough(void **state) {
    (void)state;
    assert_int_equal(flagged(2, 5.1, 1, NAN), 2);
    assert_int_equal(flagged(2, -5.1, 1, NAN), 2);
    assert_int_equal(flagged(2, 4.9, 1, NAN), 0);
    assert_int_equal(flagged(2, 11.9, 1, 4), 0); /* three steps of the recorder */
    assert_int_equal(flagged(2, 12.1, 1, 4), 2);
    assert_int_equal(flagged(5, 100, 1, NAN), 5);
}

/* One and a half frames of rest before. */
static void in_mid_train(void **state) {
    (void)state;
    assert_int_equal(flagged(2, 100, 0.031, NAN), 2);
    assert_int_equal(flagged(2, 100, 0.029, NAN), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(far_enough),
        cmocka_unit_test(in_mid_train),
    };
    return cmocka_run_group_tests_name("power up", tests, NULL, NULL);
}
