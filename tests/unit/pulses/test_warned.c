/* Which warnings a channel gets: each limit just inside and just outside. */
#include "pulses/train.h"
#include "support/hand_channel.h"

#include <math.h>
#include <string.h>

typedef struct bed {
    spw_train train;
    spw_edge_report report;
    spw_regime regime[2];
    spw_hold hold[2];
    spw_move move[2];
    spw_pulse pulse[40];
    spw_doubt doubt[2];
    spw_channel c;
} bed;

/* A channel that nothing is to be said of. */
static void fill(bed *b) {
    *b = (bed){0};
    b->regime[0] = (spw_regime){.end_s = 10, .frames = 500, .period_us = 20000};
    b->regime[1] = (spw_regime){.start_s = 10, .end_s = 12, .frames = 100, .period_us = 18000};
    b->hold[0] = hand_hold(0, 1000, 0.01, 100);
    b->hold[1] = hand_hold(3, 2000, 0.01, 50);
    b->c = hand_channel(b->hold, 2);
    b->c.regime = b->regime;
    b->c.regimes = 1;
    b->c.pulse = b->pulse;
    b->c.pulses = 40;
    b->c.move = b->move;
    b->c.doubt = b->doubt;
    b->c.frame_rate_hz = 50;
    b->c.polarity_basis = SPW_BASIS_WIDTH;
    b->c.clock_drift_ppm_per_s = NAN;
    b->c.other_width_us = NAN;
}

/* How many warnings there are; whether one has these words in *has. */
static size_t said(bed *b, const char *words, bool *has) {
    spw_notes_free(&b->c.warnings);
    assert_int_equal(spw_warnings_add(&b->train, &b->report, &b->c), SPW_OK);
    *has = false;
    size_t n = b->c.warnings.n;
    for (size_t i = 0; i < n; i++)
        *has = *has || strstr(b->c.warnings.text[i], words) != NULL;
    spw_notes_free(&b->c.warnings);
    return n;
}

#define assert_said(b, words)                                                                      \
    do {                                                                                           \
        bool has;                                                                                  \
        assert_int_equal(said(b, words, &has), 1);                                                 \
        assert_true(has);                                                                          \
    } while (0)
#define assert_silent(b)                                                                           \
    do {                                                                                           \
        bool has;                                                                                  \
        assert_int_equal(said(b, "", &has), 0);                                                    \
    } while (0)

static void nothing_to_say(void **state) {
    (void)state;
    bed b;
    fill(&b);
    assert_silent(&b);
}

static void polarity_and_step(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.c.polarity_basis = SPW_BASIS_UNDECIDED;
    assert_said(&b, "polarity undecided: the figures are those of high pulses");
    b.c.width_us.mean = 1500;
    b.c.other_width_us = 2500;
    assert_said(&b, "high for 1500.0 us and low for 2500.0 us");
    fill(&b);
    b.train.grid = SPW_GRID_COARSE;
    b.train.grid_us = 500;
    b.train.resolution_us = 10;
    assert_said(&b, "a grid of 500 us, coarser than recorders sample: the recorder's step is "
                    "hidden, and 10 us is taken");
}

static void few_pulses(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.c.pulses = 4;
    b.c.period_us.n = 3;
    assert_silent(&b);
    b.c.pulses = 3;
    b.c.period_us.n = 2;
    assert_said(&b, "only three pulses: two periods");
    b.c.pulses = 2;
    b.c.period_us.n = 1;
    assert_said(&b, "only two pulses: one period");
    b.train.read = true;
    assert_silent(&b);
}

/* 50 Hz read at ten times the rate; runts more than one in 20. */
static void rate_too_high(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.train.asked_rate_hz = 1e6;
    b.c.frame_rate_hz = 401;
    b.c.period_us.mean = 2000;
    for (size_t i = 0; i < 3; i++)
        b.pulse[i].flags = SPW_PULSE_RUNT;
    assert_said(&b,
                "3 runt pulses: is --rate 1000000 right? At --rate 100000 the frames are 50 Hz");
    b.c.frame_rate_hz = 399;
    assert_silent(&b);
    b.c.frame_rate_hz = 401;
    b.pulse[0].flags = 0; /* two of 40 */
    assert_silent(&b);
    b.pulse[0].flags = SPW_PULSE_RUNT;
    b.train.asked_rate_hz = 0;
    assert_silent(&b);
}

static void left_out(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.train.dropped_edges = 7;
    b.train.dropped_first_s = 1.5;
    b.train.dropped_last_s = 2.5;
    assert_said(&b, "7 level changes between 1.5000 s and 2.5000 s");
    fill(&b);
    b.pulse[1] = (spw_pulse){.lead_s = 1, .trail_s = 1.0009, .flags = SPW_PULSE_FIRST};
    b.pulse[2] = (spw_pulse){.lead_s = 2, .trail_s = 2.0008, .flags = SPW_PULSE_FIRST};
    assert_said(&b, "2 of the first pulses after the line came up are odd (900.0 us at 1.0000 s)");
    fill(&b);
    b.c.events_dropped = 3;
    assert_said(&b, "3 further events are not listed");
    fill(&b);
    b.report.missing_samples = 3;
    assert_said(&b, "3 samples are missing");
}

