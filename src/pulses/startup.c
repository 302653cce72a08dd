/* Power-up: the first pulses are often odd. They are reported and never counted. */
#include "pulses/train.h"

#include <math.h>

enum { FIRST = 5, AFTER = 7 };
/* So far from the widths that follow, in their sd, and in us at least. */
static const double FAR_SD = 8, FAR_US = 5;

spw_status spw_first_pulses(const spw_train *train, spw_channel *channel) {
    size_t at[FIRST + AFTER];
    size_t n = 0;
    for (size_t i = 0; i < channel->pulses && n < FIRST + AFTER; i++)
        if ((channel->pulse[i].flags & SPW_PULSE_OUT) == 0)
            at[n++] = i;
    double period_s = channel->regime[0].period_us * 1e-6;
    if (n < FIRST + AFTER || !(channel->pulse[at[0]].lead_s - train->from_s > 1.5 * period_s))
        return SPW_OK; /* the capture starts in mid train */
    double after[AFTER], median = 0, sd = 0;
    for (size_t i = 0; i < AFTER; i++)
        after[i] = spw_pulse_width_us(&channel->pulse[at[FIRST + i]]);
    spw_status status = spw_robust_scale(after, AFTER, &median, &sd);
    if (status != SPW_OK)
        return status;
    double step_us = train->resolution_us > 0 ? train->resolution_us : 0;
    double far = fmax(fmax(FAR_SD * sd, FAR_US), 3 * step_us);
    if (fabs(after[AFTER - 1] - after[0]) > far)
        return SPW_OK; /* it moves: nothing to be odd against */
    for (size_t i = 0; i < FIRST; i++)
        if (fabs(spw_pulse_width_us(&channel->pulse[at[i]]) - median) > far)
            channel->pulse[at[i]].flags |= SPW_PULSE_FIRST;
    return SPW_OK;
}
