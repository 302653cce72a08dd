/* Polarity: never wrong, and undecided only where width and gap are
 * interchangeable in principle: a constant width in a fast frame without idle. */
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>

typedef struct tally {
    size_t right, wrong, undecided, undecided_allowed;
} tally;

typedef struct trial {
    double period_us, rate_hz, jitter_us;
    bool negative, moving, idle;
    uint64_t seed;
} trial;

static void run(const trial *t, tally *out) {
    sim_rng rng = sim_rng_seed(t->seed);
    double low = 700 + 300 * sim_rng_uniform(&rng);
    double high = fmin(1800 + 500 * sim_rng_uniform(&rng), t->period_us - 600);
    const sim_part moving[] = {
        {60, low, low, 0}, {25, low, high, 0}, {60, high, high, 0}, {60, low, low, 0}};
    const sim_part still[] = {{200, 0.5 * (low + high), 0.5 * (low + high), 0}};
    sim_train_spec spec = {.part = t->moving ? moving : still,
                           .parts = t->moving ? 4 : 1,
                           .period_us = t->period_us,
                           .start_s = t->idle ? 0.05 : -0.01 * sim_rng_uniform(&rng),
                           .negative = t->negative,
                           .jitter_us = t->jitter_us,
                           .seed = t->seed};
    spw_channel c = measured(&spec, t->rate_hz, sim_rng_uniform(&rng), NULL);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    spw_polarity truth = t->negative ? SPW_POLARITY_NEGATIVE : SPW_POLARITY_POSITIVE;
    if (c.polarity == SPW_POLARITY_UNDECIDED) {
        out->undecided++;
        out->undecided_allowed += !t->moving && !t->idle;
        assert_int_equal(c.polarity_basis, SPW_BASIS_UNDECIDED);
        assert_true(c.other_width_us > 0 && c.other_period_us > 0);
        assert_true(c.warnings.n > 0);
    } else {
        out->right += c.polarity == truth;
        out->wrong += c.polarity != truth;
    }
    if (c.polarity != truth && (t->moving || t->idle || c.polarity != SPW_POLARITY_UNDECIDED)) {
        fprintf(stderr, "frame %g us, %g Hz, jitter %g, %s, %s, %s, seed %llu\n", t->period_us,
                t->rate_hz, t->jitter_us, t->negative ? "negative" : "positive",
                t->moving ? "moving" : "constant", t->idle ? "idle" : "no idle",
                (unsigned long long)t->seed);
        measured_print(&c);
    }
    spw_channel_clear(&c);
}

static void fast_frames(void **state) {
    (void)state;
    static const double periods[] = {3000, 3333.3, 3500, 4000, 4500, 5000.07};
    static const double rates[] = {24e6, 1e6};
    tally out = {0};
    uint64_t seed = 20261;
    for (size_t p = 0; p < 6; p++)
        for (size_t r = 0; r < 2; r++)
            for (int kind = 0; kind < 8; kind++)
                for (int again = 0; again < 3; again++)
                    run(&(trial){periods[p], rates[r], 0.3 * again, (kind & 1) != 0,
                                 (kind & 2) != 0, (kind & 4) != 0, seed++},
                        &out);
    print_message("%zu right, %zu wrong, %zu undecided (%zu of them constant without idle)\n",
                  out.right, out.wrong, out.undecided, out.undecided_allowed);
    assert_int_equal(out.wrong, 0);
    assert_int_equal(out.undecided, out.undecided_allowed);
    assert_int_equal(out.right + out.undecided, 288);
    assert_true(out.right >= 216); /* three quarters of the cases can be decided */
}

/* Frames of 9 to 22 ms leave no doubt, whatever the duty shows. */
static void slow_frames(void **state) {
    (void)state;
    static const double periods[] = {9000, 14000, 20000, 22000};
    tally out = {0};
    for (size_t p = 0; p < 4; p++)
        for (int kind = 0; kind < 8; kind++)
            run(&(trial){periods[p], 1e6, 0.5, (kind & 1) != 0, (kind & 2) != 0, (kind & 4) != 0,
                         77 + p},
                &out);
    assert_int_equal(out.right, 32);
}

/* Late lead edges, joined pulses and missing frames must not turn it round. */
static void faults_do_not_turn_it(void **state) {
    (void)state;
    const sim_part still[] = {{400, 1400, 1400, 0}};
    const sim_fault fault[] = {
        {SIM_LATE, 50, 1, 60, 0},    {SIM_LATE, 90, 1, 45, 0},    {SIM_LATE, 170, 2, 80, 0},
        {SIM_JOINED, 200, 1, 0, 0},  {SIM_JOINED, 220, 1, 0, 0},  {SIM_JOINED, 240, 1, 0, 0},
        {SIM_MISSING, 300, 1, 0, 0}, {SIM_MISSING, 310, 1, 0, 0}, {SIM_RUNT, 350, 5, 8, 2500}};
    for (int negative = 0; negative < 2; negative++)
        for (int period = 3200; period <= 5600; period += 200) {
            sim_train_spec spec = {.part = still,
                                   .parts = 1,
                                   .period_us = period,
                                   .start_s = -0.0101,
                                   .negative = negative != 0,
                                   .jitter_us = 0.1,
                                   .fault = fault,
                                   .faults = 9,
                                   .seed = 5};
            spw_channel c = measured(&spec, 8e6, 0.4, NULL);
            spw_polarity wrong = negative != 0 ? SPW_POLARITY_POSITIVE : SPW_POLARITY_NEGATIVE;
            if (c.polarity == wrong)
                measured_print(&c);
            assert_int_not_equal(c.polarity, wrong);
            spw_channel_clear(&c);
        }
}

static void the_option_settles_it(void **state) {
    (void)state;
    const sim_part still[] = {{100, 1500, 1500, 0}};
    sim_train_spec spec = {.part = still, .parts = 1, .period_us = 20000, .start_s = 0.1};
    spw_measure_options o = spw_measure_defaults();
    o.has_polarity = true;
    o.polarity = SPW_POLARITY_POSITIVE;
    spw_channel c = measured(&spec, 1e6, 0.4, &o);
    assert_int_equal(c.polarity_basis, SPW_BASIS_OPTION);
    assert_int_equal(c.polarity, SPW_POLARITY_POSITIVE);
    assert_int_equal(c.counted, 100);
    spw_channel_clear(&c);
    /* the wrong one on purpose: the gaps of 18.5 ms are no pulses */
    o.polarity = SPW_POLARITY_NEGATIVE;
    c = measured(&spec, 1e6, 0.4, &o);
    assert_int_equal(c.signal, SPW_SIGNAL_OTHER);
    assert_non_null(c.reason);
    spw_channel_clear(&c);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fast_frames),
        cmocka_unit_test(slow_frames),
        cmocka_unit_test(faults_do_not_turn_it),
        cmocka_unit_test(the_option_settles_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
