#include "sim/channel.h"

#include "sim/colour.h"
#include "sim/rng.h"
#include "sim/waveform.h"

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

/* rectifier-like: odd harmonics fall as 1/k, even ones are weaker */
static const double line_share[7] = {1, 0.1, 0.33, 0.05, 0.2, 0.03, 0.14};

static void add_hum(const sim_channel *c, double *y, size_t n, sim_rng *rng) {
    double peak = c->amplitude * pow(10, c->hum_db / 20);
    for (int k = 0; k < 7; k++) {
        double w = 2 * M_PI * c->hum_hz * (k + 1) / c->sample_rate_hz;
        double phase = 2 * M_PI * sim_rng_uniform(rng);
        for (size_t i = (size_t)(c->hum_start_s * c->sample_rate_hz); i < n; i++)
            y[i] += peak * line_share[k] * sin(w * (double)i + phase);
    }
}

/* Hum and tones among the disturbances: lines of a frequency that drifts. */
static void add_lines(const sim_channel *c, const sim_disturbance *d, double *y, size_t n) {
    int lines = d->kind == SIM_TONE ? 1 : 7;
    double peak = c->amplitude * pow(10, d->value / 20);
    sim_rng rng = sim_rng_seed(c->seed + 77 + (uint64_t)(1000 * d->hz));
    for (int k = 0; k < lines; k++) {
        double phase = 2 * M_PI * sim_rng_uniform(&rng);
        for (size_t i = (size_t)(d->at_s * c->sample_rate_hz); i < n; i++) {
            double at_s = (double)i / c->sample_rate_hz, since = at_s - d->at_s;
            double turns = d->hz * since + d->hz_per_s * since * since / 2;
            y[i] +=
                sim_share(d, at_s) * peak * line_share[k] * sin(2 * M_PI * (k + 1) * turns + phase);
        }
    }
}

static void add_coloured(const sim_channel *c, const sim_disturbance *d, double *y, size_t n) {
    double rms = c->amplitude * pow(10, d->value / 20);
    sim_rng rng = sim_rng_seed(c->seed + 99);
    sim_colour colour = sim_colour_new(d->hz, c->sample_rate_hz);
    for (size_t i = 0; i < n; i++) {
        double noise = sim_colour_next(&colour, &rng);
        y[i] += sim_share(d, (double)i / c->sample_rate_hz) * rms * noise;
    }
}

static void add_all(const sim_channel *c, double *y, size_t n) {
    for (size_t i = 0; i < c->disturbances; i++) {
        const sim_disturbance *d = &c->disturbance[i];
        if (d->kind == SIM_MAINS || d->kind == SIM_TONE)
            add_lines(c, d, y, n);
        if (d->kind == SIM_COLOURED)
            add_coloured(c, d, y, n);
    }
}

/* Everything after the converter's filter, sample by sample. */
static float finish(const sim_channel *c, double y, double at_s, sim_rng *rng) {
    double soft = c->soft_scale, low = c->clip_low, high = c->clip_high;
    if (c->inverted)
        y = -y;
    if (c->disturbances > 0) {
        double gain_db = sim_disturbed(c, SIM_GAIN, at_s, 0);
        y *= gain_db != 0 ? pow(10, gain_db / 20) : 1;
        soft = sim_disturbed(c, SIM_SOFT, at_s, soft);
        low = sim_disturbed(c, SIM_CLIP_LOW, at_s, low);
        high = sim_disturbed(c, SIM_CLIP_HIGH, at_s, high);
    }
    if (soft > 0)
        y = soft * tanh(y / soft);
    if (isfinite(c->snr_db))
        y += c->amplitude * pow(10, -c->snr_db / 20) * sim_rng_normal(rng);
    if (c->bits > 0) {
        double lsb = lsb_of(c->bits);
        y = fmin(fmax(y, low), high);
        y = lsb * fmin(fmax(rint(y / lsb), -ldexp(1, c->bits - 1)), ldexp(1, c->bits - 1) - 1);
    }
    return (float)y;
}

bool sim_channel_render(const sim_channel *c, const double *edges_s, size_t n_edges,
                        bool start_high, double duration_s, float **samples, size_t *n) {
    double rate = c->sample_rate_hz;
    size_t count = (size_t)(duration_s * rate);
    sim_edges edges = {edges_s, n_edges, start_high};
    sim_bank *bank = calloc(1, sizeof *bank);
    double *y = calloc(count + 1, sizeof *y);
    float *out = malloc((count + sim_repeated_samples(c) + 1) * sizeof *out);
    bool done = false;
    if (!(rate > 0) || bank == NULL || y == NULL || out == NULL)
        goto done;
    bank->channel = c;
    bool coupled = false;
    for (int i = 0; i < SIM_POLES; i++)
        coupled = coupled || c->high_pass_hz[i] > 0;
    double level = c->offset;
    if (!coupled && start_high)
        level += n_edges > 0 ? sim_step_height(c, &edges, 0) : c->amplitude;
    for (size_t i = 0; i < count; i++)
        y[i] = level + c->transient * c->amplitude * exp(-(double)i / rate / c->transient_tau_s);
    if (!sim_waveform_add(bank, &edges, y, count))
        goto done;
    sim_rng rng = sim_rng_seed(c->seed);
    if (c->hum_hz > 0)
        add_hum(c, y, count, &rng);
    add_all(c, y, count);
    for (size_t i = 0; i < count; i++)
        out[i] = finish(c, y[i], (double)i / rate, &rng);
    *samples = out;
    *n = sim_break_time(c, out, count);
    out = NULL;
    done = true;
done:
    if (bank != NULL)
        sim_bank_free(bank);
    free(bank);
    free(y);
    free(out);
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
    sim_edges edges = {edges_s, n_edges, start_high};
    sim_bank *bank = calloc(1, sizeof *bank);
    if (bank == NULL)
        return (double)NAN;
    bank->channel = c;
    double lsb = lsb_of(c->bits), sigma = isfinite(c->snr_db) ? pow(10, -c->snr_db / 20) : 0;
    double variance = sigma * sigma * c->amplitude * c->amplitude + lsb * lsb / 12;
    double sum = 0;
    size_t pulses = 0;
    for (size_t k = first; k + 1 < n_edges; k += 2, pulses++)
        for (size_t e = k; e < k + 2; e++) {
            const sim_response *r = sim_bank_at(bank, (e % 2 == 0) == start_high, edges_s[e], 0);
            double height = sim_step_height(c, &edges, e);
            sum += r == NULL ? (double)NAN
                             : variance / (height * height) /
                                   slope_energy(r, sim_clocked_s(c, edges_s[e]), c->sample_rate_hz);
        }
    sim_bank_free(bank);
    free(bank);
    return pulses > 0 ? 1e6 * sqrt(sum / (double)pulses) : (double)NAN;
}
