/* How sure a mean width and a mean period are, by hand. */
#include "pulses/train.h"
#include "support/hand_channel.h"

#include "sim/rng.h"

#include <math.h>

enum { N = 100 };

/* Periods of 20 ms whose lead edges scatter by lead_us about an even grid, as the caller has
 * it, and whose own sd is sd_us (0: all alike). */
static spw_summary periods(size_t n, double sd_us, double lead_us, double quantum_us) {
    double us[N];
    sim_rng rng = sim_rng_seed(20261130);
    for (size_t i = 0; i < n; i++)
        us[i] = 20000 + sd_us * sim_rng_normal(&rng);
    spw_recording recording = {.instant_us = quantum_us};
    spw_summary s;
    assert_int_equal(spw_summarise(us, n, &s), SPW_OK);
    if (sd_us > 0)
        s.sd = sd_us;
    assert_int_equal(spw_period_uncertainty(&recording, us, n, lead_us, &s), SPW_OK);
    return s;
}

/* Frames on an even grid: the mean is (last - first) / n and knows the scatter of two edges. */
static void even_frames(void **state) {
    (void)state;
    assert_near(periods(N, 1, 1.4, 0).u, sqrt(2) * 1.4 / N, 1e-9);
    assert_true(periods(N, 1, 1.6, 0).u > 0.07); /* each waits for the one before: sd / root n */
    assert_near(periods(30, 1, 1.4, 0).u, sqrt(2) * 1.4 / 30, 1e-9);
    assert_true(periods(29, 1, 1.4, 0).u > 0.1); /* too few to tell the grid */
    assert_near(periods(N, 1, 1.4, 0).dof, N - 1, 1e-6);
}

/* Counted in steps of 1 us: two edges that are off by up to half of one. */
static void counted_frames(void **state) {
    (void)state;
    double own = 1 / sqrt(6) / N;
    assert_near(periods(N, 0, 0.59, 1).u, hypot(own, sqrt(2) * 0.59 / N), 1e-9);
    assert_near(periods(N, 0, 0.61, 1).u, own, 1e-9);
    assert_near(periods(N, 0, 0.59, 1).floor, 1 / sqrt(6), 1e-12);
}

static void clocks(void **state) {
    (void)state;
    double us[N];
    for (size_t i = 0; i < N; i++)
        us[i] = 20000;
    spw_recording recording = {.timebase_ppm = 50, .analogue = true};
    spw_summary s;
    assert_int_equal(spw_summarise(us, N, &s), SPW_OK);
    assert_int_equal(spw_period_uncertainty(&recording, us, N, 0, &s), SPW_OK);
    assert_near(s.u, 1, 1e-9); /* 50 parts in a million of 20 ms */
    assert_true(isnan(s.floor));
}

/* A logic recording is as coarse as its step; samples are where edges were counted in them. */
static void recordings(void **state) {
    (void)state;
    spw_train train = {.timebase_ppm = 50, .resolution_us = 4};
    spw_edge_report report = {
        .method = SPW_METHOD_TEMPLATE, .u_template_us = 0.3, .u_asymmetry_us = 0.4};
    spw_recording r = spw_recording_of(&train, NULL);
    assert_near(r.resolution_us, 4, 0);
    assert_near(r.instant_us, 4, 0);
    assert_true(!r.analogue);
    r = spw_recording_of(&train, &report);
    assert_near(r.resolution_us, 0, 0);
    assert_near(r.template_us, 0.3, 0);
    assert_near(r.asymmetry_us, 0.4, 0);
    report.method = SPW_METHOD_SAMPLES;
    assert_near(spw_recording_of(&train, &report).resolution_us, 4, 0);
    train.read = true; /* widths in steps of 4 us at times in steps of 1 ms */
    train.instant_us = 1000;
    r = spw_recording_of(&train, NULL);
    assert_near(r.resolution_us, 4, 0);
    assert_near(r.instant_us, 1000, 0);
}

/* Each part of a mean width's budget, and their sum by squares. */
static void budget_of_a_width(void **state) {
    (void)state;
    static spw_pulse pulse[N];
    uint32_t at[N];
    for (uint32_t i = 0; i < N; i++) {
        double lead_s = 0.02 * i;
        pulse[i] = (spw_pulse){.lead_s = lead_s, .trail_s = lead_s + 1500e-6};
        at[i] = i;
    }
    spw_channel channel = hand_channel(NULL, 0);
    channel.pulse = pulse;
    channel.pulses = N;
    spw_recording recording = {.timebase_ppm = 100, .template_us = 0.3, .asymmetry_us = 0.4};
    recording.analogue = true;
    spw_summary s;
    spw_budget b;
    assert_int_equal(spw_width_summary(&recording, &channel, at, N, 20000, &s, &b), SPW_OK);
    assert_near(b.u_timebase, 0.15, 1e-9); /* 100 parts in a million of 1500 us */
    assert_near(b.u_sampling, 0, 0);
    assert_near(s.u, sqrt(0.15 * 0.15 + 0.3 * 0.3 + 0.4 * 0.4), 1e-6);
    assert_near(s.U95, 1.959963984540054 * s.u, 1e-6);
    recording = (spw_recording){.resolution_us = 4, .read = true};
    assert_int_equal(spw_width_summary(&recording, &channel, at, N, 20000, &s, &b), SPW_OK);
    assert_near(b.u_sampling, 4 / sqrt(6), 1e-9);
    assert_near(s.floor, 4 / sqrt(6), 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(even_frames),
        cmocka_unit_test(counted_frames),
        cmocka_unit_test(clocks),
        cmocka_unit_test(recordings),
        cmocka_unit_test(budget_of_a_width),
    };
    return cmocka_run_group_tests_name("means", tests, NULL, NULL);
}
