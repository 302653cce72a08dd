/* Missing frames, joined pulses, runts, drop-outs, odd widths, regimes, power-up
 * and loss: counted exactly, and kept out of the figures. */
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { FAULTS = 40, FRAMES = 2000 };

typedef struct counts {
    uint64_t missing, joined, runts, odd;
} counts;

/* Faults at random frames, far enough apart not to meet; what they must count. */
static counts scatter_faults(sim_rng *rng, double period_us, sim_fault *fault) {
    counts n = {0};
    for (size_t i = 0; i < FAULTS; i++) {
        size_t frame = 20 + i * (FRAMES - 40) / FAULTS + (size_t)(20 * sim_rng_uniform(rng));
        size_t some = 1 + (size_t)(3 * sim_rng_uniform(rng));
        switch (i % 4) {
        case 0:
            fault[i] = (sim_fault){SIM_MISSING, frame, some, 0, 0};
            n.missing += some;
            break;
        case 1:
            fault[i] = (sim_fault){SIM_JOINED, frame, 1, 0, 0};
            n.joined++;
            break;
        case 2: /* in the gap; one a frame */
            fault[i] = (sim_fault){SIM_RUNT, frame, some, 2 + 100 * sim_rng_uniform(rng),
                                   0.85 * period_us};
            n.runts += some;
            break;
        default:
            fault[i] = (sim_fault){SIM_WIDTH, frame, some, 1100, 0};
            n.odd += some;
            break;
        }
    }
    return n;
}

static void counted_exactly(void **state) {
    (void)state;
    static const double periods[] = {3003.1, 10000, 20000.2};
    for (uint64_t seed = 1; seed <= 30; seed++) {
        sim_rng rng = sim_rng_seed(seed);
        double period_us = periods[seed % 3];
        sim_fault fault[FAULTS];
        counts expected = scatter_faults(&rng, period_us, fault);
        const sim_part part = {FRAMES, 1500, 1500, 0};
        sim_train_spec spec = {.part = &part,
                               .parts = 1,
                               .period_us = period_us,
                               .start_s = 0.1,
                               .negative = seed % 2 == 1,
                               .jitter_us = 0.3,
                               .fault = fault,
                               .faults = FAULTS,
                               .seed = seed};
        spw_channel c = measured(&spec, 8e6, 0.3, NULL);
        counts seen = {0};
        measured_events(&c, SPW_EVENT_MISSING_FRAMES, &seen.missing);
        measured_events(&c, SPW_EVENT_JOINED_PULSE, &seen.joined);
        measured_events(&c, SPW_EVENT_RUNT_PULSE, &seen.runts);
        measured_events(&c, SPW_EVENT_ODD_WIDTH, &seen.odd);
        if (memcmp(&seen, &expected, sizeof seen) != 0) {
            fprintf(stderr,
                    "seed %llu: missing %llu of %llu, joined %llu of %llu, runts %llu of "
                    "%llu, odd %llu of %llu\n",
                    (unsigned long long)seed, (unsigned long long)seen.missing,
                    (unsigned long long)expected.missing, (unsigned long long)seen.joined,
                    (unsigned long long)expected.joined, (unsigned long long)seen.runts,
                    (unsigned long long)expected.runts, (unsigned long long)seen.odd,
                    (unsigned long long)expected.odd);
            measured_print(&c);
        }
        assert_memory_equal(&seen, &expected, sizeof seen);
        assert_int_equal(c.counted, FRAMES - expected.missing - 2 * expected.joined);
        assert_int_equal(c.regimes, 1);
        assert_true(near(c.period_us.mean, period_us, 0.125)); /* a step of the capture */
        assert_true(c.period_us.max - c.period_us.min < 1);
        spw_channel_clear(&c);
    }
}

/* 20 000 us, then 2550 us when another user takes the timer, then 18 000 us. */
static void regimes(void **state) {
    (void)state;
    const sim_part part[] = {
        {300, 1500, 1500, 20000}, {1500, 1500, 1500, 2550}, {400, 1500, 1500, 18000}};
    sim_train_spec spec = {
        .part = part, .parts = 3, .period_us = 20000, .start_s = 0.1, .jitter_us = 0.2, .seed = 2};
    spw_channel c = measured(&spec, 24e6, 0.3, NULL);
    assert_int_equal(c.regimes, 3);
    static const double period[] = {20000, 2550, 18000};
    for (size_t r = 0; r < 3; r++) {
        assert_true(near(c.regime[r].period_us, period[r], 0.01));
        assert_int_equal(c.regime[r].frames, part[r].frames);
    }
    assert_int_equal(c.main_regime, 2);
    assert_true(near(c.period_us.mean, 18000, 0.01));
    assert_int_equal(c.counted, 400);
    assert_int_equal(c.events, 0);
    assert_int_equal(c.holds, 3);
    assert_non_null(strstr(c.warnings.text[0], "frame period changes"));
    spw_channel_clear(&c);
}

