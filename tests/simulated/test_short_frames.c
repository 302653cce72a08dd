/* Frames that are far too short are told, and shown in the figures of the frame; nothing is
 * told of what is only jitter, missing frames or another frame period. */
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>

static size_t short_frames(const spw_channel *c, uint64_t *count) {
    return measured_events(c, SPW_EVENT_SHORT_FRAME, count);
}

static double value_of(const spw_channel *c, spw_event_kind kind) {
    for (size_t i = 0; i < c->events; i++)
        if (c->event[i].kind == kind)
            return c->event[i].value_us;
    return NAN;
}

/* A single frame of 9.35 ms among frames of 20.0137 ms. */
static void one_short_frame(void **state) {
    (void)state;
    static const double shorts[] = {9350, 3000, 12000, 19000};
    for (size_t i = 0; i < 4; i++) {
        const sim_part part[] = {{100, 1000, 1000, 0},
                                 {20, 2000, 2000, 0},
                                 {1, 2000, 2000, shorts[i]},
                                 {80, 2000, 2000, 0}};
        sim_train_spec spec = {.part = part, .parts = 4, .period_us = 20013.7, .start_s = 0.01};
        spw_channel c = measured(&spec, 10e6, 0.3, NULL);
        uint64_t n = 0;
        assert_int_equal(short_frames(&c, &n), 1);
        assert_int_equal(n, 1);
        assert_int_equal(c.events, 1);
        assert_true(near(value_of(&c, SPW_EVENT_SHORT_FRAME), shorts[i], 0.2));
        assert_true(near(c.event[0].at_s, 0.01 + 120 * 0.0200137, 1e-6));
        assert_true(near(c.period_us.mean, 20013.7, 0.02)); /* of the even frames */
        assert_true(near(c.period_us.sd, 0, 0.06));
        assert_true(near(c.period_us.min, shorts[i], 0.2));
        assert_true(near(c.period_jitter_pp_us, 20013.7 - shorts[i], 0.3));
        assert_true(near(c.cycle_to_cycle_peak_us, 20013.7 - shorts[i], 0.3));
        assert_true(near(c.least_frame_us, 20013.7, 0.2));
        assert_true(c.lead_jitter_us < 0.1 && c.trail_jitter_us < 0.1);
        assert_int_equal(c.regimes, 1);
        assert_int_equal(c.counted, 201);
        spw_channel_clear(&c);
    }
}

/* Half a frame, exactly: the limit between one frame and none. */
static void half_a_frame(void **state) {
    (void)state;
    const sim_part part[] = {{60, 1500, 1500, 0}, {1, 1500, 1500, 10000}, {60, 1500, 1500, 0}};
    sim_train_spec spec = {.part = part, .parts = 3, .period_us = 20000, .start_s = 0.01};
    spw_channel c = measured(&spec, 0, 0, NULL);
    assert_int_equal(short_frames(&c, NULL), 1);
    assert_int_equal(c.events, 1);
    spw_channel_clear(&c);
}

static void a_burst_is_one_event(void **state) {
    (void)state;
    const sim_part part[] = {{60, 1500, 1500, 0}, {5, 1500, 1500, 4100}, {60, 1500, 1500, 0}};
    sim_train_spec spec = {
        .part = part, .parts = 3, .period_us = 20000, .start_s = 0.01, .jitter_us = 0.3};
    spw_channel c = measured(&spec, 8e6, 0.3, NULL);
    uint64_t n = 0;
    assert_int_equal(short_frames(&c, &n), 1);
    assert_int_equal(n, 5);
    assert_true(near(c.period_us.mean, 20000, 0.02));
    spw_channel_clear(&c);
}

/* A whole pulse too many in a frame, the frames else as before. */
static void a_pulse_too_many(void **state) {
    (void)state;
    const sim_part part = {120, 1500, 1500, 0};
    const sim_fault fault[] = {{SIM_RUNT, 70, 1, 1500, 9350}};
    sim_train_spec spec = {.part = &part,
                           .parts = 1,
                           .period_us = 20000,
                           .start_s = 0.01,
                           .fault = fault,
                           .faults = 1};
    spw_channel c = measured(&spec, 8e6, 0.3, NULL);
    uint64_t n = 0;
    assert_int_equal(short_frames(&c, &n), 1);
    assert_int_equal(n, 1);
    assert_true(near(value_of(&c, SPW_EVENT_SHORT_FRAME), 9350, 0.2));
    assert_true(near(c.period_us.mean, 20000, 0.02));
    assert_true(near(c.period_us.sd, 0, 0.1));
    spw_channel_clear(&c);
}

