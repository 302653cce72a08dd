/* A stretch of a capture, chosen by hand: the pulses that lie wholly in it, with the
 * instants and figures that they have in the whole, and no event from outside. */
#include "sim/channel.h"
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES = 400 };

static sim_train *random_train(sim_rng *rng, uint64_t seed) {
    static const double periods[] = {3000, 10000, 20000.2};
    const sim_part part[] = {{FRAMES / 2, 1200, 1200, 0}, {FRAMES / 2, 1800, 1800, 0}};
    sim_fault fault[] = {
        {SIM_MISSING, (size_t)(FRAMES * sim_rng_uniform(rng)), 2, 0, 0},
        {SIM_RUNT, (size_t)(FRAMES * sim_rng_uniform(rng)), 1, 20, 2400},
        {SIM_WIDTH, (size_t)(FRAMES * sim_rng_uniform(rng)), 1, 1000, 0},
    };
    sim_train_spec spec = {.part = part,
                           .parts = 2,
                           .period_us = periods[seed % 3],
                           .start_s = 0.05,
                           .negative = seed % 2 == 1,
                           .jitter_us = 0.4,
                           .fault = fault,
                           .faults = 3,
                           .seed = seed};
    return sim_train_make(&spec);
}

static size_t whole_inside(const spw_channel *all, double from_s, double to_s, size_t *first) {
    size_t n = 0;
    for (size_t i = 0; i < all->pulses; i++) {
        if (all->pulse[i].lead_s < from_s || all->pulse[i].trail_s > to_s)
            continue;
        *first = n++ == 0 ? i : *first;
    }
    return n;
}

static void check_stretch(const sim_train *train, const spw_channel *all, double from_s,
                          double to_s) {
    spw_measure_options o = spw_measure_defaults();
    o.timebase_ppm = 0;
    o.has_polarity = true;
    o.polarity = all->polarity;
    o.from_s = from_s;
    o.to_s = to_s;
    spw_channel c = measured_train(train, 8e6, 0.3, &o);
    size_t first = 0, n = whole_inside(all, from_s, isnan(to_s) ? INFINITY : to_s, &first);
    assert_int_equal(c.pulses, n);
    for (size_t i = 0; i < n; i++) {
        assert_true(c.pulse[i].lead_s == all->pulse[first + i].lead_s);
        assert_true(c.pulse[i].trail_s == all->pulse[first + i].trail_s);
    }
    for (size_t i = 0; i < c.events; i++) {
        assert_true(c.event[i].at_s >= from_s);
        assert_false(c.event[i].at_s > to_s);
    }
    assert_int_equal(measured_events(&c, SPW_EVENT_CUT_PULSE, NULL), 0);
    assert_int_equal(measured_events(&c, SPW_EVENT_UNKNOWN_LEVEL, NULL), 0);
    assert_int_equal(measured_events(&c, SPW_EVENT_SIGNAL_LOST, NULL), 0);
    assert_true(near(c.period_us.mean, all->period_us.mean, 0.5));
    spw_channel_clear(&c);
}

static void pulses_wholly_inside(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 60; seed++) {
        sim_rng rng = sim_rng_seed(seed);
        sim_train *train = random_train(&rng, seed);
        assert_non_null(train);
        spw_channel all = measured_train(train, 8e6, 0.3, NULL);
        assert_int_equal(all.signal, SPW_SIGNAL_CONTROL_PULSES);
        double from_s = 0.4 * train->end_s * sim_rng_uniform(&rng);
        double to_s = train->end_s * (0.5 + 0.4 * sim_rng_uniform(&rng));
        check_stretch(train, &all, from_s, to_s);
        const spw_pulse *p = &all.pulse[50]; /* in a pulse, at both ends */
        const spw_pulse *q = &all.pulse[350];
        check_stretch(train, &all, 0.5 * (p->lead_s + p->trail_s), 0.5 * (q->lead_s + q->trail_s));
        check_stretch(train, &all, p->lead_s, q->trail_s); /* exactly at edges: inside */
        check_stretch(train, &all, p->lead_s, NAN);
        spw_channel_clear(&all);
        sim_train_free(train);
    }
}

