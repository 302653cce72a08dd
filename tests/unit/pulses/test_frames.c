/* Frames and regimes: what is one frame, what a new frame period, what a missing frame, a
 * drop-out and two pulses joined; each limit just inside and just outside. */
#include "pulses/train.h"
#include "support/measured.h"
#include "support/test.h"

#include "sim/rng.h"

#include <math.h>
#include <stdlib.h>

enum { MOST = 4000 };

typedef struct line {
    spw_change change[MOST];
    size_t n;
    double at_s; /* of the next lead edge */
} line;

static void pulse(line *l, double width_us, double period_us) {
    assert_true(l->n + 2 < MOST);
    if (l->n == 0) {
        l->change[l->n++] = (spw_change){0, 0, SPW_LEVEL_LOW};
        l->at_s = 0.01;
    }
    l->change[l->n++] = (spw_change){l->at_s, 0, SPW_LEVEL_HIGH};
    l->change[l->n++] = (spw_change){l->at_s + width_us * 1e-6, 0, SPW_LEVEL_LOW};
    l->at_s += period_us * 1e-6;
}

static void pulses(line *l, size_t n, double period_us) {
    for (size_t i = 0; i < n; i++)
        pulse(l, 1500, period_us);
}

static spw_channel channel_of(const line *l) {
    spw_channel c = measured_changes(l->change, l->n, 0, l->at_s, NULL);
    assert_int_equal(c.signal, SPW_SIGNAL_CONTROL_PULSES);
    return c;
}

/* 18 ms for `n` frames among frames of 20 ms. */
static size_t regimes_with(size_t n) {
    line l = {.n = 0};
    pulses(&l, 100, 20000);
    pulses(&l, n, 18000);
    pulses(&l, 100, 20000);
    spw_channel c = channel_of(&l);
    size_t regimes = c.regimes;
    spw_channel_clear(&c);
    return regimes;
}

static void a_new_period_lasts(void **state) {
    (void)state;
    assert_int_equal(regimes_with(7), 1);
    assert_int_equal(regimes_with(8), 3);
    assert_int_equal(regimes_with(9), 3);
}

/* By more than one percent. */
static void a_new_period_is_apart(void **state) {
    (void)state;
    static const struct {
        double period_us;
        size_t regimes;
    } cases[] = {{20190, 1}, {20210, 2}, {19810, 1}, {19790, 2}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        line l = {.n = 0};
        pulses(&l, 100, 20000);
        pulses(&l, 60, cases[i].period_us);
        spw_channel c = channel_of(&l);
        assert_int_equal(c.regimes, cases[i].regimes);
        spw_channel_clear(&c);
    }
}

/* Software that is late by any time up to 3 ms has one period. */
static void jitter_is_no_regime(void **state) {
    (void)state;
    line l = {.n = 0};
    sim_rng rng = sim_rng_seed(4);
    for (size_t i = 0; i < 1500; i++) {
        double late_s = 0.003 * sim_rng_uniform(&rng);
        l.at_s += late_s;
        pulse(&l, 1500, 20000);
        l.at_s -= late_s;
    }
    spw_channel c = channel_of(&l);
    assert_int_equal(c.regimes, 1);
    spw_channel_clear(&c);
}

/* A drift of 5 % in all, 0.02 % a frame, is followed. */
static void a_slow_drift_is_no_regime(void **state) {
    (void)state;
    line l = {.n = 0};
    for (size_t i = 0; i < 500; i++)
        pulse(&l, 1500, 20000 + 2 * (double)i);
    spw_channel c = channel_of(&l);
    assert_int_equal(c.regimes, 1);
    spw_channel_clear(&c);
}

/* The figures are those of the regime that lasts longest in seconds, not in frames. */
static void the_longest_is_the_main_one(void **state) {
    (void)state;
    line l = {.n = 0};
    pulses(&l, 100, 20000); /* 2 s */
    pulses(&l, 300, 5000);  /* 1.5 s */
    spw_channel c = channel_of(&l);
    assert_int_equal(c.regimes, 2);
    assert_int_equal(c.main_regime, 0);
    assert_true(near(c.period_us.mean, 20000, 1));
    assert_true(near(c.regime[1].period_us, 5000, 1));
    assert_int_equal(c.regime[0].frames, 100);
    assert_int_equal(c.regime[1].first_pulse, 100);
    spw_channel_clear(&c);
}

/* A frame that comes late by `late_us`, and the one after it in time again. */
static spw_channel late_frame(double late_us) {
    line l = {.n = 0};
    pulses(&l, 50, 20000);
    l.at_s += late_us * 1e-6;
    pulse(&l, 1500, 20000);
    l.at_s -= late_us * 1e-6;
    pulses(&l, 50, 20000);
    return channel_of(&l);
}

