#include "sim/edge_trial.h"

#include "sim/rng.h"

#include <math.h>
#include <stdlib.h>

sim_trial sim_trial_default(double sample_rate_hz, char filter, double snr_db) {
    sim_trial trial = {.channel = sim_channel_default(sample_rate_hz, filter),
                       .pulses = 1000,
                       .width_samples = floor(1.5e-3 * sample_rate_hz) + 0.5,
                       .frame_s = 20e-3,
                       .phase = (double)NAN,
                       .idle_s = 0.05};
    trial.channel.snr_db = snr_db;
    trial.channel.high_pass_hz[0] = 5;
    return trial;
}

typedef struct received {
    spw_edge *edge;
    size_t n, room;
} received;

static spw_status receive(void *context, const spw_edge *edges, size_t n) {
    received *r = context;
    for (size_t i = 0; i < n; i++) {
        if ((edges[i].flags & (SPW_EDGE_FOUND | SPW_EDGE_LOST)) == 0 && r->n < r->room)
            r->edge[r->n++] = edges[i];
    }
    return SPW_OK;
}

/* Frames of pulses whose distances are the channels' values, 1 to 2 ms. */
static double sum_gap_s(const sim_trial *t, size_t k, sim_rng *rng) {
    size_t in_frame = k % (t->sum_channels + 1);
    double left = t->frame_s;
    for (size_t i = 0; i < t->sum_channels; i++) {
        double value_s = 1e-3 + 1e-3 * fmod(0.382 + 0.618 * (double)i, 1);
        if (i == in_frame)
            return value_s + (sim_rng_uniform(rng) - 0.5) * 2 / t->channel.sample_rate_hz;
        left -= value_s;
    }
    return left + (sim_rng_uniform(rng) - 0.5) * 2 / t->channel.sample_rate_hz;
}

static void make_edges(const sim_trial *t, sim_rng *rng, double *edges_s) {
    double rate = t->channel.sample_rate_hz, any = sim_rng_uniform(rng);
    double at = t->idle_s + (isnan(t->phase) ? any : t->phase) / rate;
    for (size_t k = 0; k < t->pulses; k++) {
        double width = t->width_samples / rate + (k % 2 == 1 ? 1e-6 * t->alternate_us : 0);
        if (t->moving_us > 0)
            width += 1e-6 * t->moving_us * sin(2 * M_PI * (double)k / 97.3);
        edges_s[2 * k] = at;
        edges_s[2 * k + 1] = at + width;
        if (t->sum_channels > 0)
            at += sum_gap_s(t, k, rng);
        else
            at += t->locked ? rint(t->frame_s * rate) / rate
                            : t->frame_s + (sim_rng_uniform(rng) - 0.5) * 2 / rate;
    }
}

#define NEAR_S 100e-6
#define DELAY_MOST_S 400e-6 /* of a converter */

/* The found edge of a direction next to an instant and within `near_s` of it, among those
 * from *from on; or NULL. */
static const spw_edge *edge_near(const spw_edge *edges, size_t n, size_t *from, double at_s,
                                 double near_s, bool rises) {
    const spw_edge *best = NULL;
    double least = near_s;
    while (*from < n && edges[*from].time_s < at_s - least)
        (*from)++;
    for (size_t i = *from; i < n && edges[i].time_s < at_s + near_s; i++) {
        double off = fabs(edges[i].time_s - at_s);
        if (((edges[i].flags & SPW_EDGE_RISING) != 0) == rises && off < least) {
            least = off;
            best = &edges[i];
        }
    }
    return best;
}

/* A converter's delay and a codec's are common to all edges: the median over some. */
static double delay_of(const sim_take *take, const spw_edge *edges, size_t n) {
    bool rises = !take->channel.inverted;
    enum { SOME = 64 };
    double off[SOME];
    size_t used = 0, from = 0;
    for (size_t k = 0; k < take->edges && used < SOME; k += 2) {
        double at_s = sim_recorded_s(&take->channel, take->edge_s[k]);
        const spw_edge *e = edge_near(edges, n, &from, at_s, DELAY_MOST_S, rises);
        if (e == NULL)
            continue;
        double here = e->time_s - at_s;
        size_t i = used++;
        for (; i > 0 && off[i - 1] > here; i--)
            off[i] = off[i - 1];
        off[i] = here;
    }
    return used > 0 ? off[used / 2] : 0;
}

