/* A line that changes its frame period: the span takes one period, the longest's; each
 * stretch has a span of its own. */
#include "support/hand_channel.h"
#include "support/measured.h"
#include "support/test.h"

#include <math.h>

static spw_span span_of(const spw_channel *channel) {
    const spw_channel *channels[] = {channel};
    spw_span span;
    assert_int_equal(spw_span_build(channels, 1, 1500, &span), SPW_OK);
    return span;
}

static spw_channel of_parts(const sim_part *part, size_t parts) {
    sim_train_spec spec = {
        .part = part, .parts = parts, .period_us = 20000, .start_s = 0.01, .jitter_us = 0.2};
    return measured(&spec, 24e6, 0.3, NULL);
}

/* 900 us at 3 ms behind a servo's 1000 to 2000 us at 20 ms is no low end of it. */
static void another_period_gives_no_end(void **state) {
    (void)state;
    const sim_part part[] = {
        {100, 1000, 1000, 0}, {100, 1500, 1500, 0}, {100, 2000, 2000, 0}, {1000, 900, 900, 3000}};
    spw_channel c = of_parts(part, 4);
    assert_int_equal(c.regimes, 2);
    assert_int_equal(c.main_regime, 0);
    spw_span span = span_of(&c);
    assert_true(span.known);
    assert_near(span.low.us, 1000, 0.2);
    assert_near(span.high.us, 2000, 0.2);
    assert_int_equal(span.levels, 3);
    assert_true(span.shortest_frame_us > 19990);
    assert_true(spw_hold_judged(&c, &c.hold[0]));
    assert_false(spw_hold_judged(&c, &c.hold[3]));
    spw_channel_clear(&c);
}

/* A buzzer that retunes the timer for a while: what follows at the old period counts. */
static void an_interruption_ends_nothing(void **state) {
    (void)state;
    const sim_part part[] = {{100, 1000, 1000, 0},
                             {100, 1500, 1500, 0},
                             {800, 200.5, 200.5, 2550},
                             {100, 2200, 2200, 0},
                             {60, 1250, 1250, 18000}};
    spw_channel c = of_parts(part, 5);
    assert_int_equal(c.regimes, 4);
    spw_span span = span_of(&c);
    assert_true(span.known);
    assert_near(span.low.us, 1000, 0.2);
    assert_near(span.high.us, 2200, 0.2);
    assert_int_equal(span.levels, 3);
    static const bool judged[] = {true, false, true, false};
    for (size_t r = 0; r < 4; r++)
        assert_int_equal(spw_regime_judged(&c, r), judged[r]);
    assert_false(spw_regime_judged(&c, 4));
    spw_channel_clear(&c);
}

static void each_regime_has_its_own_span(void **state) {
    (void)state;
    const sim_part part[] = {{100, 1000, 1000, 0},    {100, 2000, 2000, 0},
                             {300, 700, 700, 9000},   {300, 2300, 2300, 9000},
                             {300, 1234, 1234, 3000}, {200, 1500, 1500, 20000}};
    spw_channel c = of_parts(part, 6);
    assert_int_equal(c.regimes, 4);
    spw_span span;
    assert_int_equal(spw_span_of_regime(&c, 1, 1500, &span), SPW_OK);
    assert_true(span.known);
    assert_near(span.low.us, 700, 0.2);
    assert_near(span.high.us, 2300, 0.2);
    assert_near(span.shortest_frame_us, 9000, 1);
    assert_int_equal(spw_span_of_regime(&c, 0, 1500, &span), SPW_OK);
    assert_near(span.low.us, 1000, 0.2);
    assert_near(span.high.us, 2000, 0.2);
    assert_int_equal(spw_span_of_regime(&c, 2, 1500, &span), SPW_OK);
    assert_false(span.known);
    assert_int_equal(spw_span_of_regime(&c, 4, 1500, &span), SPW_ERR_ARGUMENT);
    spw_channel_clear(&c);
}

/* A sweep at another frame period is none of this line's either. */
static void sweeps_too(void **state) {
    (void)state;
    const sim_part part[] = {
        {150, 1000, 2000, 0}, {150, 2000, 1000, 0}, {900, 300, 2400, 3000}, {150, 1000, 2000, 0}};
    spw_channel c = of_parts(part, 4);
    assert_int_equal(c.regimes, 3);
    spw_span span = span_of(&c);
    assert_true(span.known);
    assert_int_equal(span.basis, SPW_SPAN_EXTREMES);
    assert_near(span.low.us, 1000, 25);
    assert_near(span.high.us, 2000, 25);
    assert_true(span.low.frames > 400);
    spw_channel_clear(&c);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(another_period_gives_no_end),
        cmocka_unit_test(an_interruption_ends_nothing),
        cmocka_unit_test(each_regime_has_its_own_span),
        cmocka_unit_test(sweeps_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
