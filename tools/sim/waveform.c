#include "sim/waveform.h"

#include "sim/rng.h"

#include <math.h>
#include <stdlib.h>

/* Exponentials that all edges so far have left, at sample `at`. */
typedef struct tails {
    double state[SIM_POLES], factor[SIM_POLES];
    size_t at;
} tails;

static void tails_run(tails *t, double *y, size_t until) {
    for (; t->at < until; t->at++)
        for (int i = 0; i < SIM_POLES; i++) {
            y[t->at] += t->state[i];
            t->state[i] *= t->factor[i];
        }
}

/* Adds one edge's table part to the samples, and starts its tail. */
static void add_edge(const sim_response *r, double step, double edge_s, double rate, double *y,
                     size_t n, tails *t) {
    double from = ceil((edge_s + r->start_s) * rate), to = ceil((edge_s + r->end_s) * rate);
    size_t first = from < 0 ? 0 : (size_t)from, last = to < 0 ? 0 : (size_t)to;
    for (size_t i = first; i < last && i < n; i++)
        y[i] += step * sim_response_table(r, (double)i / rate - edge_s);
    size_t stop = last < n ? last : n;
    tails_run(t, y, stop);
    double since = (double)t->at / rate - edge_s - r->end_s;
    for (int i = 0; i < SIM_POLES; i++) {
        t->factor[i] = exp(-r->rate[i] / rate);
        t->state[i] += step * r->tail[i] * exp(-r->rate[i] * since);
    }
}

double sim_step_height(const sim_channel *c, const sim_edges *e, size_t k) {
    size_t pulse = k / 2;
    double at_s = e->at_s[2 * pulse];
    double height = c->amplitude * pow(10, sim_disturbed(c, SIM_LEVEL, at_s, 0) / 20);
    double sd = sim_disturbed(c, SIM_HEIGHTS, at_s, 0);
    if (sd > 0) {
        sim_rng rng = sim_rng_seed(c->seed + 0x9e3779b9 * (pulse + 1));
        height *= 1 + sd * sim_rng_normal(&rng);
    }
    return height;
}

static bool add_own(sim_bank *b, const sim_edges *e, double *y, size_t n) {
    const sim_channel *c = b->channel;
    tails t = {.at = 0};
    bool high = e->start_high;
    for (size_t k = 0; k < e->n; k++, high = !high) {
        const sim_response *r = sim_bank_at(b, high, e->at_s[k], 0);
        if (r == NULL)
            return false;
        double step = sim_step_height(c, e, k);
        add_edge(r, high ? -step : step, sim_clocked_s(c, e->at_s[k]), c->sample_rate_hz, y, n, &t);
    }
    tails_run(&t, y, n);
    return true;
}

/* A pulse of a neighbour that starts at an instant. */
static bool add_neighbour(sim_bank *b, const sim_disturbance *d, double at_s, double *y, size_t n,
                          tails *t) {
    const sim_channel *c = b->channel;
    double spike_hz = d->spike_s > 0 ? 1 / (2 * M_PI * d->spike_s) : 0;
    double step = sim_share(d, at_s) * c->amplitude * pow(10, d->value / 20);
    for (int falls = 0; step > 0 && falls < 2; falls++) {
        double edge_s = at_s + falls * d->width_s;
        const sim_response *r = sim_bank_at(b, falls, edge_s, spike_hz);
        if (r == NULL)
            return false;
        add_edge(r, falls ? -step : step, sim_clocked_s(c, edge_s), c->sample_rate_hz, y, n, t);
    }
    return true;
}

static bool add_crosstalk(sim_bank *b, const sim_disturbance *d, const sim_edges *e, double *y,
                          size_t n) {
    tails t = {.at = 0};
    bool good = true;
    if (d->frame_s > 0) {
        double end_s = (double)n / b->channel->sample_rate_hz;
        for (double at = d->at_s + d->lag_s; at < end_s && good; at += d->frame_s)
            good = add_neighbour(b, d, at, y, n, &t);
    }
    for (size_t k = e->start_high; d->frame_s <= 0 && k < e->n && good; k += 2)
        good = add_neighbour(b, d, e->at_s[k] + d->lag_s, y, n, &t);
    tails_run(&t, y, n);
    return good;
}

bool sim_waveform_add(sim_bank *b, const sim_edges *e, double *y, size_t n) {
    bool good = add_own(b, e, y, n);
    for (size_t i = 0; i < b->channel->disturbances && good; i++)
        if (b->channel->disturbance[i].kind == SIM_CROSSTALK)
            good = add_crosstalk(b, &b->channel->disturbance[i], e, y, n);
    return good;
}