/* Software timing: 50 us of wander and skipped frames are one regime. */
static void software_is_one_regime(void **state) {
    (void)state;
    sim_rng rng = sim_rng_seed(31);
    static const double periods[] = {4000, 9000, 20000};
    for (size_t p = 0; p < 3; p++) {
        sim_fault fault[100];
        for (size_t i = 0; i < 100; i++)
            fault[i] = (sim_fault){SIM_MISSING, (size_t)(3000 * sim_rng_uniform(&rng)), 1, 0, 0};
        const sim_part part = {3000, 1500, 1500, 0};
        sim_train_spec spec = {.part = &part,
                               .parts = 1,
                               .period_us = periods[p],
                               .start_s = 0.1,
                               .jitter_us = 20,
                               .jitter_heavy = true,
                               .frame_jitter_us = 50,
                               .wander_us = 20,
                               .fault = fault,
                               .faults = 100,
                               .seed = 4};
        spw_channel c = measured(&spec, 8e6, 0.3, NULL);
        if (c.regimes != 1 || c.holds != 1)
            measured_print(&c);
        assert_int_equal(c.regimes, 1);
        assert_int_equal(c.holds, 1);
        spw_channel_clear(&c);
    }
}

static void power_up_is_reported_apart(void **state) {
    (void)state;
    const sim_part part = {200, 1500, 1500, 0};
    const sim_fault fault[] = {{SIM_WIDTH, 0, 1, 620, 0}, {SIM_WIDTH, 1, 1, 2210, 0}};
    sim_train_spec spec = {.part = &part,
                           .parts = 1,
                           .period_us = 20000,
                           .start_s = 0.5,
                           .jitter_us = 0.3,
                           .fault = fault,
                           .faults = 2,
                           .seed = 4};
    spw_channel c = measured(&spec, 24e6, 0.3, NULL);
    assert_int_equal(c.pulses, 200);
    assert_int_equal(c.counted, 198);
    assert_true(c.width_us.min > 1497 && c.width_us.max < 1503);
    uint64_t n = 0;
    assert_int_equal(measured_events(&c, SPW_EVENT_ODD_WIDTH, &n), 1);
    assert_int_equal(n, 2);
    assert_non_null(strstr(c.warnings.text[0], "2 of the first pulses"));
    spw_channel_clear(&c);
}

static void loss(void **state) {
    (void)state;
    const sim_part part = {100, 1500, 1500, 0};
    for (int negative = 0; negative < 2; negative++) {
        sim_train_spec spec = {.part = &part,
                               .parts = 1,
                               .period_us = 20000,
                               .start_s = 0.1,
                               .end_s = 5,
                               .negative = negative != 0};
        spw_channel c = measured(&spec, 1e6, 0.3, NULL);
        assert_int_equal(measured_events(&c, SPW_EVENT_SIGNAL_LOST, NULL), 1);
        assert_int_equal(c.last_level, negative != 0 ? SPW_LEVEL_HIGH : SPW_LEVEL_LOW);
        assert_true(near(c.last_for_s, 5 - (0.1 + 99 * 0.02 + 0.0015), 2e-6));
        spw_channel_clear(&c);
        spec.end_s = 0.1 + 99 * 0.02 + 0.05; /* two and a half frames: not yet lost */
        c = measured(&spec, 1e6, 0.3, NULL);
        assert_int_equal(measured_events(&c, SPW_EVENT_SIGNAL_LOST, NULL), 0);
        spw_channel_clear(&c);
    }
}

/* x and z of a simulation: the pulse it falls into is no pulse, and no period spans it. */
static void unknown_levels(void **state) {
    (void)state;
    spw_change change[64];
    size_t n = 0;
    change[n++] = (spw_change){0, 0, SPW_LEVEL_UNKNOWN};
    change[n++] = (spw_change){0.005, 0, SPW_LEVEL_LOW};
    for (size_t i = 0; i < 20; i++) {
        double lead = 0.01 + 0.02 * (double)i;
        change[n++] = (spw_change){lead, 0, SPW_LEVEL_HIGH};
        if (i == 10) {
            change[n++] = (spw_change){lead + 0.0007, 0, SPW_LEVEL_UNKNOWN};
            change[n++] = (spw_change){lead + 0.0009, 0, SPW_LEVEL_HIGH};
        }
        change[n++] = (spw_change){lead + 0.0015, 0, SPW_LEVEL_LOW};
    }
    spw_channel c = measured_changes(change, n, 1e-6, 0.41, NULL);
    assert_int_equal(c.counted, 19);
    assert_int_equal(c.period_us.n, 17);
    assert_true(near(c.width_us.mean, 1500, 1e-6));
    assert_int_equal(measured_events(&c, SPW_EVENT_UNKNOWN_LEVEL, NULL), 2);
    assert_int_equal(measured_events(&c, SPW_EVENT_CUT_PULSE, NULL), 2);
    assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, NULL), 0);
    spw_channel_clear(&c);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counted_exactly),
        cmocka_unit_test(regimes),
        cmocka_unit_test(software_is_one_regime),
        cmocka_unit_test(power_up_is_reported_apart),
        cmocka_unit_test(loss),
        cmocka_unit_test(unknown_levels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
