#include "sim/bank.h"

#include <math.h>

enum { STEPS = 32 };

/* A parameter on its way from one value to the next takes one of so many values. */
static double stepped(const sim_channel *c, sim_disturbance_kind kind, double at_s, double before) {
    double now = sim_disturbed(c, kind, at_s, before);
    for (size_t i = 0; i < c->disturbances; i++) {
        const sim_disturbance *d = &c->disturbance[i];
        double share = sim_share(d, at_s);
        if (d->kind != kind || !(share > 0) || !(share < 1))
            continue;
        double whole = rint(share * STEPS) / STEPS;
        now = sim_disturbed(c, kind, d->at_s + whole * d->ramp_s, before);
    }
    return now;
}

const sim_response *sim_bank_at(sim_bank *b, bool falls, double at_s, double spike_hz) {
    const sim_channel *c = b->channel;
    double own_us = 1e6 * (falls ? c->fall_tau_s : c->rise_tau_s);
    double tau_s = 1e-6 * stepped(c, falls ? SIM_FALL_US : SIM_RISE_US, at_s, own_us);
    double low_pass_hz = sim_disturbed(c, SIM_LOW_PASS, at_s, c->low_pass_hz);
    for (size_t i = b->n; i-- > 0;)
        if (b->kept[i].tau_s == tau_s && b->kept[i].low_pass_hz == low_pass_hz &&
            b->kept[i].spike_hz == spike_hz)
            return &b->kept[i].response;
    if (b->n == SIM_RESPONSES)
        return NULL;
    sim_channel with = *c;
    with.low_pass_hz = low_pass_hz;
    for (size_t i = 0; i < SIM_POLES && spike_hz > 0; i++)
        if (!(with.high_pass_hz[i] > 0)) {
            with.high_pass_hz[i] = spike_hz;
            break;
        }
    sim_response *made = &b->kept[b->n].response;
    if (!sim_response_make(&with, tau_s, made))
        return NULL;
    b->kept[b->n].tau_s = tau_s;
    b->kept[b->n].low_pass_hz = low_pass_hz;
    b->kept[b->n].spike_hz = spike_hz;
    b->n++;
    return made;
}

void sim_bank_free(sim_bank *b) {
    while (b->n > 0)
        sim_response_free(&b->kept[--b->n].response);
}
