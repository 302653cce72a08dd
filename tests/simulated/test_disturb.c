/* The simulator's disturbances are what they are called: checked on the samples, so that
 * what rests on them tells of the library. */
#include "support/test.h"

#include "sim/colour.h"
#include "sim/edge_trial.h"

#include <math.h>
#include <stdlib.h>

enum { RATE = 48000 };

/* Pulses of 1.5 ms every 20 ms from 10 ms on, without coupling or noise. */
typedef struct scene {
    sim_channel channel;
    double edge_s[400];
    float *y;
    size_t n;
} scene;

static void render(scene *s, const sim_disturbance *d, size_t disturbances, size_t pulses) {
    s->channel.disturbance = d;
    s->channel.disturbances = disturbances;
    for (size_t k = 0; k < pulses; k++) {
        s->edge_s[2 * k] = 0.01 + 0.02 * (double)k;
        s->edge_s[2 * k + 1] = s->edge_s[2 * k] + 1.5e-3;
    }
    assert_true(sim_channel_render(&s->channel, s->edge_s, 2 * pulses, false, 0.02 * (double)pulses,
                                   &s->y, &s->n));
}

static double at(const scene *s, double time_s) {
    return (double)s->y[(size_t)rint(time_s * RATE)];
}

static scene plain(void) {
    scene s = {.channel = sim_channel_default(RATE, 'h')};
    s.channel.bits = 0;
    return s;
}

/* Four coupling poles against the same four as recursions at 64 times the rate. */
static void poles(void **state) {
    (void)state;
    enum { FINE = 64 };
    scene s = plain();
    static const double hz[4] = {1, 20, 20, 200};
    for (int i = 0; i < 4; i++)
        s.channel.high_pass_hz[i] = hz[i];
    render(&s, NULL, 0, 5);
    double low[4] = {0}, worst = 0;
    for (size_t i = 0; i < s.n * FINE; i++) {
        double t = (double)i / RATE / FINE, x = 0;
        for (size_t k = 0; k < 10; k++)
            x += t > s.edge_s[k] ? (k % 2 == 0 ? 0.5 : -0.5) : 0;
        for (int p = 0; p < 4; p++) {
            double keep = exp(-2 * M_PI * hz[p] / RATE / FINE);
            low[p] = keep * low[p] + (1 - keep) * x;
            x -= low[p];
        }
        double phase = fmod(t - 0.01 + 0.02, 0.02);
        bool clear = (phase > 0.7e-3 && phase < 0.8e-3) || (phase > 3e-3 && phase < 18e-3);
        if (i % FINE == 0 && clear)
            worst = fmax(worst, fabs(x - (double)s.y[i / FINE]));
    }
    print_message("four poles: off by %.2g of full scale at most\n", worst);
    assert_true(worst < 3e-4); /* an edge within a step of the fine grid */
    free(s.y);
}

static void levels(void **state) {
    (void)state;
    static const sim_disturbance d[] = {{SIM_LEVEL, .at_s = 1, .ramp_s = 1, .value = -6},
                                        {SIM_GAIN, .at_s = 2.505, .value = 12},
                                        {SIM_CLIP_HIGH, .at_s = 3, .value = 0.7}};
    scene s = plain();
    s.channel.bits = 16;
    render(&s, d, 3, 200);
    assert_true(fabs(at(&s, 0.5107) - 0.5) < 1e-4);
    assert_true(fabs(at(&s, 1.5107) - 0.5 * pow(10, -6.0 / 20 * 0.51)) < 1e-3);
    assert_true(fabs(at(&s, 2.4907) - 0.5 * pow(10, -6.0 / 20)) < 1e-4);
    assert_true(fabs(at(&s, 2.5107) - 0.5 * pow(10, 6.0 / 20)) < 1e-3);
    assert_true(fabs(at(&s, 3.4907) - 0.7) < 1e-4);
    free(s.y);
}

/* The 50 % instant stays where it was told to be; what rings longer is the transition. */
static void transitions(void **state) {
    (void)state;
    static const sim_disturbance d[] = {{SIM_FALL_US, .at_s = 0.5, .ramp_s = 0.5, .value = 50},
                                        {SIM_LOW_PASS, .at_s = 1.5, .value = 2000}};
    scene s = plain();
    s.channel.slew_s = 0;
    render(&s, d, 2, 100);
    assert_true(fabs(at(&s, 0.4115) - 0.25) < 0.01);
    double late = 0.1e-3, shown = rint((1.2115 + late) * RATE) / RATE - 1.2115;
    assert_true(fabs(at(&s, 1.2115 + late) / (0.25 * exp(-shown / 50e-6)) - 1) < 0.05);
    assert_true(fabs(at(&s, 1.21 + late) - 0.5) < 0.02); /* it rises as before */
    assert_true(at(&s, 1.51 + late) < 0.5 * (1 - exp(-2 * M_PI * 2000 * 1.3 * late)));
    free(s.y);
}