/* A line that never moves there: idle, at the level that it has. */
static void a_stretch_without_edges(void **state) {
    (void)state;
    const sim_part part = {100, 1500, 1500, 20000};
    sim_train_spec spec = {
        .part = &part, .parts = 1, .period_us = 20000, .start_s = 0.1, .end_s = 5};
    spw_measure_options o = spw_measure_defaults();
    o.from_s = 3;
    spw_channel c = measured(&spec, 1e6, 0.3, &o);
    assert_int_equal(c.signal, SPW_SIGNAL_IDLE);
    assert_string_equal(c.reason, "the line stays low: no change of level in 2 s");
    assert_int_equal(c.last_level, SPW_LEVEL_LOW);
    assert_true(near(c.last_for_s, 2, 1e-9));
    spw_channel_clear(&c);
}

/* From the first lead edge on there is no start of a train to be odd in. */
static void power_up_is_only_at_the_start(void **state) {
    (void)state;
    const sim_part part = {200, 1500, 1500, 0};
    const sim_fault fault[] = {{SIM_WIDTH, 100, 1, 620, 0}};
    sim_train_spec spec = {.part = &part,
                           .parts = 1,
                           .period_us = 20000,
                           .start_s = 0.5,
                           .jitter_us = 0.3,
                           .fault = fault,
                           .faults = 1,
                           .seed = 4};
    spw_measure_options o = spw_measure_defaults();
    o.from_s = 0.5 + 100 * 0.02 - 0.005;
    spw_channel c = measured(&spec, 24e6, 0.3, &o);
    assert_int_equal(c.pulses, 100);
    assert_int_equal(c.counted, 100);
    spw_channel_clear(&c);
}

/* Unknown at the start of the stretch: told from there, not from the capture's start. */
static void unknown_level_from_the_choice(void **state) {
    (void)state;
    spw_change change[64] = {
        {0, 0, SPW_LEVEL_LOW}, {0.005, 0, SPW_LEVEL_UNKNOWN}, {0.105, 0, SPW_LEVEL_LOW}};
    size_t n = 3;
    for (size_t i = 0; i < 20; i++) {
        change[n++] = (spw_change){0.11 + 0.02 * (double)i, 0, SPW_LEVEL_HIGH};
        change[n++] = (spw_change){0.1115 + 0.02 * (double)i, 0, SPW_LEVEL_LOW};
    }
    spw_measure_options o = spw_measure_defaults();
    o.from_s = 0.1;
    spw_channel c = measured_changes(change, n, 1e-6, 0.51, &o);
    assert_int_equal(measured_events(&c, SPW_EVENT_UNKNOWN_LEVEL, NULL), 1);
    assert_true(near(c.event[0].at_s, 0.1, 1e-12));
    assert_true(near(c.event[0].value_us, 5000, 1e-6));
    spw_channel_clear(&c);
}

/* What the chosen stretch of a recording says is what the whole says of it. */
static void recordings_learn_from_all(void **state) {
    (void)state;
    const sim_part part[] = {{150, 1100, 1100, 0}, {150, 1900, 1900, 0}};
    sim_train_spec spec = {.part = part, .parts = 2, .period_us = 20000.3, .start_s = 0.02};
    sim_train *train = sim_train_make(&spec);
    assert_non_null(train);
    sim_channel channel = sim_channel_default(48000, 'h');
    channel.snr_db = 60;
    channel.high_pass_hz[0] = 5;
    float *samples = NULL;
    size_t n = 0;
    assert_true(sim_channel_render(&channel, train->edge_s, train->edges, false, train->end_s,
                                   &samples, &n));
    spw_channel c[2];
    for (int chosen = 0; chosen < 2; chosen++) {
        spw_measure_options o = spw_measure_defaults();
        if (chosen)
            o.from_s = 3.01, o.to_s = 5.01;
        c[chosen] = measured_samples(samples, n, 48000, &o);
    }
    assert_int_equal(c[0].holds, 2);
    assert_int_equal(c[1].holds, 1);
    assert_true(c[1].pulses >= 99 && c[1].pulses <= 101);
    size_t first = 0;
    assert_int_equal(whole_inside(&c[0], 3.01, 5.01, &first), c[1].pulses);
    for (size_t i = 0; i < c[1].pulses; i++)
        assert_true(c[1].pulse[i].trail_s == c[0].pulse[first + i].trail_s);
    spw_channel_clear(&c[0]);
    spw_channel_clear(&c[1]);
    free(samples);
    sim_train_free(train);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pulses_wholly_inside),
        cmocka_unit_test(a_stretch_without_edges),
        cmocka_unit_test(power_up_is_only_at_the_start),
        cmocka_unit_test(unknown_level_from_the_choice),
        cmocka_unit_test(recordings_learn_from_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
