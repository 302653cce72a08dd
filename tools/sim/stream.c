#include "sim/stream.h"

#include "sim/response.h"
#include "sim/rng.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* BLOCK is a multiple of 4: four deviates come from one draw of 64 bits. */
enum { BLOCK = 4096, DEVIATES = 65536 };

struct sim_stream {
    double rate, amplitude, coupling;
    sim_response rise, fall;
    const double *edge_s;
    size_t edges, next;
    bool high;
    sim_rng rng;
    uint64_t at;   /* number of the block's first sample */
    size_t width;  /* samples that the widest edge covers */
    double *rises; /* BLOCK + width: how much each sample rises above the one before */
    double level, low_passed;
    size_t given; /* samples of `ready` handed out */
    float ready[BLOCK];
    float deviate[DEVIATES]; /* normal, times the noise */
};

static size_t width_of(const sim_response *r, double rate) {
    return (size_t)ceil((r->end_s - r->start_s) * rate) + 2;
}

/* Equally likely values with the quantiles of the normal distribution: the
 * largest is 4.3 standard deviations. */
static void fill_deviates(sim_stream *s, double sigma) {
    for (size_t i = 0; i < DEVIATES; i++)
        s->deviate[i] = (float)(sigma * gsl_cdf_ugaussian_Pinv(((double)i + 0.5) / DEVIATES));
}

sim_stream *sim_stream_new(const sim_channel *c, const double *edges_s, size_t n_edges,
                           bool start_high) {
    sim_stream *s = c->sample_rate_hz > 0 ? calloc(1, sizeof *s) : NULL;
    if (s == NULL)
        return NULL;
    sim_channel plain = *c;
    memset(plain.high_pass_hz, 0, sizeof plain.high_pass_hz);
    s->rate = c->sample_rate_hz;
    s->amplitude = c->amplitude;
    s->coupling = -expm1(-2 * M_PI * c->high_pass_hz[0] / s->rate);
    s->edge_s = edges_s;
    s->edges = n_edges;
    s->high = start_high;
    s->rng = sim_rng_seed(c->seed);
    s->level = c->offset + (start_high ? c->amplitude : 0);
    s->low_passed = c->high_pass_hz[0] > 0 ? s->level : 0;
    s->given = BLOCK;
    fill_deviates(s, isfinite(c->snr_db) ? c->amplitude * pow(10, -c->snr_db / 20) : 0);
    if (sim_response_make(&plain, c->rise_tau_s, &s->rise) &&
        sim_response_make(&plain, c->fall_tau_s, &s->fall)) {
        size_t rise = width_of(&s->rise, s->rate), fall = width_of(&s->fall, s->rate);
        s->width = rise > fall ? rise : fall;
        s->rises = calloc(BLOCK + s->width, sizeof *s->rises);
    }
    if (s->rises == NULL) {
        sim_stream_free(s);
        return NULL;
    }
    return s;
}

void sim_stream_free(sim_stream *s) {
    if (s == NULL)
        return;
    sim_response_free(&s->rise);
    sim_response_free(&s->fall);
    free(s->rises);
    free(s);
}

/* Adds an edge that starts within the block; what goes beyond waits in the
 * `width` places behind it. */
static void add_edge(sim_stream *s, const sim_response *r, double step, double edge_s) {
    double from = fmax(ceil((edge_s + r->start_s) * s->rate), (double)s->at);
    double to = fmax(ceil((edge_s + r->end_s) * s->rate), from);
    size_t first = (size_t)(from - (double)s->at), n = (size_t)(to - from);
    double before = 0;
    for (size_t i = 0; i < n && i + 1 < s->width; i++) {
        double value = step * sim_response_table(r, (from + (double)i) / s->rate - edge_s);
        s->rises[first + i] += value - before;
        before = value;
    }
    s->rises[first + n] += step - before;
}

static void make_block(sim_stream *s) {
    double end_s = (double)(s->at + BLOCK) / s->rate;
    for (; s->next < s->edges; s->next++, s->high = !s->high) {
        const sim_response *r = s->high ? &s->fall : &s->rise;
        if (s->edge_s[s->next] + r->start_s + 1 / s->rate >= end_s)
            break;
        add_edge(s, r, s->high ? -s->amplitude : s->amplitude, s->edge_s[s->next]);
    }
    double level = s->level, low = s->low_passed, k = s->coupling;
    for (size_t i = 0; i < BLOCK; i += 4) {
        uint64_t bits = sim_rng_bits(&s->rng);
        for (size_t j = 0; j < 4; j++, bits >>= 16) {
            level += s->rises[i + j];
            low += k * (level - low);
            s->ready[i + j] = (float)(level - low) + s->deviate[bits & (DEVIATES - 1)];
        }
    }
    s->level = level;
    s->low_passed = low;
    memmove(s->rises, s->rises + BLOCK, s->width * sizeof *s->rises);
    memset(s->rises + s->width, 0, BLOCK * sizeof *s->rises);
    s->at += BLOCK;
    s->given = 0;
}

void sim_stream_next(sim_stream *s, float *out, size_t n) {
    while (n > 0) {
        if (s->given == BLOCK)
            make_block(s);
        size_t some = BLOCK - s->given < n ? BLOCK - s->given : n;
        memcpy(out, s->ready + s->given, some * sizeof *out);
        s->given += some;
        out += some;
        n -= some;
    }
}
