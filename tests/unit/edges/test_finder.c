/* From samples to edges: what must not depend on block sizes, levels, polarity or
 * coupling, and what must never become an edge. */
#include "support/test.h"

#include "sim/channel.h"
#include "sim/rng.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROOM = 4096 };

typedef struct taken {
    spw_edge edge[ROOM]; /* everything */
    size_t n;
    spw_edge real[ROOM]; /* transitions only */
    size_t reals;
    spw_edge_report report;
} taken;

static spw_status take(void *context, const spw_edge *edges, size_t n) {
    taken *t = context;
    for (size_t i = 0; i < n; i++) {
        assert_true(t->n < ROOM);
        assert_true(t->n == 0 || edges[i].time_s >= t->edge[t->n - 1].time_s);
        t->edge[t->n++] = edges[i];
        if ((edges[i].flags & (SPW_EDGE_FOUND | SPW_EDGE_LOST)) == 0)
            t->real[t->reals++] = edges[i];
    }
    return SPW_OK;
}

/* Pushes the samples in blocks: of `block`, or of random sizes when it is 0. */
static taken *find(const float *samples, size_t n, double rate_hz, double full_scale,
                   size_t block) {
    static taken both[2];
    static int turn;
    taken *t = &both[turn ^= 1];
    memset(t, 0, sizeof *t);
    sim_rng rng = sim_rng_seed(99);
    spw_edge_settings settings = {.sample_rate_hz = rate_hz, .full_scale = full_scale};
    spw_edge_finder *finder = NULL;
    assert_int_equal(spw_edge_finder_new(&settings, take, t, &finder), SPW_OK);
    for (size_t at = 0; at < n;) {
        size_t size = block > 0 ? block : 1 + (size_t)(5000 * pow(sim_rng_uniform(&rng), 4));
        size = size < n - at ? size : n - at;
        assert_int_equal(spw_edge_finder_push(finder, samples + at, size), SPW_OK);
        at += size;
    }
    assert_int_equal(spw_edge_finder_finish(finder, &t->report), SPW_OK);
    spw_edge_finder_free(finder);
    return t;
}

typedef struct scene {
    sim_channel channel;
    double edges_s[ROOM];
    size_t n_edges;
    double duration_s;
    float *samples;
    size_t n;
} scene;

static void pulses(scene *s, double start_s, size_t count, double width_s, double frame_s) {
    sim_rng rng = sim_rng_seed(7);
    for (size_t k = 0; k < count; k++) {
        double at = start_s + frame_s * (double)k + 1e-5 * sim_rng_uniform(&rng);
        s->edges_s[s->n_edges++] = at;
        s->edges_s[s->n_edges++] = at + width_s;
    }
    s->duration_s = s->edges_s[s->n_edges - 1] + frame_s;
}

static void render(scene *s) {
    assert_true(sim_channel_render(&s->channel, s->edges_s, s->n_edges, false, s->duration_s,
                                   &s->samples, &s->n));
}

/* All edges, alternating, each interval within `worst_us` of the truth and within
 * five of its standard uncertainties. */
static void expect_edges(const scene *s, const taken *t, double worst_us) {
    assert_int_equal(t->reals, s->n_edges);
    for (size_t i = 0; i < t->reals; i++) {
        bool rising = (t->real[i].flags & SPW_EDGE_RISING) != 0;
        assert_int_equal(rising, (i % 2 == 0) != s->channel.inverted);
        if (i == 0)
            continue;
        double e =
            1e6 * (t->real[i].time_s - t->real[i - 1].time_s - (s->edges_s[i] - s->edges_s[i - 1]));
        double u = hypot((double)t->real[i].u_us, (double)t->real[i - 1].u_us);
        if (fabs(e) > worst_us || fabs(e) > 5 * u)
            print_message("edge %zu: error %g us, u %g us\n", i, e, u);
        assert_true(fabs(e) <= worst_us && fabs(e) <= 5 * u);
    }
}

static void blocks_do_not_matter(void **unused) {
    (void)unused;
    scene s = {.channel = sim_channel_default(48000, 'h')};
    s.channel.snr_db = 50;
    s.channel.high_pass_hz[0] = 6;
    s.channel.hum_hz = 50;
    s.channel.hum_db = -30;
    pulses(&s, 0.7, 500, 1.503e-3, 0.02);
    render(&s);
    taken *whole = find(s.samples, s.n, 48000, 1, s.n);
    taken *cut = find(s.samples, s.n, 48000, 1, 0);
    expect_edges(&s, whole, 2);
    assert_int_equal(whole->n, cut->n);
    assert_memory_equal(whole->edge, cut->edge, whole->n * sizeof(spw_edge));
    assert_memory_equal(&whole->report, &cut->report, sizeof whole->report);
    free(s.samples);
}

