/* Ends in doubt: the verdict, and holds in doubt beside holds without. */
#include "support/hand_channel.h"
#include "support/test.h"

#include <math.h>

static spw_end low_end(double us, double U95, double bound_us) {
    spw_span span = hand_span(us, NAN, 2500, U95);
    span.low.doubt = (spw_doubt){SPW_DOUBT_CLIPPING, 1, 2, bound_us};
    return spw_judge_end(&span.low, 500, 10, -1);
}

/* A tolerance of 10 us and U95 1 us: the bound widens the band on both sides. */
static void test_bound_widens_the_guard_band(void **state) {
    (void)state;
    assert_int_equal(low_end(505.9, 1, 3).verdict, SPW_END_MEETS);
    assert_int_equal(low_end(506.1, 1, 3).verdict, SPW_END_UNDECIDED);
    assert_int_equal(low_end(513.9, 1, 3).verdict, SPW_END_UNDECIDED);
    assert_int_equal(low_end(514.1, 1, 3).verdict, SPW_END_SHORT);
    assert_int_equal(low_end(486.1, 1, 3).verdict, SPW_END_UNDECIDED);
    assert_int_equal(low_end(485.9, 1, 3).verdict, SPW_END_BEYOND);
}

static void test_unknown_bound_is_never_decided(void **state) {
    (void)state;
    static const double reads[] = {100, 480.8, 500, 510, 980.8, 2400};
    for (size_t i = 0; i < sizeof reads / sizeof reads[0]; i++) {
        spw_end end = low_end(reads[i], 0.1, NAN);
        assert_int_equal(end.verdict, SPW_END_UNDECIDED);
        assert_int_equal(end.doubt.what, SPW_DOUBT_CLIPPING);
        /* no number of frames helps, and no probability is known */
        assert_true(isnan(end.frames_needed) && isnan(end.probability_meets));
    }
}

static void doubted(spw_hold *hold, double bound_us) {
    hold->doubts = SPW_DOUBT_CLIPPING;
    hold->doubt_bound_us = bound_us;
}

static spw_span build(spw_hold *hold, size_t holds) {
    spw_channel channel = hand_channel(hold, holds);
    const spw_channel *channels[] = {&channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    return span;
}

/* The second half clips: its holds read 3.9 us more and stay out; none reaches farther down, one
 * farther up. */
static void test_sound_holds_stand_in(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 1000, 0.1, 100),    hand_hold(3, 1500, 0.1, 100),
                       hand_hold(6, 2000, 0.1, 100),    hand_hold(9, 1003.9, 0.1, 100),
                       hand_hold(12, 1503.9, 0.1, 100), hand_hold(15, 2003.9, 0.1, 100)};
    for (int i = 3; i < 6; i++)
        doubted(&hold[i], NAN);
    spw_span span = build(hold, 6);
    assert_true(span.known);
    assert_int_equal(span.left_out, 3);
    assert_int_equal(span.levels, 3);
    assert_near(span.low.us, 1000, 1e-9);
    assert_near(span.high.us, 2000, 1e-9);
    assert_int_equal(span.frames, 300);
    assert_int_equal(span.low.doubt.what, 0);
    assert_int_equal(span.high.doubt.what, SPW_DOUBT_CLIPPING);
    assert_near(span.high.doubt.bound_us, 3.9, 1e-9);
    assert_near(span.left_doubt.from_s, 9, 1e-9);
}

/* What was held in the doubtful part only is all there is. */
static void test_an_end_held_in_doubt_only(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 1000, 0.1, 100), hand_hold(3, 1500, 0.1, 100),
                       hand_hold(6, 2003.9, 0.1, 100), hand_hold(9, 1503.8, 0.1, 100)};
    doubted(&hold[2], NAN);
    doubted(&hold[3], NAN);
    spw_span span = build(hold, 4);
    assert_near(span.high.us, 2003.9, 1e-9);
    assert_int_equal(span.high.doubt.what, SPW_DOUBT_CLIPPING);
    assert_true(isnan(span.high.doubt.bound_us));
    assert_near(span.high.doubt.from_s, 6, 1e-9);
    assert_int_equal(span.low.doubt.what, 0);
    assert_int_equal(span.neutral.doubt.what, 0);
    assert_int_equal(span.left_out, 1);
}

