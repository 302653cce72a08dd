/* Power-up: the first pulses are often odd. They are reported and never counted. */
#include "pulses/train.h"

#include <math.h>

enum { FIRST = 5, AFTER = 7, AFTER_MOST = 25 };
/* So far from the widths that follow, in us at least. */
static const double FAR_US = 5;
/* Chance that an ordinary first pulse is further from so few that follow. */
static const double CHANCE = 1e-6;

/* Widths within this of the mean of n others are one of them: the t quantile, as a few
 * widths tell their scatter badly. */
static double ordinary(double sd, size_t n) {
    return spw_coverage_factor(1 - CHANCE, (double)n - 1) * sd * sqrt(1 + 1 / (double)n);
}

spw_status spw_first_pulses(const spw_train *train, spw_channel *channel) {
    size_t at[FIRST + AFTER_MOST];
    size_t n = 0;
    for (size_t i = 0; i < channel->pulses && n < FIRST + AFTER_MOST; i++)
        if ((channel->pulse[i].flags & SPW_PULSE_OUT) == 0)
            at[n++] = i;
    double period_s = channel->regime[0].period_us * 1e-6;
    if (n < FIRST + AFTER || !(channel->pulse[at[0]].lead_s - train->from_s > 1.5 * period_s))
        return SPW_OK; /* the capture starts in mid train */
    double after[AFTER_MOST];
    for (size_t i = 0; i < n - FIRST; i++)
        after[i] = spw_pulse_width_us(&channel->pulse[at[FIRST + i]]);
    spw_summary near, all;
    spw_status status = spw_summarise(after, AFTER, &near);
    if (status == SPW_OK)
        status = spw_summarise(after, n - FIRST, &all);
    if (status != SPW_OK)
        return status;
    double step_us = train->resolution_us > 0 ? train->resolution_us : 0;
    /* The nearest ones alone, where those after them move away. */
    double scatter = fmin(ordinary(near.sd, AFTER), ordinary(all.sd, n - FIRST));
    double far = fmax(fmax(scatter, FAR_US), 3 * step_us);
    if (fabs(after[AFTER - 1] - after[0]) > far)
        return SPW_OK; /* it moves: nothing to be odd against */
    for (size_t i = 0; i < FIRST; i++)
        if (fabs(spw_pulse_width_us(&channel->pulse[at[i]]) - near.median) > far)
            channel->pulse[at[i]].flags |= SPW_PULSE_FIRST;
    return SPW_OK;
}
