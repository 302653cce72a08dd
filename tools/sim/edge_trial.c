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

static void make_edges(const sim_trial *t, sim_rng *rng, double *edges_s) {
    double rate = t->channel.sample_rate_hz, any = sim_rng_uniform(rng);
    double at = t->idle_s + (isnan(t->phase) ? any : t->phase) / rate;
    for (size_t k = 0; k < t->pulses; k++) {
        double width = t->width_samples / rate;
        if (t->moving_us > 0)
            width += 1e-6 * t->moving_us * sin(2 * M_PI * (double)k / 97.3);
        edges_s[2 * k] = at;
        edges_s[2 * k + 1] = at + width;
        at += t->locked ? rint(t->frame_s * rate) / rate
                        : t->frame_s + (sim_rng_uniform(rng) - 0.5) * 2 / rate;
    }
}

static void compare(const sim_trial *t, const double *edges_s, const received *r,
                    sim_outcome *out) {
    double sum = 0, square = 0, u2 = 0;
    size_t inside = 0, n = 0;
    for (size_t k = 0; k < t->pulses; k++) {
        const spw_edge *a = &r->edge[2 * k], *b = a + 1;
        double e = 1e6 * ((b->time_s - a->time_s) - (edges_s[2 * k + 1] - edges_s[2 * k]));
        double u = hypot((double)a->u_us, (double)b->u_us);
        sum += e;
        square += e * e;
        u2 += u * u;
        inside += fabs(e) < 2 * u;
        out->worst_us = fmax(out->worst_us, fabs(e));
        n++;
    }
    out->widths = n;
    out->bias_us = sum / (double)n;
    out->rms_us = sqrt(square / (double)n);
    out->u_us = sqrt(u2 / (double)n);
    out->coverage = (double)inside / (double)n;
}

bool sim_trial_run(const sim_trial *t, uint64_t seed, size_t block, sim_outcome *outcome) {
    size_t n_edges = 2 * t->pulses, n = 0;
    double *edges_s = malloc(n_edges * sizeof *edges_s);
    received r = {.edge = malloc((n_edges + 64) * sizeof(spw_edge)), .room = n_edges + 64};
    float *samples = NULL;
    spw_edge_finder *finder = NULL;
    sim_rng rng = sim_rng_seed(seed);
    sim_channel channel = t->channel;
    channel.seed = sim_rng_bits(&rng);
    *outcome = (sim_outcome){.wanted = n_edges, .status = SPW_ERR_MEMORY};
    bool done = false;
    if (edges_s == NULL || r.edge == NULL)
        goto done;
    make_edges(t, &rng, edges_s);
    if (!sim_channel_render(&channel, edges_s, n_edges, false, edges_s[n_edges - 1] + 0.05,
                            &samples, &n))
        goto done;
    outcome->bound_us =
        sim_channel_bound_us(&channel, edges_s, n_edges < 800 ? n_edges : 800, 0, false);
    spw_edge_settings settings = {.sample_rate_hz = channel.sample_rate_hz,
                                  .full_scale = channel.bits > 0 ? 1 : (double)NAN,
                                  .lossy = t->lossy};
    outcome->status = spw_edge_finder_new(&settings, receive, &r, &finder);
    for (size_t at = 0; outcome->status == SPW_OK && at < n;) {
        size_t take = block > 0 ? block : 4096;
        take = take < n - at ? take : n - at;
        outcome->status = spw_edge_finder_push(finder, samples + at, take);
        at += take;
    }
    if (outcome->status == SPW_OK)
        outcome->status = spw_edge_finder_finish(finder, &outcome->report);
    outcome->edges = r.n;
    outcome->rms_us = outcome->bias_us = outcome->coverage = outcome->u_us = (double)NAN;
    if (outcome->status == SPW_OK && r.n == n_edges)
        compare(t, edges_s, &r, outcome);
    done = true;
done:
    spw_edge_finder_free(finder);
    free(samples);
    free(edges_s);
    free(r.edge);
    return done;
}
