/* Step responses of a channel whose transitions change while it runs. */
#ifndef SIM_BANK_H
#define SIM_BANK_H

#include "sim/response.h"

enum { SIM_RESPONSES = 96 };
typedef struct sim_bank {
    const sim_channel *channel;
    struct {
        double tau_s, low_pass_hz, spike_hz;
        sim_response response;
    } kept[SIM_RESPONSES];
    size_t n;
} sim_bank;

/* The response of an edge at an instant; ramps go in 32 steps. spike_hz > 0: through one
 * more high-pass. NULL without memory or with more responses than there is room for. */
const sim_response *sim_bank_at(sim_bank *bank, bool falls, double at_s, double spike_hz);
void sim_bank_free(sim_bank *bank);

#endif