static void neighbours(void **state) {
    (void)state;
    static const sim_disturbance d[] = {
        {SIM_CROSSTALK, .at_s = 1, .value = -20, .width_s = 1e-3, .lag_s = 5e-3},
        {SIM_CROSSTALK, .value = -40, .frame_s = 0.02, .width_s = 1e-3, .spike_s = 2e-4}};
    scene s = plain();
    render(&s, d, 2, 100);
    assert_true(fabs(at(&s, 0.9155)) < 1e-4);
    assert_true(fabs(at(&s, 1.0155) - 0.05) < 1e-4);
    double shown = rint(0.5004 * RATE) / RATE - 0.5;
    assert_true(fabs(at(&s, 0.5004) / (0.005 * exp(-shown / 2e-4)) - 1) < 0.05);
    free(s.y);
}

/* What recordings make of time: pulses are where sim_recorded_s says. */
static void time_breaks(void **state) {
    (void)state;
    static const sim_disturbance d[] = {{SIM_LOST, .at_s = 0.5, .count = 512},
                                        {SIM_REPEATED, .at_s = 1, .count = 64},
                                        {SIM_ZEROED, .at_s = 1.5105, .count = 96},
                                        {SIM_CLOCK_PPM, .value = 2000}};
    scene s = plain();
    render(&s, d, 4, 100);
    assert_int_equal(s.n, 2 * RATE - 512 + 64);
    int compared = 0;
    for (size_t k = 0; k < 200; k++) {
        double here_s = sim_recorded_s(&s.channel, s.edge_s[k]);
        double before_s = sim_recorded_s(&s.channel, s.edge_s[k] - 1e-3);
        double after_s = sim_recorded_s(&s.channel, s.edge_s[k] + 1e-3);
        if (!(fabs(after_s - before_s - 2e-3) < 1e-4) || isnan(here_s) || k >= 198)
            continue;
        compared++;
        double before = at(&s, here_s - 1e-3), after = at(&s, here_s + 1e-3);
        assert_true(k % 2 == 0 ? before < 0.1 && after > 0.4 : before > 0.4 && after < 0.1);
    }
    assert_true(compared > 190);
    assert_true(isnan(sim_recorded_s(&s.channel, 0.505)));
    double lag_s = (512.0 - 64) / RATE;
    assert_true(fabs(sim_recorded_s(&s.channel, 1.8) - (1.8 + 1e-3 * 1.8 * 1.8 - lag_s)) < 1e-9);
    free(s.y);
}

/* Power of noise through one-pole low-passes an octave apart. */
static void noises(void **state) {
    (void)state;
    enum { SAMPLES = 1 << 20 };
    static const double corner[] = {0, 2000, 12000};
    for (int c = 0; c < 3; c++) {
        sim_rng rng = sim_rng_seed(5);
        sim_colour colour = sim_colour_new(corner[c], RATE);
        double power = 0, low[4] = {0}, passed[4] = {0};
        for (int i = 0; i < SAMPLES; i++) {
            double x = sim_colour_next(&colour, &rng);
            power += x * x;
            for (int k = 0; k < 4; k++) {
                low[k] += 2 * M_PI * 100 * (1 << k) / RATE * (x - low[k]);
                passed[k] += low[k] * low[k];
            }
        }
        print_message("corner %g Hz: rms %.3f, low-passed %.4f %.4f %.4f %.4f\n", corner[c],
                      sqrt(power / SAMPLES), passed[0] / SAMPLES, passed[1] / SAMPLES,
                      passed[2] / SAMPLES, passed[3] / SAMPLES);
        assert_true(fabs(power / SAMPLES - 1) < 0.1);
        for (int k = 1; k < 4; k++) { /* pink: as much for each octave; white: twice as much */
            double more = (passed[k] - passed[k - 1]) / SAMPLES;
            if (corner[c] > 0)
                assert_true(fabs(passed[k] / passed[k - 1] - 2) < (k == 1 ? 0.15 : 0.35));
            else
                assert_true(fabs(more / (1.0 / (double)colour.octaves) - 1) < 0.3);
        }
    }
}

/* Through a codec and back nothing moves. */
static void codecs(void **state) {
    (void)state;
    static const sim_codec codec[] = {SIM_FLAC, SIM_ULAW, SIM_MS_ADPCM, SIM_IMA_ADPCM};
    for (size_t c = 0; c < sizeof codec / sizeof codec[0]; c++) {
        scene s = plain();
        s.channel.high_pass_hz[0] = 5;
        render(&s, NULL, 0, 20);
        scene coded = plain();
        coded.channel.high_pass_hz[0] = 5;
        render(&coded, NULL, 0, 20);
        assert_true(sim_sound_code(codec[c], 0.5, RATE, coded.y, coded.n));
        double off = 0;
        for (size_t i = 0; i < s.n; i++)
            off += pow((double)s.y[i] - (double)coded.y[i], 2);
        print_message("codec %d: off by %.2g rms\n", (int)codec[c], sqrt(off / (double)s.n));
        assert_true(sqrt(off / (double)s.n) < 0.05);
        free(s.y);
        free(coded.y);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(poles),      cmocka_unit_test(levels),      cmocka_unit_test(transitions),
        cmocka_unit_test(neighbours), cmocka_unit_test(time_breaks), cmocka_unit_test(noises),
        cmocka_unit_test(codecs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