void sim_take_compare(const sim_trial *t, const sim_take *take, const spw_edge *edges, size_t n,
                      sim_outcome *out) {
    double sum = 0, square = 0, u2 = 0, count = 0;
    double delay_s = delay_of(take, edges, n), end_s = t->to_s > 0 ? t->to_s : INFINITY;
    size_t inside = 0, from = 0;
    out->missed = 0;
    out->worst_us = 0;
    for (size_t k = 0; k + 1 < take->edges; k += 2) {
        double rise_s = sim_recorded_s(&take->channel, take->edge_s[k]) + delay_s;
        double fall_s = sim_recorded_s(&take->channel, take->edge_s[k + 1]) + delay_s;
        double width_s = take->edge_s[k + 1] - take->edge_s[k];
        bool whole = fabs(fall_s - rise_s - width_s) < 1e-6 * 5;
        if (!whole || take->edge_s[k] < t->from_s || take->edge_s[k] >= end_s)
            continue;
        const spw_edge *a = edge_near(edges, n, &from, rise_s, NEAR_S, !t->channel.inverted);
        size_t after = from;
        const spw_edge *b = edge_near(edges, n, &after, fall_s, NEAR_S, t->channel.inverted);
        if (a == NULL || b == NULL) {
            out->missed++;
            continue;
        }
        double e = 1e6 * ((b->time_s - a->time_s) - width_s);
        double u = hypot((double)a->u_us, (double)b->u_us);
        sum += e;
        square += e * e;
        u2 += u * u;
        inside += fabs(e) < 2 * u;
        out->worst_us = fmax(out->worst_us, fabs(e));
        count++;
    }
    out->widths = (size_t)count;
    out->bias_us = sum / count;
    out->rms_us = sqrt(square / count);
    out->u_us = sqrt(u2 / count);
    out->coverage = (double)inside / count;
}

bool sim_take_make(const sim_trial *t, uint64_t seed, sim_take *take) {
    sim_rng rng = sim_rng_seed(seed);
    *take = (sim_take){.edges = 2 * t->pulses, .channel = t->channel};
    take->edge_s = malloc(take->edges * sizeof *take->edge_s);
    take->channel.seed = sim_rng_bits(&rng);
    bool made = take->edge_s != NULL;
    if (made) {
        make_edges(t, &rng, take->edge_s);
        made = sim_channel_render(&take->channel, take->edge_s, take->edges, false,
                                  take->edge_s[take->edges - 1] + 0.05, &take->samples, &take->n);
    }
    made = made && (!t->coded || sim_sound_code(t->codec, t->quality, t->channel.sample_rate_hz,
                                                take->samples, take->n));
    if (!made)
        sim_take_free(take);
    return made;
}

void sim_take_free(sim_take *take) {
    free(take->edge_s);
    free(take->samples);
    *take = (sim_take){0};
}

bool sim_trial_run(const sim_trial *t, uint64_t seed, size_t block, sim_outcome *outcome) {
    sim_take take;
    spw_edge_finder *finder = NULL;
    *outcome = (sim_outcome){.wanted = 2 * t->pulses, .status = SPW_ERR_MEMORY};
    received r = {.room = 2 * outcome->wanted + 64};
    r.edge = malloc(r.room * sizeof(spw_edge));
    bool made = sim_take_make(t, seed, &take);
    if (r.edge == NULL || !made) {
        free(r.edge);
        if (made)
            sim_take_free(&take);
        return false;
    }
    outcome->bound_us = sim_channel_bound_us(&take.channel, take.edge_s,
                                             take.edges < 800 ? take.edges : 800, 0, false);
    spw_edge_settings settings = {.sample_rate_hz = t->channel.sample_rate_hz,
                                  .full_scale = t->channel.bits > 0 ? 1 : (double)NAN,
                                  .lossy = t->lossy,
                                  .codec_samples = t->codec_samples};
    outcome->status = spw_edge_finder_new(&settings, receive, &r, &finder);
    if (outcome->status == SPW_OK)
        outcome->status = sim_push(finder, take.samples, take.n, block);
    if (outcome->status == SPW_OK)
        outcome->status = spw_edge_finder_finish(finder, &outcome->report);
    outcome->edges = r.n;
    outcome->rms_us = outcome->bias_us = outcome->coverage = outcome->u_us = (double)NAN;
    if (outcome->status == SPW_OK)
        sim_take_compare(t, &take, r.edge, r.n, outcome);
    spw_edge_finder_free(finder);
    free(r.edge);
    sim_take_free(&take);
    return true;
}
