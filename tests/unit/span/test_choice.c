/* Which level is neutral, and from when on a clock is off: each just inside and just outside. */
#include "support/hand_channel.h"

static double neutral_of(size_t frames_near, size_t frames_far) {
    spw_hold hold[] = {hand_hold(0, 1000, 0.01, 100), hand_hold(3, 2000, 0.01, 100),
                       hand_hold(6, 1450, 0.01, frames_near),
                       hand_hold(12, 1620, 0.01, frames_far)};
    spw_channel channel = hand_channel(hold, 4);
    const spw_channel *channels[] = {&channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    return span.neutral.us;
}

/* The level that lasted longest is neutral when it lasted a quarter longer than any other;
 * else the one nearest to 1500 us. */
static void neutral_lasts_clearly_longer(void **state) {
    (void)state;
    assert_near(neutral_of(100, 124), 1450, 1e-9);
    assert_near(neutral_of(100, 126), 1620, 1e-9);
    assert_near(neutral_of(126, 100), 1450, 1e-9);
}

static spw_clock clock_of(double by, double U95_us, double u_period_us) {
    spw_span span = hand_span(1000 * by, 1500 * by, 2000 * by, U95_us);
    spw_controller asked = spw_bench_defaults().controller;
    spw_summary period = spw_summary_none();
    asked.asked_low_us = 1000;
    asked.asked_neutral_us = 1500;
    asked.asked_high_us = 2000;
    asked.asked_frame_us = 20000;
    period.n = 1000;
    period.mean = 20000 * by;
    period.u = u_period_us;
    return spw_clock_check(&span, &period, &asked);
}

/* 0.2 % is nobody's fault; more is a clock's, unless the measurement is no better. With u of
 * each level the ratio's is u sqrt(1000^2 + 1500^2 + 2000^2) / (1000^2 + 1500^2 + 2000^2). */
static void a_clock_is_off_beyond_its_uncertainty(void **state) {
    (void)state;
    assert_int_equal(clock_of(1.0019, 0.1, 0.01).verdict, SPW_CLOCK_AGREES);
    assert_int_equal(clock_of(1.0021, 0.1, 0.01).verdict, SPW_CLOCK_SCALED);
    double U95 = 1.959963984540054 * 7.0, u = 7 / sqrt(1e6 + 2.25e6 + 4e6);
    assert_near(clock_of(1.004, U95, 0.01).u_width_ratio, u, 1e-6);
    assert_int_equal(clock_of(1 + 1.9 * u, U95, u * 20000).verdict, SPW_CLOCK_AGREES);
    assert_int_equal(clock_of(1 + 2.1 * u, U95, u * 20000).verdict, SPW_CLOCK_SCALED);
}

/* A prescaler's factor is a power of two within 3 %, an RC oscillator's error included. */
static void a_prescaler_is_a_power_of_two(void **state) {
    (void)state;
    assert_int_equal(clock_of(2 * 1.029, 0.1, 0.01).verdict, SPW_CLOCK_DOUBLED);
    assert_int_equal(clock_of(2 * 1.031, 0.1, 0.01).verdict, SPW_CLOCK_SCALED);
    assert_int_equal(clock_of(0.5 / 1.029, 0.1, 0.01).verdict, SPW_CLOCK_DOUBLED);
    assert_int_equal(clock_of(0.5 / 1.05, 0.1, 0.01).verdict, SPW_CLOCK_SCALED);
}

/* A controller with steps of 20 us cannot send what it is asked for: +-10 us are no clock. */
static void steps_are_no_clock(void **state) {
    (void)state;
    for (int coarse = 0; coarse < 2; coarse++) {
        spw_span span = hand_span(1000 - 9, 1500 + 8, 2000 - 10, 0.1);
        spw_controller asked = spw_bench_defaults().controller;
        asked.asked_low_us = 1000;
        asked.asked_neutral_us = 1500;
        asked.asked_high_us = 2000;
        span.step_us = coarse ? 20 : NAN;
        assert_int_equal(spw_clock_check(&span, NULL, &asked).one_factor, coarse);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(neutral_lasts_clearly_longer),
        cmocka_unit_test(a_clock_is_off_beyond_its_uncertainty),
        cmocka_unit_test(a_prescaler_is_a_power_of_two),
        cmocka_unit_test(steps_are_no_clock),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
