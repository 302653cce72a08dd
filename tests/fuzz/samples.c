/* Samples to edges, pushed whole and in pieces.
 *
 * Eight bytes choose: 0 bit 0 a pulse train follows (else samples), bit 1 lossy, bit 2 a full
 * scale, bit 3 stated asymmetry, bits 4-7 the pieces; 1 the sample rate; 2 noise, 3 a missing
 * sample every so many, 4 droop, 5 level, 6-7 nothing yet. Samples come as a value and how
 * often it is repeated, a byte each. */
#include "fuzz/targets.h"
#include "fuzz/train.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SAMPLES_MAX 12000
#define EDGES_MAX (SAMPLES_MAX + 8)

typedef struct edges {
    spw_edge edge[EDGES_MAX];
    size_t n;
    uint64_t timed;
    double last_s;
    bool rising, known;
    spw_edge_report report;
} edges;

static spw_status on_edges(void *context, const spw_edge *edge, size_t n) {
    edges *e = context;
    fuzz_promise(n > 0, "no empty batch of edges");
    for (size_t i = 0; i < n; i++) {
        bool rising = (edge[i].flags & SPW_EDGE_RISING) != 0;
        fuzz_promise(isfinite(edge[i].time_s) && edge[i].time_s >= e->last_s, "edges in order");
        fuzz_promise(!(edge[i].u_us < 0) && !isinf(edge[i].u_us), "an uncertainty from 0 on");
        if ((edge[i].flags & (SPW_EDGE_LOST | SPW_EDGE_FOUND)) == 0) {
            fuzz_promise(!e->known || rising != e->rising, "edges alternate");
            e->timed++;
        }
        e->known = (edge[i].flags & SPW_EDGE_LOST) == 0;
        e->rising = rising;
        e->last_s = edge[i].time_s;
        fuzz_promise(e->n < EDGES_MAX, "no more edges than samples");
        e->edge[e->n++] = edge[i];
    }
    return SPW_OK;
}

static void find(const spw_edge_settings *settings, const float *sample, size_t n, size_t piece,
                 edges *found) {
    spw_edge_finder *finder = NULL;
    found->n = 0;
    found->timed = 0;
    found->last_s = -INFINITY;
    found->known = false;
    fuzz_promise(spw_edge_finder_new(settings, on_edges, found, &finder) == SPW_OK, "a finder");
    for (size_t at = 0; at < n; at += piece) {
        size_t some = n - at < piece ? n - at : piece;
        fuzz_promise(spw_edge_finder_push(finder, sample + at, some) == SPW_OK, "samples taken");
    }
    fuzz_promise(spw_edge_finder_finish(finder, &found->report) == SPW_OK, "edges found");
    spw_edge_finder_free(finder);
}

static void check_report(const edges *found) {
    const spw_edge_report *r = &found->report;
    fuzz_promise(r->edges == found->timed, "the report counts the edges");
    fuzz_promise(isnan(r->low) || isnan(r->high) || r->low <= r->high, "levels in order");
    fuzz_promise(!(r->noise_sd < 0) && !isinf(r->noise_sd), "noise from 0 on");
    fuzz_promise(r->droop_corner_hz >= 0 && isfinite(r->droop_corner_hz), "droop from 0 on");
    fuzz_promise(r->u_template_us >= 0 && isfinite(r->u_template_us) && r->u_asymmetry_us >= 0 &&
                     isfinite(r->u_asymmetry_us),
                 "systematic terms from 0 on");
}

static size_t from_bytes(fuzz_input *input, double scale, float *sample) {
    size_t n = 0;
    while (input->left > 0) {
        float value = (float)((int8_t)fuzz_byte(input) / 128.0 * scale);
        for (unsigned repeat = 1 + fuzz_byte(input); repeat > 0 && n < SAMPLES_MAX; repeat--)
            sample[n++] = value;
    }
    return n;
}

static size_t from_train(fuzz_input *input, double rate_hz, double scale, float *sample) {
    static fuzz_train train;
    size_t at = 0;
    fuzz_train_make(input, 60, &train);
    double n = (double)train.end_ns * 1e-9 * rate_hz;
    size_t most = n < SAMPLES_MAX ? (size_t)n : SAMPLES_MAX;
    for (size_t i = 0; i < most; i++)
        sample[i] = (float)(scale * fuzz_train_sample(&train, rate_hz, i, &at));
    return most;
}

static void spoil(float *sample, size_t n, unsigned noise, unsigned missing, unsigned droop) {
    uint32_t x = 1;
    double slow = 0;
    for (size_t i = 0; i < n; i++) {
        x = x * 1664525u + 1013904223u;
        slow += droop * 1e-4 * ((double)sample[i] - slow);
        sample[i] = (float)((double)sample[i] - slow + (double)(x >> 8) * 0x1p-24 * noise * 1e-3);
        if (missing > 0 && i % (missing * 16u) == 0)
            sample[i] = NAN;
    }
}

void fuzz_edges(const uint8_t *data, size_t size) {
    static const double rates[8] = {16000, 44100, 48000, 96000, 192000, 8000, 1e6, 50000};
    static const double scales[8] = {1, 0.1, 0.001, 3.3, 1e-20, 1e20, 5, 1e38};
    static const size_t pieces[16] = {1,   2,   3,   7,    16,   61,   100,  255,
                                      256, 511, 999, 1024, 4096, 5000, 8192, 20000};
    static float sample[SAMPLES_MAX];
    static edges whole, parts;
    fuzz_input input = {data, size};
    uint8_t bits = fuzz_byte(&input), rate = fuzz_byte(&input), noise = fuzz_byte(&input);
    uint8_t missing = fuzz_byte(&input), droop = fuzz_byte(&input), scale = fuzz_byte(&input);
    (void)fuzz_byte(&input);
    (void)fuzz_byte(&input);
    spw_edge_settings settings = {.sample_rate_hz = rates[rate % 8],
                                  .full_scale = (bits & 4) != 0 ? 0.99996 : (double)NAN,
                                  .lossy = (bits & 2) != 0,
                                  .rise_fall_asymmetry_us = (bits & 8) != 0 ? 1.5 : 0};
    size_t n = (bits & 1) != 0
                   ? from_train(&input, settings.sample_rate_hz, scales[scale % 8], sample)
                   : from_bytes(&input, scales[scale % 8], sample);
    spoil(sample, n, noise, missing, droop);
    find(&settings, sample, n, SAMPLES_MAX, &whole);
    check_report(&whole);
    find(&settings, sample, n, pieces[bits >> 4], &parts);
    fuzz_promise(whole.n == parts.n &&
                     memcmp(whole.edge, parts.edge, whole.n * sizeof whole.edge[0]) == 0,
                 "pieces give the same edges");
}
