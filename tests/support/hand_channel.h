/* Channels and spans put together by hand, for tests that need no capture. */
#ifndef HAND_CHANNEL_H
#define HAND_CHANNEL_H

#include "support/test.h"

#include <math.h>

/* cmocka compares in single precision; this does not. */
#define assert_near(value, expected, tolerance)                                                    \
    do {                                                                                           \
        double near_value = (value), near_expected = (expected);                                   \
        if (!(fabs(near_value - near_expected) <= (tolerance)))                                    \
            fail_msg("%s is %.17g, expected %.17g", #value, near_value, near_expected);            \
    } while (0)

/* A hold of `frames` frames of 20 ms from start_s on, whose mean has the
 * standard uncertainty u_us at infinite degrees of freedom. */
spw_hold hand_hold(double start_s, double us, double u_us, size_t frames);
/* A channel of these holds (borrowed) with 20 ms frames. */
spw_channel hand_channel(spw_hold *hold, size_t holds);
/* A measured span: ends and neutral (NAN none) with U95, 100 frames each. */
spw_span hand_span(double low_us, double neutral_us, double high_us, double U95_us);
/* The plan for a span on a bench; 1000 frames of the span's mean period. */
spw_plan *hand_plan(const spw_span *span, const spw_bench *bench);
/* The same for a span of hand_span with U95 0.1. */
spw_plan *hand_plan_of(double low_us, double neutral_us, double high_us, const spw_bench *bench);

#endif
