/* Events from flagged pulses and the capture's end, by hand: frames of 20 ms, pulses of 1.5 ms. */
#include "pulses/train.h"
#include "support/hand_channel.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { N = 20 };
#define FRAME_S 0.02
#define PULSE_S 1500e-6

typedef struct bed {
    spw_pulse pulse[N];
    spw_regime regime;
    spw_channel c;
} bed;

static void fill(bed *b) {
    memset(b, 0, sizeof *b);
    for (size_t i = 0; i < N; i++)
        b->pulse[i] =
            (spw_pulse){.lead_s = FRAME_S * (double)i, .trail_s = FRAME_S * (double)i + PULSE_S};
    b->regime = (spw_regime){.end_pulse = N, .frames = N, .period_us = 20000};
    b->c = hand_channel(NULL, 0);
    b->c.pulse = b->pulse;
    b->c.pulses = N;
    b->c.regime = &b->regime;
    b->c.regimes = 1;
    b->c.last_level = SPW_LEVEL_LOW;
}

static void find(bed *b, double end_s, const spw_edge_report *report) {
    free(b->c.event);
    b->c.event = NULL;
    b->c.events = 0;
    assert_int_equal(spw_events_find(0, end_s, report, &b->c), SPW_OK);
}

/* Told when three frames did not come: the last period and three more. */
static void signal_lost(void **state) {
    (void)state;
    bed b;
    fill(&b);
    double last_s = FRAME_S * (N - 1);
    find(&b, last_s + 3.99 * FRAME_S, NULL);
    assert_int_equal(b.c.events, 0);
    find(&b, last_s + 4.01 * FRAME_S, NULL);
    assert_int_equal(b.c.events, 1);
    assert_int_equal(b.c.event[0].kind, SPW_EVENT_SIGNAL_LOST);
    assert_near(b.c.event[0].at_s, last_s + PULSE_S, 1e-12);
    assert_near(b.c.event[0].value_us, 4.01 * 20000 - 1500, 1e-6);
    b.pulse[N - 1].flags = SPW_PULSE_RUNT; /* that is no frame */
    find(&b, last_s + 3.01 * FRAME_S, NULL);
    assert_int_equal(b.c.event[0].kind, SPW_EVENT_SIGNAL_LOST);
    assert_near(b.c.event[0].at_s, last_s - FRAME_S + PULSE_S, 1e-12);
    free(b.c.event);
}

/* The level that the line kept longest after the last frame. */
static void last_level(void **state) {
    (void)state;
    bed b;
    fill(&b);
    double trail_s = FRAME_S * (N - 1) + PULSE_S;
    b.c.last_for_s = 0.010;
    find(&b, trail_s + 0.010, NULL);
    assert_int_equal(b.c.last_level, SPW_LEVEL_LOW);
    assert_near(b.c.last_for_s, 0.010, 1e-9);
    b.c.last_level = SPW_LEVEL_HIGH; /* cut by the end: high for its last millisecond */
    b.c.last_for_s = 0.001;
    find(&b, trail_s + 0.019, NULL);
    assert_int_equal(b.c.last_level, SPW_LEVEL_LOW);
    assert_near(b.c.last_for_s, 0.018, 1e-9);
    b.c.last_level = SPW_LEVEL_HIGH; /* stuck */
    b.c.last_for_s = 0.030;
    find(&b, trail_s + 0.035, NULL);
    assert_int_equal(b.c.last_level, SPW_LEVEL_HIGH);
    assert_near(b.c.last_for_s, 0.030, 1e-9);
    b.c.polarity = SPW_POLARITY_NEGATIVE; /* rests high: the same is its rest */
    b.c.last_level = SPW_LEVEL_LOW;
    b.c.last_for_s = 0.001;
    find(&b, trail_s + 0.019, NULL);
    assert_int_equal(b.c.last_level, SPW_LEVEL_HIGH);
    free(b.c.event);
}