/* Lines on which nothing of the kind happens, each with its own sort of unsteadiness. */
static void nothing_where_nothing_is(void **state) {
    (void)state;
    static const double periods[] = {2500, 3003.1, 5000, 9000, 14000, 20000.2};
    static const double rates[] = {0, 100e3, 1e6, 8e6, 24e6};
    for (uint64_t seed = 1; seed <= 300; seed++) {
        sim_rng rng = sim_rng_seed(seed);
        double period_us = periods[seed % 6], rate = rates[seed / 6 % 5];
        sim_fault fault[24];
        for (size_t i = 0; i < 24; i++) {
            double late_us = (0.01 + 0.05 * sim_rng_uniform(&rng)) * period_us;
            size_t frame = (size_t)(600 * sim_rng_uniform(&rng));
            fault[i] = (sim_fault){i % 3 == 0   ? SIM_MISSING
                                   : i % 3 == 1 ? SIM_WIDTH
                                                : SIM_LATE,
                                   frame, 1 + i % 2, i % 3 == 1 ? 1100 : late_us / 4, 0};
        }
        const sim_part part[] = {{300, 1200, 1200, 0},
                                 {300, 1000, 2000, 0},
                                 {seed % 4 == 0 ? 200 : 1, 1500, 1500, 1.12 * period_us}};
        bool software = seed % 3 == 0;
        sim_train_spec spec = {.part = part,
                               .parts = seed % 4 == 0 ? 3 : 2,
                               .period_us = period_us,
                               .start_s = 0.05,
                               .negative = seed % 2 == 1,
                               .jitter_us = software ? 20 : 0.2,
                               .jitter_heavy = seed % 5 == 0,
                               .frame_jitter_us = software ? 20 + 30 * sim_rng_uniform(&rng) : 0,
                               .wander_us = seed % 7 == 0 ? 20 : 0,
                               .fault = fault,
                               .faults = seed % 2 == 0 ? 24 : 0,
                               .seed = seed};
        spw_measure_options o = spw_measure_defaults();
        o.has_polarity = true;
        o.polarity = spec.negative ? SPW_POLARITY_NEGATIVE : SPW_POLARITY_POSITIVE;
        spw_channel c = measured(&spec, rate, 0.3, &o);
        if (short_frames(&c, NULL) > 0 || measured_events(&c, SPW_EVENT_SAMPLES_LOST, NULL) > 0) {
            fprintf(stderr, "seed %llu\n", (unsigned long long)seed);
            measured_print(&c);
        }
        assert_int_equal(short_frames(&c, NULL), 0);
        assert_int_equal(measured_events(&c, SPW_EVENT_SAMPLES_LOST, NULL), 0);
        spw_channel_clear(&c);
    }
}

/* The line's own jitter hides no short frame of a quarter. */
static void found_in_jitter(void **state) {
    (void)state;
    size_t found = 0, all = 0;
    for (uint64_t seed = 1; seed <= 60; seed++) {
        sim_rng rng = sim_rng_seed(seed);
        double length_us = 20000 * (0.1 + 0.6 * sim_rng_uniform(&rng));
        const sim_part part[] = {
            {80, 1500, 1500, 0}, {1, 1500, 1500, length_us}, {80, 1500, 1500, 0}};
        sim_train_spec spec = {.part = part,
                               .parts = 3,
                               .period_us = 20000,
                               .start_s = 0.01,
                               .jitter_us = 10,
                               .frame_jitter_us = 30,
                               .wander_us = 10,
                               .seed = seed};
        spw_channel c = measured(&spec, 8e6, 0.3, NULL);
        uint64_t n = 0;
        bool told = short_frames(&c, &n) == 1 && n == 1;
        found += told && fabs(value_of(&c, SPW_EVENT_SHORT_FRAME) - length_us) < 300;
        all++;
        spw_channel_clear(&c);
    }
    print_message("%zu of %zu short frames told\n", found, all);
    assert_int_equal(found, all);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_short_frame),          cmocka_unit_test(half_a_frame),
        cmocka_unit_test(a_burst_is_one_event),     cmocka_unit_test(a_pulse_too_many),
        cmocka_unit_test(nothing_where_nothing_is), cmocka_unit_test(found_in_jitter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