/* A known bound tells one level from another: 8 us away is no error of 1 us. */
static void test_bound_tells_levels_apart(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 1000, 0.1, 100), hand_hold(3, 2000, 0.1, 100),
                       hand_hold(6, 1000.6, 0.1, 100), hand_hold(9, 2008, 0.1, 100)};
    doubted(&hold[2], 1);
    doubted(&hold[3], 1);
    spw_span span = build(hold, 4);
    assert_int_equal(span.left_out, 1);
    assert_near(span.low.us, 1000, 1e-9);
    assert_near(span.high.us, 2008, 1e-9);
    assert_near(span.high.doubt.bound_us, 1, 1e-9);
}

static void test_all_in_doubt(void **state) {
    (void)state;
    spw_hold hold[] = {hand_hold(0, 1000, 0.1, 100), hand_hold(3, 2000, 0.1, 100),
                       hand_hold(6, 1000, 0.1, 100)};
    doubted(&hold[0], 2);
    doubted(&hold[1], NAN);
    doubted(&hold[2], 1);
    spw_span span = build(hold, 3);
    assert_true(span.known);
    assert_int_equal(span.left_out, 0);
    assert_near(span.low.doubt.bound_us, 2, 1e-9);
    assert_near(span.low.doubt.from_s, 0, 1e-9);
    assert_near(span.low.doubt.to_s, 8, 1e-9);
    assert_true(isnan(span.high.doubt.bound_us));
}

static void push_hold(spw_train *train, double start_s, double us) {
    for (int i = 0; i < 100; i++) {
        double lead_s = start_s + 0.02 * i;
        spw_edge edge[] = {{.time_s = lead_s, .u_us = 0.1F, .flags = SPW_EDGE_RISING},
                           {.time_s = lead_s + us * 1e-6, .u_us = 0.1F}};
        assert_int_equal(spw_train_push(train, edge, 2), SPW_OK);
    }
}

