/* Simulated adapters between two recorded lines: sound ones and faulty ones. */
#include "sim/rng.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FRAME_US 20000.0
#define RECORDER_US 0.1

typedef struct adapter {
    double gain, offset_us, clamp_low_us, clamp_high_us;
    double tick_us;
    bool locked;           /* its timer starts at the same phase of every pulse */
    size_t late;           /* frames it comes late beyond the first */
    double own_frame_us;   /* free-running; 0: repeats after each input */
    size_t smoothed;       /* mean of so many inputs */
    double output_step_us; /* coarse output timer; 0: tick */
    bool drops;            /* loses every 7th output */
} adapter;

static adapter sound(void) {
    return (adapter){
        .gain = 2, .offset_us = -1500, .clamp_low_us = 500, .clamp_high_us = 2500, .tick_us = 1};
}

static double answer(const adapter *a, const double *in_us, size_t i, double phase) {
    double us = 0;
    size_t over = a->smoothed > 0 ? a->smoothed : 1;
    for (size_t k = 0; k < over; k++) {
        double ticks = floor(in_us[i >= k ? i - k : 0] / a->tick_us + phase);
        us += ticks * a->tick_us / (double)over;
    }
    us = fmin(a->clamp_high_us, fmax(a->clamp_low_us, a->gain * us + a->offset_us));
    double step = a->output_step_us > 0 ? a->output_step_us : a->tick_us;
    return step * round(us / step);
}

static double recorded_s(double us) {
    return RECORDER_US * 1e-6 * ceil(us / RECORDER_US);
}

static spw_train *line(void) {
    spw_measure_options options = spw_measure_defaults();
    spw_train *train = NULL;
    assert_int_equal(spw_train_new(&options, RECORDER_US * 1e-6, &train), SPW_OK);
    spw_edge first = {.flags = SPW_EDGE_FOUND | SPW_EDGE_FIRST};
    assert_int_equal(spw_train_push(train, &first, 1), SPW_OK);
    return train;
}

static void pulse(spw_train *train, double at_us, double width_us) {
    float u = (float)(RECORDER_US / sqrt(12));
    spw_edge edge[2] = {{recorded_s(at_us), u, SPW_EDGE_RISING},
                        {recorded_s(at_us + width_us), u, 0}};
    assert_int_equal(spw_train_push(train, edge, 2), SPW_OK);
}

/* Holds that jump, ends and beyond among them. */
static const double LEVEL_US[] = {1500, 1000, 2000, 1250, 1750, 880, 2120, 1500};
enum { LEVELS = 8, FRAMES = 40, N = LEVELS * FRAMES };

static void simulate(const adapter *a, double jitter_us, uint64_t seed, spw_channel *before,
                     spw_channel *after) {
    sim_rng rng = sim_rng_seed(seed);
    static double in_us[N], at_us[N];
    spw_train *in = line(), *out = line();
    double locked_phase = sim_rng_uniform(&rng);
    for (size_t i = 0; i < N; i++) {
        in_us[i] = LEVEL_US[i / FRAMES] + jitter_us * sim_rng_normal(&rng);
        at_us[i] = 3000 + FRAME_US * (double)i + 0.2 * sim_rng_normal(&rng);
        pulse(in, at_us[i], in_us[i]);
        double phase = a->locked ? locked_phase : sim_rng_uniform(&rng);
        if (a->own_frame_us > 0 || i < a->late || (a->drops && i % 7 == 3))
            continue;
        double lead_us = at_us[i] + in_us[i] + 12 + 0.5 * phase;
        pulse(out, lead_us, answer(a, in_us, i - a->late, phase));
    }
    size_t known = 0;
    for (double t = 31000; a->own_frame_us > 0 && t < at_us[N - 1]; t += a->own_frame_us) {
        while (known < N && at_us[known] + in_us[known] + 5 < t)
            known++;
        pulse(out, t, answer(a, in_us, known - 1, sim_rng_uniform(&rng)));
    }
    double end_s = (at_us[N - 1] + FRAME_US) * 1e-6;
    assert_int_equal(spw_train_finish(in, end_s, 1, NULL, before), SPW_OK);
    assert_int_equal(spw_train_finish(out, end_s, 1, NULL, after), SPW_OK);
    spw_train_free(in);
    spw_train_free(out);
}

static spw_planned the_plan(void) {
    spw_bench bench = spw_bench_defaults();
    spw_span span;
    assert_int_equal(spw_span_given(1000, 1500, 2000, &span), SPW_OK);
    spw_plan *plan = NULL;
    assert_int_equal(spw_plan_make(&span, NULL, &bench, &plan, NULL), SPW_OK);
    spw_planned planned = spw_planned_of(plan);
    spw_plan_free(plan);
    assert_true(planned.known);
    planned.tick_us = 1;
    return planned;
}

static const spw_check *check_of(const spw_verification *v, const char *name) {
    for (size_t k = 0; k < v->checks; k++)
        if (strcmp(v->check[k].name, name) == 0)
            return &v->check[k];
    return NULL;
}

