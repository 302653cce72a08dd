/* The simulator of long recordings against the exact one. */
#include "sim/rng.h"
#include "sim/stream.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>

enum { EDGES = 200, SAMPLES = 60000 };

/* Pulses of 1 to 2 ms every 4 ms, anywhere between the samples; the first begins
 * within the filter's width of the start. */
static void make_edges(double *edge_s) {
    sim_rng rng = sim_rng_seed(5);
    for (size_t i = 0; i < EDGES; i += 2) {
        edge_s[i] = 0.0001 + 0.004 * (double)(i / 2) + 1e-5 * sim_rng_uniform(&rng);
        edge_s[i + 1] = edge_s[i] + 0.001 + 0.001 * sim_rng_uniform(&rng);
    }
}

/* The largest difference between what both make of the channel, the stream in
 * calls of odd lengths. */
static double difference(const sim_channel *channel, bool start_high) {
    double edge_s[EDGES], worst = 0, duration_s = (SAMPLES + 0.5) / channel->sample_rate_hz;
    make_edges(edge_s);
    float *exact = NULL, *made = malloc(SAMPLES * sizeof *made);
    size_t n = 0;
    sim_stream *stream = sim_stream_new(channel, edge_s, EDGES, start_high);
    assert_true(sim_channel_render(channel, edge_s, EDGES, start_high, duration_s, &exact, &n));
    assert_int_equal(n, SAMPLES);
    assert_non_null(made);
    assert_non_null(stream);
    for (size_t at = 0, some = 1; at < SAMPLES; at += some, some = some * 3 % 7919) {
        some = some < SAMPLES - at ? some : SAMPLES - at;
        sim_stream_next(stream, made + at, some);
    }
    for (size_t i = 0; i < SAMPLES; i++)
        worst = fmax(worst, fabs((double)made[i] - (double)exact[i]));
    print_message("filter %c, coupled at %g Hz: %.3g of full scale\n", channel->filter,
                  channel->high_pass_hz[0], worst);
    sim_stream_free(stream);
    free(exact);
    free(made);
    return worst;
}

/* Uncoupled: the same steps, but for sums in another order (1e-12) and single precision. */
static void same_waveform(void **state) {
    (void)state;
    static const char filters[] = "ahb-";
    for (const char *filter = filters; *filter != '\0'; filter++) {
        sim_channel channel = sim_channel_default(48000, *filter);
        channel.bits = 0;
        channel.offset = -0.2;
        channel.rise_tau_s = 2e-6;
        channel.fall_tau_s = 5e-6;
        assert_true(difference(&channel, false) < 2e-7);
    }
}

/* Coupled: the recursion is at most one sample late, in which the capacitor takes
 * 2 pi f / fs of the step. */
static void same_coupling(void **state) {
    (void)state;
    sim_channel channel = sim_channel_default(192000, 'h');
    channel.bits = 0;
    channel.high_pass_hz[0] = 5;
    assert_true(difference(&channel, false) <
                2 * M_PI * channel.high_pass_hz[0] / channel.sample_rate_hz * channel.amplitude);
}

/* Noise: mean, standard deviation and correlation of neighbours within 4.5 standard
 * errors of 0, 1 and 0; nothing beyond the largest of 65536 quantiles. */
static void normal_noise(void **state) {
    (void)state;
    static float y[SAMPLES];
    sim_channel channel = sim_channel_default(48000, '-');
    channel.snr_db = 0;
    channel.amplitude = 1;
    sim_stream *stream = sim_stream_new(&channel, NULL, 0, false);
    assert_non_null(stream);
    sim_stream_next(stream, y, SAMPLES);
    sim_stream_free(stream);
    double sum = 0, squares = 0, products = 0, beyond_two = 0, n = SAMPLES;
    for (size_t i = 0; i < SAMPLES; i++) {
        double v = (double)y[i];
        sum += v;
        squares += v * v;
        products += i > 0 ? v * (double)y[i - 1] : 0;
        beyond_two += fabs(v) > 2;
        assert_true(fabs(v) < 4.4);
    }
    print_message("mean %.4f, variance %.4f, neighbours %.4f, beyond two %.4f\n", sum / n,
                  squares / n, products / n, beyond_two / n);
    assert_true(fabs(sum / n) < 4.5 / sqrt(n));
    assert_true(fabs(squares / n - 1) < 4.5 * sqrt(2 / n));
    assert_true(fabs(products / n) < 4.5 / sqrt(n));
    assert_true(fabs(beyond_two / n - 0.0455) < 4.5 * sqrt(0.0455 / n)); /* erfc(sqrt 2) */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(same_waveform),
        cmocka_unit_test(same_coupling),
        cmocka_unit_test(normal_noise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
