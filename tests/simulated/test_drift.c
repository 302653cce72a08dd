/* A sample clock that drifts is seen in frames and widths together, and enters the
 * uncertainty of every hold; a frame that drifts alone is the controller's, and does not. */
#include "sim/channel.h"
#include "sim/rng.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a recorder of 8 MHz shows whose clock is right at 0 s and gains ppm_s a second. */
static spw_channel drifting(const sim_train_spec *spec, double ppm_s,
                            const spw_measure_options *options) {
    sim_train *train = sim_train_make(spec);
    assert_non_null(train);
    for (size_t i = 0; i < train->edges; i++)
        train->edge_s[i] *= 1 + 0.5e-6 * ppm_s * train->edge_s[i];
    train->end_s *= 1 + 0.5e-6 * ppm_s * train->end_s;
    spw_channel c = measured_train(train, 8e6, 0.3, options);
    sim_train_free(train);
    return c;
}

/* The drift is told, and the holds' intervals reach to what was sent. */
static void told_and_in_the_interval(void **state) {
    (void)state;
    size_t told = 0, covered = 0, holds = 0, all = 0;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        sim_rng rng = sim_rng_seed(seed);
        double ppm_s = (seed % 2 == 0 ? 1 : -1) * (1 + 4 * sim_rng_uniform(&rng));
        size_t frames = 2000 + (size_t)(6000 * sim_rng_uniform(&rng));
        const sim_part part[] = {{frames, 1000, 1000, 0}, {frames, 2000, 2000, 0}};
        sim_train_spec spec = {.part = part,
                               .parts = 2,
                               .period_us = 20000.3,
                               .start_s = 0.02,
                               .jitter_us = 0.05 + 0.3 * sim_rng_uniform(&rng),
                               .seed = seed};
        spw_channel c = drifting(&spec, ppm_s, NULL);
        bool right = fabs(c.clock_drift_ppm_per_s - ppm_s) < 0.1 * fabs(ppm_s);
        if (!right)
            fprintf(stderr, "seed %llu: %.3f ppm/s told as %.3f; %zu frames, jitter %.2f us\n",
                    (unsigned long long)seed, ppm_s, c.clock_drift_ppm_per_s, 2 * frames,
                    spec.jitter_us);
        told += right;
        all++;
        for (size_t h = 0; h < c.holds; h++) {
            double sent = c.hold[h].start_s < 0.02 * (double)frames ? 1000 : 2000;
            covered += fabs(c.hold[h].width_us.mean - sent) <= c.hold[h].width_us.U95;
            holds++;
        }
        spw_channel_clear(&c);
    }
    print_message("drift told in %zu of %zu captures; %zu of %zu holds covered\n", told, all,
                  covered, holds);
    assert_true(told + 4 >= all); /* a short capture with jitter shows it in the frames alone */
    assert_true((double)covered >= 0.95 * (double)holds);
}

/* 60 s of sound, 2 ppm a second: -0.09 us on average where the rest of U95 is 0.01. */
static void in_a_recording(void **state) {
    (void)state;
    const sim_part part = {3000, 1500, 1500, 0};
    sim_train_spec spec = {.part = &part, .parts = 1, .period_us = 20000.3, .start_s = 0.02};
    sim_train *train = sim_train_make(&spec);
    assert_non_null(train);
    const sim_disturbance drifts = {SIM_CLOCK_PPM, .value = 2};
    sim_channel channel = sim_channel_default(48000, 'h');
    channel.snr_db = 60;
    channel.disturbance = &drifts;
    channel.disturbances = 1;
    float *samples = NULL;
    size_t n = 0;
    assert_true(sim_channel_render(&channel, train->edge_s, train->edges, false, train->end_s,
                                   &samples, &n));
    spw_channel c = measured_samples(samples, n, 48000, NULL);
    double off_us = c.width_us.mean - 1500;
    print_message("mean width off by %.3f us, U95 %.3f us, %.3f ppm a second\n", off_us,
                  c.width_us.U95, c.clock_drift_ppm_per_s);
    assert_true(fabs(off_us) > 0.07 && fabs(off_us) <= c.width_us.U95);
    assert_true(c.width_us.U95 < 0.3);
    assert_true(near(c.clock_drift_ppm_per_s, 2, 0.1));
    size_t said = 0;
    for (size_t i = 0; i < c.warnings.n; i++)
        said += strstr(c.warnings.text[i], "a clock drifts") != NULL;
    assert_int_equal(said, 1);
    spw_channel_clear(&c);
    free(samples);
    sim_train_free(train);
}

enum { PARTS = 80 };

/* Frames that grow by 0.16 % while widths stay: nothing of it is in a hold's time base. */
static void a_frame_alone_is_no_clock(void **state) {
    (void)state;
    sim_part part[PARTS];
    for (size_t i = 0; i < PARTS; i++)
        part[i] = (sim_part){50, 1500, 1500, 20000 + 0.4 * (double)i};
    sim_train_spec spec = {.part = part,
                           .parts = PARTS,
                           .period_us = 20000,
                           .start_s = 0.02,
                           .jitter_us = 0.3,
                           .seed = 1};
    spw_channel c = measured(&spec, 8e6, 0.3, NULL);
    assert_int_equal(c.regimes, 1);
    assert_true(isnan(c.clock_drift_ppm_per_s));
    assert_int_equal(c.holds, 1);
    assert_true(near(c.hold[0].budget.u_timebase, 0, 1e-9));
    spw_channel_clear(&c);
}

/* Lines without any drift, of every sort of unsteadiness. */
static void nothing_where_nothing_drifts(void **state) {
    (void)state;
    size_t told = 0, wider = 0;
    for (uint64_t seed = 1; seed <= 300; seed++) {
        sim_rng rng = sim_rng_seed(seed);
        const sim_part part[] = {{400, 1200, 1200, 0}, {300, 1000, 2000, 0}, {400, 1800, 1800, 0}};
        sim_train_spec spec = {.part = part,
                               .parts = 3,
                               .start_s = 0.02,
                               .period_us = seed % 2 == 0 ? 20000.2 : 5000.1,
                               .jitter_us = seed % 3 == 0 ? 20 * sim_rng_uniform(&rng) : 0.2,
                               .jitter_ar = seed % 4 == 0 ? 0.8 : 0,
                               .frame_jitter_us = seed % 3 == 1 ? 30 : 0,
                               .wander_us = seed % 5 < 2 ? 20 * sim_rng_uniform(&rng) : 0,
                               .seed = seed};
        spw_channel c = measured(&spec, 8e6, 0.3, NULL);
        told += isnan(c.clock_drift_ppm_per_s) ? 0 : 1;
        for (size_t h = 0; h < c.holds; h++) /* no other time base's uncertainty is there */
            wider += c.hold[h].budget.u_timebase > 0.01 ? 1u : 0u;
        spw_channel_clear(&c);
    }
    print_message("drift told in %zu, taken in in %zu of 300 captures without any\n", told, wider);
    assert_int_equal(told, 0);
    assert_true(wider <= 3);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(told_and_in_the_interval),
        cmocka_unit_test(in_a_recording),
        cmocka_unit_test(a_frame_alone_is_no_clock),
        cmocka_unit_test(nothing_where_nothing_drifts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