static spw_verification *verified(const adapter *a, bool one_capture, uint64_t seed) {
    spw_channel before, after;
    simulate(a, 0.4, seed, &before, &after);
    spw_planned planned = the_plan();
    spw_verification *v = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_verify(&before, &after, one_capture, &planned, &v, &error);
    if (status != SPW_OK)
        print_error("%s\n", error.message);
    assert_int_equal(status, SPW_OK);
    spw_channel_clear(&before);
    spw_channel_clear(&after);
    for (size_t k = 0; k < v->checks; k++)
        print_message("    %-10s %d  %s\n", v->check[k].name, v->check[k].pass, v->check[k].why);
    return v;
}

/* A sound adapter: no check says no, and the whole says yes. */
static void passes(const char *what, adapter a, bool one_capture) {
    print_message("%s\n", what);
    spw_verification *v = verified(&a, one_capture, 11);
    for (size_t k = 0; k < v->checks; k++)
        assert_int_not_equal(v->check[k].pass, 0);
    assert_int_equal(v->pass, 1);
    spw_verification_free(v);
}

/* A fault: this check says no; the others that are named by no fault do not. */
static void fails(const char *what, adapter a, const char *name, bool one_capture) {
    print_message("%s\n", what);
    spw_verification *v = verified(&a, one_capture, 12);
    const spw_check *c = check_of(v, name);
    assert_non_null(c);
    assert_int_equal(c->pass, 0);
    assert_int_equal(v->pass, 0);
    spw_verification_free(v);
}

static void sound_adapters(void **state) {
    (void)state;
    adapter a = sound();
    passes("exact", a, true);
    passes("exact, two captures", a, false);
    a.locked = true;
    passes("timer locked", a, true);
    a = sound();
    a.own_frame_us = 19871;
    passes("free-running at its own frame", a, true);
    a.own_frame_us = 14300;
    passes("free-running, faster", a, true);
    a.own_frame_us = 31000;
    passes("free-running, slower", a, true);
}

static void faulty_adapters(void **state) {
    (void)state;
    adapter a = sound();
    a.gain = 2.03;
    a.offset_us = -1500 - 0.03 * 1500;
    fails("gain 1.5 % off", a, "line", true);
    fails("gain 1.5 % off, two captures", a, "line", false);
    a = sound();
    a.offset_us += 12;
    fails("offset 12 us off", a, "line", true);
    a = sound();
    a.clamp_low_us = 200;
    a.clamp_high_us = 3200;
    fails("clamps missing", a, "clamp_high", true);
    fails("clamps missing", a, "clamp_low", true);
    a = sound();
    a.late = 1;
    fails("one frame late", a, "latency", true);
    a = sound();
    a.smoothed = 4;
    fails("smoothing over 4 frames", a, "smoothing", true);
    a = sound();
    a.output_step_us = 2000.0 / 255;
    fails("8-bit timer", a, "steps", true);
    a = sound();
    a.drops = true; /* the servo gets six frames of seven */
    fails("drops frames", a, "delivery", true);
}

/* The gain within its U95 in 93 % of the runs at least, locked timers included. */
static void gain_coverage(void **state) {
    (void)state;
    for (int locked = 0; locked < 2; locked++) {
        int within = 0, runs = 1000;
        for (int r = 0; r < runs; r++) {
            adapter a = sound();
            a.locked = locked != 0;
            sim_rng rng = sim_rng_seed(5000 + (uint64_t)r);
            a.gain = 1.8 + 0.4 * sim_rng_uniform(&rng);
            a.offset_us = 1500 - a.gain * 1500 + 3 * sim_rng_normal(&rng);
            spw_channel before, after;
            simulate(&a, 0.4, 100000 + (uint64_t)r, &before, &after);
            spw_planned planned = the_plan();
            spw_verification *v = NULL;
            assert_int_equal(spw_verify(&before, &after, true, &planned, &v, NULL), SPW_OK);
            within += fabs(v->gain - a.gain) <= spw_coverage_factor(0.95, v->dof) * v->u_gain;
            spw_verification_free(v);
            spw_channel_clear(&before);
            spw_channel_clear(&after);
        }
        print_message("gain within U95, timer %s: %d of %d\n", locked ? "locked" : "free", within,
                      runs);
        assert_true(within >= 930);
    }
}

static void without_a_plan(void **state) {
    (void)state;
    adapter a = sound();
    spw_channel before, after;
    simulate(&a, 0.4, 77, &before, &after);
    spw_verification *v = NULL;
    assert_int_equal(spw_verify(&before, &after, true, NULL, &v, NULL), SPW_OK);
    assert_true(fabs(v->gain - 2) < 0.002);
    assert_int_equal(v->pass, -1);
    assert_null(check_of(v, "line"));
    spw_verification_free(v);
    spw_channel_clear(&before);
    spw_channel_clear(&after);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sound_adapters),
        cmocka_unit_test(faulty_adapters),
        cmocka_unit_test(gain_coverage),
        cmocka_unit_test(without_a_plan),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
