/* What the holds of a channel tell together about its noise: a slow part that each of them
 * is too short to show. */
#include "pulses/holds/holds.h"

#include <math.h>
#include <stdlib.h>

/* The ordinary pulses of a hold; *n of them. The caller frees. */
static uint32_t *plain_pulses(const spw_channel *c, const spw_hold *h, size_t *n) {
    uint32_t *at = malloc((h->end_pulse - h->first_pulse + 1) * sizeof *at);
    *n = 0;
    for (size_t i = h->first_pulse; at != NULL && i < h->end_pulse; i++)
        if ((c->pulse[i].flags & SPW_PULSE_NO_WIDTH) == 0)
            at[(*n)++] = (uint32_t)i;
    return at;
}

/* Holds of which the noise is learnt, in frames; pulses that are enough for it. */
enum { LEARN_LEAST = 16, LEARN_MOST = 20000 };

/* So many holds that wander by themselves, and such a part of them, tell it of all. */
enum { MANY = 2 };
static const double MANY_SHARE = 0.3;

/* Is there a slow part under the noise of the holds that do not show it by themselves? */
static spw_status learn_memory(const spw_recording *recording, const spw_channel *c,
                               bool *wanders) {
    spw_memory memory = {0};
    size_t looked_at = 0, wander = 0;
    for (size_t h = 0; h < c->holds && memory.n < LEARN_MOST; h++) {
        const spw_hold *hold = &c->hold[h];
        if (hold->pulses < LEARN_LEAST || hold->width_us.sd <= recording->resolution_us)
            continue;
        looked_at++;
        wander += hold->budget.wander_us > 0;
        if (hold->budget.wander_us > 0)
            continue;
        size_t n = 0;
        uint32_t *at = plain_pulses(c, hold, &n);
        double *us = malloc((n + 1) * sizeof *us);
        for (size_t i = 0; at != NULL && us != NULL && i < n; i++)
            us[i] = spw_pulse_width_us(&c->pulse[at[i]]);
        bool good = at != NULL && us != NULL;
        if (good)
            spw_memory_add(&memory, us, n);
        free(at);
        free(us);
        if (!good)
            return SPW_ERR_MEMORY;
    }
    bool many = wander >= MANY && (double)wander >= MANY_SHARE * (double)looked_at;
    *wanders = many || spw_memory_is_long(&memory);
    return SPW_OK;
}

static double period_of(const spw_channel *c, const spw_hold *hold) {
    size_t r = 0;
    while (r + 1 < c->regimes && c->regime[r].end_pulse <= hold->first_pulse)
        r++;
    return c->regimes > 0 ? c->regime[r].period_us : (double)NAN;
}

spw_status spw_holds_remember(const spw_recording *recording, spw_channel *channel) {
    spw_status status = learn_memory(recording, channel, &channel->wanders);
    spw_recording known = *recording;
    known.wanders = true;
    for (size_t h = 0; h < channel->holds && channel->wanders && status == SPW_OK; h++) {
        spw_hold *hold = &channel->hold[h];
        size_t n = 0;
        uint32_t *at = plain_pulses(channel, hold, &n);
        status = at == NULL ? SPW_ERR_MEMORY
                            : spw_width_summary(&known, channel, at, n, period_of(channel, hold),
                                                &hold->width_us, &hold->budget);
        free(at);
    }
    return status;
}
