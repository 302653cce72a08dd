/* Which stretches of a line a span is taken from: those of one frame period. */
#include "spanwright/span.h"

#include <math.h>

/* Regimes are told apart from 1 % on; mean periods of one regime agree far better. */
static const double ONE_PERIOD = 0.01;

bool spw_regime_judged(const spw_channel *channel, size_t regime) {
    if (regime >= channel->regimes)
        return false;
    double main_us = channel->regime[channel->main_regime].period_us;
    double off_us = fabs(channel->regime[regime].period_us - main_us);
    return regime == channel->main_regime || off_us <= ONE_PERIOD * main_us;
}

bool spw_hold_judged(const spw_channel *channel, const spw_hold *hold) {
    if (channel->regimes < 2)
        return true;
    for (size_t r = 0; r < channel->regimes; r++)
        if (hold->start_s >= channel->regime[r].start_s && hold->end_s <= channel->regime[r].end_s)
            return spw_regime_judged(channel, r);
    return false;
}

spw_status spw_span_of_regime(const spw_channel *channel, size_t regime, double neutral_us,
                              spw_span *span) {
    if (regime >= channel->regimes)
        return SPW_ERR_ARGUMENT;
    spw_channel alone = *channel; /* a view: it borrows everything */
    alone.regime = &channel->regime[regime];
    alone.regimes = 1;
    alone.main_regime = 0;
    size_t first = 0, end = channel->holds;
    while (first < end && channel->hold[first].start_s < alone.regime->start_s)
        first++;
    while (end > first && channel->hold[end - 1].end_s > alone.regime->end_s)
        end--;
    alone.hold = first < end ? &channel->hold[first] : NULL;
    alone.holds = end - first;
    if (regime != channel->main_regime) {
        alone.period_us = spw_summary_none();
        alone.step_us = alone.step_u_us = (double)NAN;
    }
    const spw_channel *channels[] = {&alone};
    return spw_span_build(channels, 1, neutral_us, span);
}
