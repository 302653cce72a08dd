#include "support/hand_channel.h"

#include <math.h>

#define FRAME_S 0.02

spw_hold hand_hold(double start_s, double us, double u_us, size_t frames) {
    spw_hold hold = {.start_s = start_s,
                     .end_s = start_s + FRAME_S * (double)frames,
                     .pulses = frames,
                     .width_us = spw_summary_none()};
    hold.width_us.n = frames;
    hold.width_us.mean = us;
    hold.width_us.sd = u_us * sqrt((double)frames);
    hold.width_us.u = u_us;
    hold.width_us.dof = INFINITY;
    hold.width_us.U95 = 1.959963984540054 * u_us;
    hold.width_us.floor = 0;
    hold.budget.u_scatter = u_us;
    hold.budget.dof_scatter = INFINITY;
    hold.budget.n_effective = (double)frames;
    return hold;
}

spw_channel hand_channel(spw_hold *hold, size_t holds) {
    spw_channel channel = {.signal = SPW_SIGNAL_CONTROL_PULSES,
                           .hold = hold,
                           .holds = holds,
                           .period_us = spw_summary_none(),
                           .width_us = spw_summary_none(),
                           .step_us = NAN,
                           .step_u_us = NAN};
    channel.period_us.n = 1000;
    channel.period_us.mean = 20000;
    channel.period_us.min = 19999;
    channel.period_us.max = 20001;
    channel.period_us.u = 0.01;
    return channel;
}

static spw_span_point point(double us, double U95_us) {
    double u = U95_us / 1.959963984540054;
    return (spw_span_point){
        .us = us, .u = u, .dof = INFINITY, .U95 = U95_us, .u_own = u, .frames = 100, .seconds = 2};
}

spw_span hand_span(double low_us, double neutral_us, double high_us, double U95_us) {
    spw_span span = {.known = true,
                     .basis = SPW_SPAN_HOLDS,
                     .low = point(low_us, U95_us),
                     .high = point(high_us, U95_us),
                     .neutral = point(neutral_us, U95_us),
                     .levels = isnan(neutral_us) ? 2 : 3,
                     .jitter_rms_us = NAN,
                     .floor_us = NAN,
                     .step_us = NAN,
                     .shortest_frame_us = 19999,
                     .mean_frame_us = 20000,
                     .saturates_high_us = NAN,
                     .saturates_low_us = NAN,
                     .frames = 300};
    return span;
}

spw_plan *hand_plan(const spw_span *span, const spw_bench *bench) {
    spw_plan *plan = NULL;
    spw_error error;
    spw_summary period = spw_summary_none();
    period.n = 1000;
    period.mean = period.min = period.max = span->mean_frame_us;
    period.u = 0.01;
    bool framed = !isnan(span->mean_frame_us);
    if (spw_plan_make(span, framed ? &period : NULL, bench, &plan, &error) != SPW_OK)
        fail_msg("%s", error.message);
    assert_non_null(plan->summary);
    return plan;
}

spw_plan *hand_plan_of(double low_us, double neutral_us, double high_us, const spw_bench *bench) {
    spw_span span = hand_span(low_us, neutral_us, high_us, 0.1);
    return hand_plan(&span, bench);
}