static void level_before_the_first_edge(void **unused) {
    (void)unused;
    for (int inverted = 0; inverted < 2; inverted++) {
        scene s = {.channel = sim_channel_default(44100, 'h')};
        s.channel.snr_db = 60;
        s.channel.high_pass_hz[0] = 5;
        s.channel.inverted = inverted;
        pulses(&s, 0.02, 30, 1.2e-3, 0.015);
        render(&s);
        taken *t = find(s.samples, s.n, 44100, 1, 1000);
        expect_edges(&s, t, 0.6);
        assert_int_equal(t->edge[0].flags,
                         SPW_EDGE_FOUND | SPW_EDGE_FIRST | (inverted ? SPW_EDGE_RISING : 0));
        assert_true(t->edge[0].time_s == 0);
        assert_int_equal(t->n, t->reals + 1);
        free(s.samples);
    }
}

static void noise_gives_no_edges(void **unused) {
    (void)unused;
    sim_rng rng = sim_rng_seed(5);
    size_t n = 480000;
    float *y = malloc(n * sizeof *y);
    assert_non_null(y);
    for (int kind = 0; kind < 4; kind++) {
        for (size_t i = 0; i < n; i++) {
            double v = 0.1 * sim_rng_normal(&rng); /* white, large */
            if (kind == 1)
                v = rint(0.2 * sim_rng_normal(&rng)) / 32768; /* flicker of the last bit */
            if (kind == 2)
                v = 0.3 * sin(2 * M_PI * 50 * (double)i / 48000) + 1e-3 * v; /* hum alone */
            if (kind == 3)
                v = 0; /* digital silence */
            y[i] = (float)v;
        }
        taken *t = find(y, n, 48000, 1, 0);
        assert_int_equal(t->n, 0);
        assert_int_equal(t->report.method, SPW_METHOD_NONE);
        assert_int_equal(t->report.edges, 0);
    }
    free(y);
}

/* A simulation or a digital source draws two values and nothing between: the step
 * is then also the smallest one, and no recorder's last bit, however small it is. */
static void two_values_without_noise(void **unused) {
    (void)unused;
    static const struct {
        float low, high;
        double full_scale;
    } row[] = {{-0.4F, 0.4F, 1}, {0, 0.004F, 1}, {0, 3.3F, NAN}};
    size_t n = 100 * 960;
    float *y = malloc(n * sizeof *y);
    assert_non_null(y);
    for (size_t k = 0; k < sizeof row / sizeof row[0]; k++) {
        for (size_t i = 0; i < n; i++)
            y[i] = i % 960 >= 300 && i % 960 < 372 ? row[k].high : row[k].low;
        taken *t = find(y, n, 48000, row[k].full_scale, 0);
        assert_int_equal(t->reals, 200);
        assert_int_equal(t->report.method, SPW_METHOD_SAMPLES);
        for (size_t i = 0; i < 200; i += 2) {
            double width_us = 1e6 * (t->real[i + 1].time_s - t->real[i].time_s);
            assert_true(fabs(width_us - 1500) < 1e-3);
            assert_true(t->real[i].u_us > 5); /* half a sample: 20.8 / sqrt 12 = 6.0 */
        }
    }
    free(y);
}

static void single_pulse_after_long_idle(void **unused) {
    (void)unused;
    scene s = {.channel = sim_channel_default(48000, 'b')};
    s.channel.snr_db = 50;
    s.channel.high_pass_hz[0] = 10;
    s.channel.transient = 3;
    pulses(&s, 17.3, 1, 1.5e-3, 0.02);
    s.duration_s = 30;
    render(&s);
    taken *t = find(s.samples, s.n, 48000, 1, 0);
    expect_edges(&s, t, 1.5);
    free(s.samples);
}

static void silence_after_the_last_pulse(void **unused) {
    (void)unused;
    scene s = {.channel = sim_channel_default(48000, 'h')};
    s.channel.snr_db = 60;
    s.channel.high_pass_hz[0] = 30; /* droop of tens of percent */
    pulses(&s, 0.1, 400, 1.8e-3, 0.02);
    s.duration_s += 20;
    render(&s);
    taken *t = find(s.samples, s.n, 48000, 1, 0);
    expect_edges(&s, t, 0.8);
    free(s.samples);
}

static void amplitudes_and_widths_of_words(void **unused) {
    (void)unused;
    static const struct {
        double amplitude, offset;
        int bits;
        double worst_us;
    } row[] = {{0.01, 0, 16, 3}, {0.97, 0, 16, 0.6}, {0.3, -0.7, 8, 2}, {0.5, 0, 24, 0.6}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        scene s = {.channel = sim_channel_default(48000, 'h')};
        s.channel.snr_db = 60;
        s.channel.amplitude = row[i].amplitude;
        s.channel.bits = row[i].bits;
        s.channel.high_pass_hz[0] = row[i].offset == 0 ? 4 : 0;
        s.channel.offset = row[i].offset; /* 8 bit: both levels below the middle */
        pulses(&s, 0.3, 100, 1.1e-3, 0.02);
        render(&s);
        taken *t = find(s.samples, s.n, 48000, 1, 0);
        expect_edges(&s, t, row[i].worst_us);
        free(s.samples);
    }
}

