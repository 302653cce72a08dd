/* Edges to pulses, frames, holds and events on small trains with known answers. */
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <string.h>

static const sim_part THREE[] = {{100, 1000, 1000, 0}, {100, 1500, 1500, 0}, {100, 2000, 2000, 0}};

static void three_holds(void **state) {
    (void)state;
    sim_train_spec spec = {.part = THREE, .parts = 3, .period_us = 20000, .start_s = 0.3};
    spw_channel c = measured(&spec, 1e6, 0.5, NULL);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    assert_null(c.reason);
    assert_int_equal(c.polarity, SPW_POLARITY_POSITIVE);
    assert_int_equal(c.polarity_basis, SPW_BASIS_WIDTH);
    assert_int_equal(c.pulses, 300);
    assert_int_equal(c.counted, 300);
    assert_int_equal(c.holds, 3);
    for (size_t h = 0; h < 3; h++) {
        assert_int_equal(c.hold[h].pulses, 100);
        assert_true(near(c.hold[h].width_us.mean, 1000 + 500.0 * (double)h, 1e-6));
        assert_true(isnan(c.hold[h].drift_us_per_s));
    }
    assert_int_equal(c.regimes, 1);
    assert_true(near(c.period_us.mean, 20000, 1e-6));
    assert_true(near(c.frame_rate_hz, 50, 1e-8));
    assert_int_equal(c.events, 0);
    assert_int_equal(c.warnings.n, 0);
    assert_true(isnan(c.width_us.u)); /* three holds: no mean to be sure of */
    assert_true(near(c.width_us.floor, 1 / sqrt(6), 1e-12));
    spw_channel_clear(&c);
}

static void jitter_as_jesd65_defines_it(void **state) {
    (void)state;
    /* Own exact example: periods 20003 19995 20003 20005 19993, peak to peak 12;
     * differences -8 8 2 -12, largest 12, rms sqrt((64 + 64 + 4 + 144) / 4). */
    static const double lead[] = {0, 20003, 39998, 60001, 80006, 99999};
    spw_change change[13] = {{0, 0, SPW_LEVEL_LOW}};
    for (size_t i = 0; i < 6; i++) {
        change[1 + 2 * i] = (spw_change){(1000 + lead[i]) * 1e-6, 0, SPW_LEVEL_HIGH};
        change[2 + 2 * i] = (spw_change){(2500 + lead[i]) * 1e-6, 0, SPW_LEVEL_LOW};
    }
    spw_channel c = measured_changes(change, 13, 1e-6, 0.115, NULL);
    assert_int_equal(c.period_us.n, 5);
    assert_true(near(c.period_us.mean, 19999.8, 1e-6));
    assert_true(near(c.period_jitter_pp_us, 12, 1e-6));
    assert_true(near(c.cycle_to_cycle_peak_us, 12, 1e-6));
    assert_true(near(c.cycle_to_cycle_rms_us, sqrt(69), 1e-6));
    assert_true(near(c.width_us.mean, 1500, 1e-6));
    spw_channel_clear(&c);
}

static void events_and_gaps(void **state) {
    (void)state;
    const sim_part part = {400, 1500, 1500, 0};
    const sim_fault fault[] = {{SIM_MISSING, 50, 3, 0, 0},    {SIM_JOINED, 100, 1, 0, 0},
                               {SIM_RUNT, 150, 1, 20, 9000},  {SIM_WIDTH, 200, 2, 1320, 0},
                               {SIM_DROPOUT, 250, 1, 5, 700}, {SIM_WIDTH, 300, 1, 4100, 0}};
    sim_train_spec spec = {.part = &part,
                           .parts = 1,
                           .period_us = 20000,
                           .start_s = -0.0007, /* starts within a pulse */
                           .end_s = 8.2,
                           .fault = fault,
                           .faults = 6};
    spw_channel c = measured(&spec, 8e6, 0.5, NULL);
    uint64_t n = 0;
    assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, &n), 1);
    assert_int_equal(n, 3);
    assert_int_equal(measured_events(&c, SPW_EVENT_JOINED_PULSE, &n), 1);
    assert_int_equal(measured_events(&c, SPW_EVENT_RUNT_PULSE, &n), 2);
    assert_int_equal(n, 3); /* the runt, and the two parts of the dropped-out pulse */
    assert_int_equal(measured_events(&c, SPW_EVENT_ODD_WIDTH, &n), 1);
    assert_int_equal(n, 2);
    assert_int_equal(measured_events(&c, SPW_EVENT_LONG_PULSE, &n), 1);
    assert_int_equal(measured_events(&c, SPW_EVENT_CUT_PULSE, &n), 1);
    assert_int_equal(measured_events(&c, SPW_EVENT_SIGNAL_LOST, &n), 1);
    assert_int_equal(c.last_level, SPW_LEVEL_LOW);
    assert_true(near(c.last_for_s, 8.2 - (399 * 0.02 - 0.0007 + 0.0015), 1e-6));
    /* 400 less 1 cut, 3 missing, 2 joined, 1 dropped out, 1 long */
    assert_int_equal(c.counted, 392);
    assert_int_equal(c.holds, 1);
    assert_int_equal(c.hold[0].pulses, 390); /* less 2 odd ones: frames, but no level */
    /* a period ends at each counted pulse but the first and those after the
     * missing, joined, dropped-out and long ones */
    assert_int_equal(c.period_us.n, 392 - 5);
    assert_true(near(c.period_us.sd, 0, 1e-6));
    spw_channel_clear(&c);
}

static void nothing_to_measure(void **state) {
    (void)state;
    const spw_change low[] = {{0, 0, SPW_LEVEL_LOW}};
    spw_channel c = measured_changes(low, 1, 1e-6, 10, NULL);
    assert_int_equal(c.signal, SPW_SIGNAL_IDLE);
    assert_string_equal(c.reason, "the line stays low: no change of level in 10 s");
    assert_int_equal(c.last_level, SPW_LEVEL_LOW);
    spw_channel_clear(&c);

    const spw_change one[] = {
        {0, 0, SPW_LEVEL_LOW}, {0.1, 0, SPW_LEVEL_HIGH}, {0.1015, 0, SPW_LEVEL_LOW}};
    c = measured_changes(one, 3, 1e-6, 10, NULL);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    assert_string_equal(c.reason, "only one pulse, of 1500.0 us at 0.1000 s: a frame period needs "
                                  "at least two");
    spw_channel_clear(&c);

    c = measured_changes(NULL, 0, 1e-6, 10, NULL);
    assert_int_equal(c.signal, SPW_SIGNAL_IDLE);
    assert_int_equal(c.last_level, SPW_LEVEL_UNKNOWN);
    spw_channel_clear(&c);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_holds),
        cmocka_unit_test(jitter_as_jesd65_defines_it),
        cmocka_unit_test(events_and_gaps),
        cmocka_unit_test(nothing_to_measure),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