static void one_frame_or_none(void **state) {
    (void)state;
    spw_channel c = late_frame(9900); /* 29.9 ms: late */
    assert_true((c.pulse[50].flags & SPW_PULSE_NO_PERIOD) == 0);
    assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, NULL), 0);
    spw_channel_clear(&c);
    c = late_frame(10100); /* 30.1 ms: one is missing */
    assert_true((c.pulse[50].flags & SPW_PULSE_NO_PERIOD) != 0);
    assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, NULL), 1);
    spw_channel_clear(&c);
}

/* Each gap is told with its frames and begins where the first of them was due. */
static void missing_frames(void **state) {
    (void)state;
    line l = {.n = 0};
    for (size_t gone = 1; gone <= 4; gone++) {
        pulses(&l, 30, 20000);
        l.at_s += 0.02 * (double)gone;
    }
    pulses(&l, 30, 20000);
    spw_channel c = channel_of(&l);
    uint64_t sum;
    assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, &sum), 4);
    assert_int_equal(sum, 10);
    for (size_t k = 0; k < 4; k++)
        assert_int_equal(c.event[k].count, k + 1);
    assert_true(near(c.event[0].at_s, 0.01 + 30 * 0.02, 1e-6));
    assert_true(near(c.period_us.mean, 20000, 1e-6)); /* no gap in it */
    assert_int_equal(c.period_us.n, 5 * 29);
    spw_channel_clear(&c);
}

/* A pulse that was too long or too short was there all the same: nothing is missing. */
static void what_stood_in(void **state) {
    (void)state;
    line l = {.n = 0};
    pulses(&l, 40, 20000);
    pulse(&l, 5000, 20000); /* beyond 3500 us */
    pulses(&l, 40, 20000);
    pulse(&l, 100, 20000); /* below 200 us, in time */
    pulses(&l, 40, 20000);
    spw_channel c = channel_of(&l);
    assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, NULL), 0);
    assert_int_equal(measured_events(&c, SPW_EVENT_LONG_PULSE, NULL), 1);
    assert_int_equal(measured_events(&c, SPW_EVENT_RUNT_PULSE, NULL), 1);
    spw_channel_clear(&c);
    /* a glitch in mid gap stands for none */
    l = (line){.n = 0};
    pulses(&l, 40, 20000);
    l.at_s -= 0.009;
    pulse(&l, 100, 20000);
    l.at_s += 0.009;
    pulses(&l, 40, 20000);
    c = channel_of(&l);
    assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, NULL), 1);
    spw_channel_clear(&c);
}

/* A pulse of a frame and more is two without a gap, and stands for both frames. */
static void joined_pulses(void **state) {
    (void)state;
    static const struct {
        double us;
        size_t joined;
    } cases[] = {{20100, 1}, {19900, 0}};
    for (size_t i = 0; i < 2; i++) {
        line l = {.n = 0};
        pulses(&l, 40, 20000);
        pulse(&l, cases[i].us, 40000);
        pulses(&l, 40, 20000);
        spw_channel c = channel_of(&l);
        assert_int_equal(measured_events(&c, SPW_EVENT_JOINED_PULSE, NULL), cases[i].joined);
        assert_int_equal(measured_events(&c, SPW_EVENT_LONG_PULSE, NULL), 1 - cases[i].joined);
        assert_int_equal(measured_events(&c, SPW_EVENT_MISSING_FRAMES, NULL), 1 - cases[i].joined);
        spw_channel_clear(&c);
    }
}

/* A gap of less than half the shortest pulse (200 us) cuts one pulse in two. */
static void drop_outs(void **state) {
    (void)state;
    static const double gap_us[] = {95, 105};
    for (size_t i = 0; i < 2; i++) {
        line l = {.n = 0};
        pulses(&l, 40, 20000);
        pulse(&l, 700, 700 + gap_us[i]);
        pulse(&l, 700, 19300 - gap_us[i]);
        pulses(&l, 40, 20000);
        spw_channel c = channel_of(&l);
        bool cut = (c.pulse[40].flags & c.pulse[41].flags & SPW_PULSE_RUNT) != 0;
        assert_true(cut == (i == 0));
        spw_channel_clear(&c);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_new_period_lasts),
        cmocka_unit_test(a_new_period_is_apart),
        cmocka_unit_test(jitter_is_no_regime),
        cmocka_unit_test(a_slow_drift_is_no_regime),
        cmocka_unit_test(the_longest_is_the_main_one),
        cmocka_unit_test(one_frame_or_none),
        cmocka_unit_test(missing_frames),
        cmocka_unit_test(what_stood_in),
        cmocka_unit_test(joined_pulses),
        cmocka_unit_test(drop_outs),
    };
    return cmocka_run_group_tests_name("frames", tests, NULL, NULL);
}