/* Volts from a table. */
static void volts(void **unused) {
    (void)unused;
    static const struct {
        double rate_hz, slew_s, worst_us;
        spw_edge_method worst_method;
    } row[] = {{1e6, 5e-6, 0.1, SPW_METHOD_CROSSING}, {100e3, 0, 10, SPW_METHOD_SAMPLES}};
    for (size_t i = 0; i < 2; i++) {
        scene s = {.channel = sim_channel_default(row[i].rate_hz, '-')};
        s.channel.bits = 0;
        s.channel.amplitude = 5;
        s.channel.slew_s = row[i].slew_s;
        s.channel.rise_tau_s = s.channel.fall_tau_s = 1e-9;
        s.channel.snr_db = i == 0 ? 50 : (double)INFINITY;
        pulses(&s, 5e-3, 25, 1.5e-3, 0.02);
        render(&s);
        taken *t = find(s.samples, s.n, row[i].rate_hz, NAN, 0);
        expect_edges(&s, t, row[i].worst_us);
        assert_true(fabs(t->report.low) < 0.05 && fabs(t->report.high - 5) < 0.05);
        assert_int_equal((t->report.doubts & SPW_DOUBT_TOO_FAST) != 0, i == 1);
        if (i == 1) {
            assert_int_equal(t->report.method, SPW_METHOD_SAMPLES);
            assert_true(fabs((double)t->real[3].u_us - 10 / sqrt(12.0)) < 0.01);
        }
        assert_true(t->report.droop_corner_hz == 0);
        free(s.samples);
    }
}

static void slow_sampling(void **unused) {
    (void)unused;
    scene s = {.channel = sim_channel_default(8000, 'h')};
    s.channel.snr_db = 50;
    s.channel.high_pass_hz[0] = 5;
    pulses(&s, 0.1, 200, 1.5e-3, 0.02);
    render(&s);
    taken *t = find(s.samples, s.n, 8000, 1, 0);
    expect_edges(&s, t, 12); /* a tenth of a sample */
    free(s.samples);
}

static void missing_samples(void **unused) {
    (void)unused;
    scene s = {.channel = sim_channel_default(48000, 'h')};
    s.channel.snr_db = 60;
    s.channel.high_pass_hz[0] = 5;
    pulses(&s, 0.1, 100, 1.5e-3, 0.02);
    render(&s);
    for (size_t i = 48000; i < 48000 + 4800; i++)
        s.samples[i] = NAN;
    s.samples[10000] = NAN; /* one alone hides nothing */
    taken *t = find(s.samples, s.n, 48000, 1, 0);
    size_t lost = 0, found = 0;
    for (size_t i = 0; i < t->n; i++) {
        if ((t->edge[i].flags & SPW_EDGE_LOST) != 0) {
            lost++;
            assert_true(fabs(t->edge[i].time_s - 1) < 1e-9);
        } else if ((t->edge[i].flags & SPW_EDGE_FOUND) != 0 && i > 0) {
            found++;
            assert_true(fabs(t->edge[i].time_s - 1.1) < 1e-9);
        }
    }
    assert_int_equal(lost, 1);
    assert_int_equal(found, 1);
    assert_int_equal(t->report.missing_samples, 4801);
    /* five frames lie in the gap; at its rims one more pulse may be cut */
    assert_true(t->reals >= 2 * 94 && t->reals <= 2 * 95);
    for (size_t i = 0; i + 1 < t->n; i++)
        if (((t->edge[i].flags | t->edge[i + 1].flags) & (SPW_EDGE_LOST | SPW_EDGE_FOUND)) == 0)
            assert_true((t->edge[i].flags & SPW_EDGE_RISING) !=
                        (t->edge[i + 1].flags & SPW_EDGE_RISING));
    free(s.samples);
}

static void refused_settings(void **unused) {
    (void)unused;
    taken t = {.n = 0};
    spw_edge_finder *finder = NULL;
    spw_edge_settings settings = {.sample_rate_hz = 0};
    assert_int_equal(spw_edge_finder_new(&settings, take, &t, &finder), SPW_ERR_ARGUMENT);
    settings.sample_rate_hz = NAN;
    assert_int_equal(spw_edge_finder_new(&settings, take, &t, &finder), SPW_ERR_ARGUMENT);
    settings.sample_rate_hz = 48000;
    assert_int_equal(spw_edge_finder_new(&settings, take, &t, &finder), SPW_OK);
    assert_int_equal(spw_edge_finder_finish(finder, &t.report), SPW_OK);
    assert_int_equal(t.report.method, SPW_METHOD_NONE);
    float y = 0;
    assert_int_equal(spw_edge_finder_push(finder, &y, 1), SPW_ERR_ARGUMENT);
    spw_edge_finder_free(finder);
    spw_edge_finder_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(blocks_do_not_matter),
        cmocka_unit_test(level_before_the_first_edge),
        cmocka_unit_test(noise_gives_no_edges),
        cmocka_unit_test(two_values_without_noise),
        cmocka_unit_test(single_pulse_after_long_idle),
        cmocka_unit_test(silence_after_the_last_pulse),
        cmocka_unit_test(amplitudes_and_widths_of_words),
        cmocka_unit_test(volts),
        cmocka_unit_test(slow_sampling),
        cmocka_unit_test(missing_samples),
        cmocka_unit_test(refused_settings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