static void frames_and_clock(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.c.regimes = 2;
    assert_said(&b, "2 stretches; the figures are those of the longest, 20000.0 us from 0.000 s "
                    "to 10.000 s");
    fill(&b);
    b.c.clock_drift_ppm_per_s = 0.5; /* over 10 s */
    assert_said(&b, "widths grow alike, by 5 parts in a million in 10 s");
    b.c.clock_drift_ppm_per_s = -0.5;
    assert_said(&b, "widths shrink alike, by 5 parts in a million in 10 s");
}

/* Of the longest hold. */
static void scatter(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.hold[1].width_us.sd = 30;
    b.hold[0].width_us.sd = 19.9;
    assert_silent(&b);
    b.hold[0].width_us.sd = 20.1;
    assert_said(&b, "scatter by 20 us rms about one level");
    b.c.signal = SPW_SIGNAL_OTHER;
    assert_silent(&b);
}

static void wander(void **state) {
    (void)state;
    bed b;
    fill(&b);
    b.hold[0].budget.wander_us = 2;
    assert_said(&b, "in 1 of 2 holds, by up to 2 us");
    b.hold[1].budget.wander_us = 3;
    assert_said(&b, "in 2 of 2 holds, by up to 3 us");
}

/* A stick is faster than 100 us a second, or goes farther than 100 us. */
static void slow_moves(void **state) {
    (void)state;
    static const struct {
        double us_per_s, by_us;
        bool told;
    } cases[] = {
        {99, 99, true}, {-99, -99, true}, {101, 99, false}, {-101, -99, false}, {99, 101, false},
    };
    bed b;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        fill(&b);
        b.c.moves = 1;
        b.move[0] = (spw_move){.start_s = 1,
                               .end_s = 2,
                               .from_us = 1500,
                               .to_us = 1500 + cases[i].by_us,
                               .slope_us_per_s = cases[i].us_per_s};
        if (cases[i].told)
            assert_said(&b, "us/s from 1.000 s to 2.000 s: that is no hold");
        else
            assert_silent(&b);
    }
    fill(&b);
    b.c.moves = 2;
    b.move[0] = b.move[1] = (spw_move){.start_s = 1, .end_s = 2, .slope_us_per_s = 5};
    assert_said(&b, "at 5 us/s from 1.000 s to 2.000 s (and in 1 more stretches)");
}

static void doubts(void **state) {
    (void)state;
    static const struct {
        uint32_t what;
        const char *words;
    } cases[] = {
        {SPW_DOUBT_CLIPPING, "the recording clips: lower its level"},
        {SPW_DOUBT_SATURATION, "input saturates (lower its level)"},
        {SPW_DOUBT_ASYMMETRY, "rising and falling edges have different shapes"},
        {SPW_DOUBT_FEW, "too few pulses to learn the edges' shape from"},
        {SPW_DOUBT_TOO_FAST, "too fast for this sample rate: record faster"},
        {SPW_DOUBT_NO_PLATEAU, "never settles for 100 us"},
        {SPW_DOUBT_WEAK, "less than a fifth as high as before"},
        {SPW_DOUBT_SHAPE, "look different from those that the timing was learned from"},
    };
    bed b;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        fill(&b);
        b.report.doubts = cases[i].what;
        assert_said(&b, cases[i].words);
        b.report.doubt[0].what = cases[i].what;
        b.report.doubts_placed = 1;
        b.doubt[0] = (spw_doubt){.what = cases[i].what, .from_s = 1, .to_s = 2};
        b.c.doubts = 1;
        assert_said(&b, "from 1.000 s to 2.000 s");
        b.report.doubt[1].what = cases[i].what;
        b.report.doubts_placed = 2;
        assert_said(&b, "in 2 stretches, the first from 1.000 s to 2.000 s");
    }
    fill(&b);
    b.report.doubts = SPW_DOUBT_LOSSY;
    b.report.u_codec_us = 0.6; /* twice the standard uncertainty */
    assert_said(&b, "widths may be off by 1.2 us; record uncompressed");
    fill(&b);
    b.report.shape_changed_s = 4;
    b.report.shapes_more = 1;
    assert_said(&b, "the edges' shape changes at 4.000 s: from there on");
    b.report.shapes_more = 2;
    assert_said(&b, "the edges' shape changes more than once, first at 4.000 s");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_to_say), cmocka_unit_test(polarity_and_step),
        cmocka_unit_test(few_pulses),     cmocka_unit_test(rate_too_high),
        cmocka_unit_test(left_out),       cmocka_unit_test(frames_and_clock),
        cmocka_unit_test(scatter),        cmocka_unit_test(wander),
        cmocka_unit_test(slow_moves),     cmocka_unit_test(doubts),
    };
    return cmocka_run_group_tests_name("warned", tests, NULL, NULL);
}