/* From the finder's stretch to the span: the last three holds lie in it. */
static void test_a_stretch_of_a_recording(void **state) {
    (void)state;
    static const double sent_us[] = {1000, 1500, 2000, 1003.9, 1503.9, 2003.9};
    spw_measure_options options = spw_measure_defaults();
    spw_edge_report report = {.doubts = SPW_DOUBT_CLIPPING,
                              .doubt = {{SPW_DOUBT_CLIPPING, 6.5, 12.5, NAN}},
                              .doubts_placed = 1};
    spw_train *train;
    spw_channel channel = {.kind = SPW_KIND_ANALOGUE, .unit = SPW_UNIT_FULL_SCALE};
    assert_int_equal(spw_train_new(&options, 1 / 48000.0, &train), SPW_OK);
    spw_edge first = {.time_s = 0, .flags = SPW_EDGE_FIRST};
    assert_int_equal(spw_train_push(train, &first, 1), SPW_OK);
    for (int i = 0; i < 6; i++)
        push_hold(train, 0.5 + 2 * i, sent_us[i]);
    assert_int_equal(spw_train_finish(train, 12.6, 1, &report, &channel), SPW_OK);
    spw_train_free(train);
    assert_int_equal(channel.holds, 6);
    for (size_t i = 0; i < 6; i++)
        assert_int_equal(channel.hold[i].doubts, i < 3 ? 0 : SPW_DOUBT_CLIPPING);
    const spw_channel *channels[] = {&channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    assert_int_equal(span.left_out, 3);
    assert_near(span.low.us, 1000, 0.01);
    assert_near(span.high.us, 2000, 0.01);
    assert_near(span.high.doubt.bound_us, 3.9, 0.02);
    spw_channel_clear(&channel);
}

/* Thousands of holds in doubt between two without: one pass. */
static void test_many(void **state) {
    (void)state;
    enum { MANY = 20000 };
    spw_hold *hold = test_malloc(MANY * sizeof *hold);
    for (size_t i = 0; i < MANY; i++) {
        hold[i] = hand_hold((double)i, 1000 + 0.05 * (double)i, 0.1, 10);
        if (i > 0 && i < MANY - 1)
            doubted(&hold[i], NAN);
    }
    spw_span span = build(hold, MANY);
    test_free(hold);
    assert_near(span.low.us, 1000, 1e-9);
    assert_near(span.high.us, 1999.95, 1e-9);
    assert_int_equal(span.left_out, 1000); /* 25 us at each end, 20 a us */
}

static spw_wire wire(spw_kind kind, spw_unit unit, spw_polarity polarity) {
    spw_hold hold[] = {hand_hold(0, 1000, 0.1, 100), hand_hold(3, 2000, 0.1, 100)};
    spw_channel channel = hand_channel(hold, 2);
    channel.kind = kind;
    channel.unit = unit;
    channel.polarity = polarity;
    channel.polarity_basis = SPW_BASIS_WIDTH;
    const spw_channel *channels[] = {&channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    return span.wire;
}

static void test_wire(void **state) {
    (void)state;
    assert_int_equal(wire(SPW_KIND_LOGIC, SPW_UNIT_NONE, SPW_POLARITY_POSITIVE), SPW_WIRE_UPRIGHT);
    assert_int_equal(wire(SPW_KIND_LOGIC, SPW_UNIT_NONE, SPW_POLARITY_NEGATIVE), SPW_WIRE_INVERTED);
    assert_int_equal(wire(SPW_KIND_ANALOGUE, SPW_UNIT_VOLT, SPW_POLARITY_NEGATIVE),
                     SPW_WIRE_INVERTED);
    assert_int_equal(wire(SPW_KIND_ANALOGUE, SPW_UNIT_FULL_SCALE, SPW_POLARITY_NEGATIVE),
                     SPW_WIRE_MAYBE_INVERTED);
    assert_int_equal(wire(SPW_KIND_LOGIC, SPW_UNIT_NONE, SPW_POLARITY_UNDECIDED),
                     SPW_WIRE_UNDECIDED);
}

/* All kinds, the whole time, the larger bound; unknown is larger than any. */
static void test_joined(void **state) {
    (void)state;
    spw_doubt none = {0}, one = {SPW_DOUBT_LOSSY, 2, 3, 1}, all = {0};
    spw_doubt_join(&all, &one);
    assert_near(spw_doubt_reach_us(&all), 1, 0);
    spw_doubt_join(&all, &none);
    spw_doubt_join(&all, &(spw_doubt){SPW_DOUBT_ASYMMETRY, 1, 2.5, 4});
    assert_int_equal(all.what, SPW_DOUBT_LOSSY | SPW_DOUBT_ASYMMETRY);
    assert_near(all.from_s, 1, 0);
    assert_near(all.to_s, 3, 0);
    assert_near(spw_doubt_reach_us(&all), 4, 0);
    spw_doubt_join(&all, &(spw_doubt){SPW_DOUBT_CLIPPING, 1, 2, NAN});
    spw_doubt_join(&all, &one);
    assert_true(isinf(spw_doubt_reach_us(&all)));
    assert_near(spw_doubt_reach_us(&none), 0, 0);
}

/* Every kind has its words and its cure, and no two kinds the same words. */
static void test_words(void **state) {
    (void)state;
    for (uint32_t kind = SPW_DOUBT_CLIPPING; kind <= SPW_DOUBT_NO_PLATEAU; kind <<= 1) {
        assert_string_not_equal(spw_doubt_name(kind), spw_doubt_name(0));
        assert_string_not_equal(spw_doubt_words(kind), spw_doubt_words(0));
        assert_string_not_equal(spw_doubt_cure(kind), spw_doubt_cure(0));
    }
    /* the gravest of several */
    assert_string_equal(spw_doubt_name(SPW_DOUBT_LOSSY | SPW_DOUBT_CLIPPING), "clipping");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bound_widens_the_guard_band),
        cmocka_unit_test(test_unknown_bound_is_never_decided),
        cmocka_unit_test(test_sound_holds_stand_in),
        cmocka_unit_test(test_an_end_held_in_doubt_only),
        cmocka_unit_test(test_bound_tells_levels_apart),
        cmocka_unit_test(test_all_in_doubt),
        cmocka_unit_test(test_a_stretch_of_a_recording),
        cmocka_unit_test(test_many),
        cmocka_unit_test(test_joined),
        cmocka_unit_test(test_wire),
        cmocka_unit_test(test_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