static void kinds(void **state) {
    (void)state;
    static const struct {
        uint32_t flags;
        spw_event_kind kind;
        size_t events; /* of two in a row */
    } cases[] = {
        {SPW_PULSE_JOINED, SPW_EVENT_JOINED_PULSE, 2},
        {SPW_PULSE_JOINED | SPW_PULSE_LONG, SPW_EVENT_JOINED_PULSE, 2},
        {SPW_PULSE_LONG, SPW_EVENT_LONG_PULSE, 1},
        {SPW_PULSE_RUNT, SPW_EVENT_RUNT_PULSE, 1},
        {SPW_PULSE_ODD, SPW_EVENT_ODD_WIDTH, 1},
        {SPW_PULSE_FIRST, SPW_EVENT_ODD_WIDTH, 1},
        {SPW_PULSE_NO_PERIOD, SPW_EVENT_ODD_WIDTH, 0},
        {SPW_PULSE_ODD | SPW_PULSE_BROKEN, SPW_EVENT_ODD_WIDTH, 0},
    };
    bed b;
    fill(&b);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        b.pulse[4].flags = b.pulse[5].flags = cases[i].flags;
        find(&b, FRAME_S * N, NULL);
        assert_int_equal(b.c.events, cases[i].events);
        for (size_t k = 0; k < b.c.events; k++) {
            assert_int_equal(b.c.event[k].kind, cases[i].kind);
            assert_int_equal(b.c.event[k].count * b.c.events, 2);
            assert_near(b.c.event[k].at_s, FRAME_S * (double)(4 + k), 1e-12);
            assert_near(b.c.event[k].value_us, 1500, 1e-6);
        }
    }
    /* two kinds beside each other are two events */
    b.pulse[4].flags = SPW_PULSE_LONG;
    b.pulse[5].flags = SPW_PULSE_ODD;
    find(&b, FRAME_S * N, NULL);
    assert_int_equal(b.c.events, 2);
    free(b.c.event);
}

/* In order of time; clipping only where it lies in the stretch. */
static void clipping(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.pulse[4].flags = SPW_PULSE_LONG; /* 0.08 s */
    spw_edge_report report = {.clipped_samples = 9, .first_clip_s = 0.05};
    find(&b, FRAME_S * N, &report);
    assert_int_equal(b.c.events, 2);
    assert_int_equal(b.c.event[0].kind, SPW_EVENT_CLIPPING);
    assert_int_equal(b.c.event[0].count, 9);
    assert_int_equal(b.c.event[1].kind, SPW_EVENT_LONG_PULSE);
    report.first_clip_s = 0.09;
    find(&b, FRAME_S * N, &report);
    assert_int_equal(b.c.event[1].kind, SPW_EVENT_CLIPPING);
    report.first_clip_s = FRAME_S * N + 0.01;
    find(&b, FRAME_S * N, &report);
    assert_int_equal(b.c.events, 1);
    report.first_clip_s = -0.01;
    find(&b, FRAME_S * N, &report);
    assert_int_equal(b.c.events, 1);
    free(b.c.event);
}

/* A list has an end; what did not find room is counted. */
static void too_many(void **state) {
    (void)state;
    spw_channel c = {0};
    for (size_t i = 0; i < SPW_EVENTS_MAX + 3; i++)
        assert_int_equal(spw_event_add(&c, (spw_event){.at_s = (double)i}), SPW_OK);
    assert_int_equal(c.events, SPW_EVENTS_MAX);
    assert_int_equal(c.events_dropped, 3);
    assert_near(c.event[SPW_EVENTS_MAX - 1].at_s, SPW_EVENTS_MAX - 1, 0);
    free(c.event);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(signal_lost), cmocka_unit_test(last_level), cmocka_unit_test(kinds),
        cmocka_unit_test(clipping),    cmocka_unit_test(too_many),
    };
    return cmocka_run_group_tests_name("happened", tests, NULL, NULL);
}
