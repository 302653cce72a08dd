#include "sim/channel.h"

#include "sim/response.h"
#include "sim/rng.h"

#include <math.h>
#include <stdlib.h>

sim_channel sim_channel_default(double sample_rate_hz, char filter) {
    return (sim_channel){.sample_rate_hz = sample_rate_hz,
                         .filter = filter,
                         .rise_tau_s = 0.3e-6,
                         .fall_tau_s = 0.3e-6,
                         .amplitude = 0.5,
                         .snr_db = INFINITY,
                         .transient_tau_s = 0.03,
                         .clip_low = -1,
                         .clip_high = 1,
                         .bits = 16,
                         .seed = 1};
}

static double lsb_of(int bits) {
    return bits > 0 ? ldexp(1, 1 - bits) : 0;
}

/* Adds one edge's table part to the samples, and starts its tail. `state` holds
 * the tails of all earlier edges at sample *at. */
typedef struct tails {
    double state[2], factor[2];
    size_t at;
} tails;

static void tails_run(tails *t, double *y, size_t until) {
    for (; t->at < until; t->at++) {
        y[t->at] += t->state[0] + t->state[1];
        t->state[0] *= t->factor[0];
        t->state[1] *= t->factor[1];
    }
}

static void add_edge(const sim_response *r, double step, double edge_s, double rate, double *y,
                     size_t n, tails *t) {
    double from = ceil((edge_s + r->start_s) * rate), to = ceil((edge_s + r->end_s) * rate);
    size_t first = from < 0 ? 0 : (size_t)from, last = to < 0 ? 0 : (size_t)to;
    for (size_t i = first; i < last && i < n; i++)
        y[i] += step * sim_response_table(r, (double)i / rate - edge_s);
    size_t stop = last < n ? last : n;
    tails_run(t, y, stop);
    double since = (double)stop / rate - edge_s - r->end_s;
    for (int i = 0; i < 2; i++)
        t->state[i] += step * r->tail[i] * exp(-r->rate[i] * since);
}

static void add_hum(const sim_channel *c, double *y, size_t n, sim_rng *rng) {
    /* rectifier-like: odd harmonics fall as 1/k, even ones are weaker */
    static const double share[7] = {1, 0.1, 0.33, 0.05, 0.2, 0.03, 0.14};
    double peak = c->amplitude * pow(10, c->hum_db / 20);
    for (int k = 0; k < 7; k++) {
        double w = 2 * M_PI * c->hum_hz * (k + 1) / c->sample_rate_hz;
        double phase = 2 * M_PI * sim_rng_uniform(rng);
        for (size_t i = (size_t)(c->hum_start_s * c->sample_rate_hz); i < n; i++)
            y[i] += peak * share[k] * sin(w * (double)i + phase);
    }
}

/* Everything after the converter's filter, sample by sample. */
static float finish(const sim_channel *c, double y, sim_rng *rng) {
    if (c->inverted)
        y = -y;
    if (c->soft_scale > 0)
        y = c->soft_scale * tanh(y / c->soft_scale);
    if (isfinite(c->snr_db))
        y += c->amplitude * pow(10, -c->snr_db / 20) * sim_rng_normal(rng);
    if (c->bits > 0) {
        double lsb = lsb_of(c->bits);
        y = fmin(fmax(y, c->clip_low), c->clip_high);
        y = lsb * fmin(fmax(rint(y / lsb), -ldexp(1, c->bits - 1)), ldexp(1, c->bits - 1) - 1);
    }
    return (float)y;
}

bool sim_channel_render(const sim_channel *c, const double *edges_s, size_t n_edges,
                        bool start_high, double duration_s, float **samples, size_t *n) {
    double rate = c->sample_rate_hz;
    size_t count = (size_t)(duration_s * rate);
    sim_response rise = {0}, fall = {0};
    double *y = calloc(count + 1, sizeof *y);
    float *out = malloc((count + 1) * sizeof *out);
    bool done = false;
    if (!(rate > 0) || y == NULL || out == NULL || !sim_response_make(c, c->rise_tau_s, &rise) ||
        !sim_response_make(c, c->fall_tau_s, &fall))
        goto done;
    bool coupled = rise.rate[0] > 0;
    double level = c->offset + (!coupled && start_high ? c->amplitude : 0);
    tails t = {.factor = {exp(-rise.rate[0] / rate), exp(-rise.rate[1] / rate)}};
    for (size_t i = 0; i < count; i++)
        y[i] = level + c->transient * c->amplitude * exp(-(double)i / rate / c->transient_tau_s);
    bool high = start_high;
    for (size_t k = 0; k < n_edges; k++, high = !high)
        add_edge(high ? &fall : &rise, high ? -c->amplitude : c->amplitude, edges_s[k], rate, y,
                 count, &t);
    tails_run(&t, y, count);
    sim_rng rng = sim_rng_seed(c->seed);
    if (c->hum_hz > 0)
        add_hum(c, y, count, &rng);
    for (size_t i = 0; i < count; i++)
        out[i] = finish(c, y[i], &rng);
    *samples = out;
    *n = count;
    out = NULL;
    done = true;
done:
    free(y);
    free(out);
    sim_response_free(&rise);
    sim_response_free(&fall);
    return done;
}

/* sum_n S'(t_n - t)^2 in 1/s^2: fourth-order differences over half a cell. */
static double slope_energy(const sim_response *r, double edge_s, double rate) {
    double sum = 0, d = r->cell_s / 2;
    double from = ceil((edge_s + r->start_s) * rate), to = (edge_s + r->end_s) * rate;
    for (double i = from; i < to; i++) {
        double t = i / rate - edge_s;
        double slope = (8 * (sim_response_at(r, t + d) - sim_response_at(r, t - d)) -
                        (sim_response_at(r, t + 2 * d) - sim_response_at(r, t - 2 * d))) /
                       (12 * d);
        sum += slope * slope;
    }
    return sum;
}

double sim_channel_bound_us(const sim_channel *c, const double *edges_s, size_t n_edges,
                            size_t first, bool start_high) {
    sim_response rise = {0}, fall = {0};
    double result = NAN;
    if (sim_response_make(c, c->rise_tau_s, &rise) && sim_response_make(c, c->fall_tau_s, &fall)) {
        double lsb = lsb_of(c->bits);
        double sigma = isfinite(c->snr_db) ? pow(10, -c->snr_db / 20) : 0;
        double variance = sigma * sigma + lsb * lsb / 12 / (c->amplitude * c->amplitude);
        double sum = 0;
        size_t pulses = 0;
        for (size_t k = first; k + 1 < n_edges; k += 2, pulses++)
            for (size_t e = k; e < k + 2; e++)
                sum += variance / slope_energy((e % 2 == 0) == start_high ? &fall : &rise,
                                               edges_s[e], c->sample_rate_hz);
        result = pulses > 0 ? 1e6 * sqrt(sum / (double)pulses) : NAN;
    }
    sim_response_free(&rise);
    sim_response_free(&fall);
    return result;
}
