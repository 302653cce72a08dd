/* Claims hold: what is said of a recording is true of it. Each row is a recording of which
 * something was once said that is not so, or with an uncertainty that does not hold. */
#include "support/test.h"

#include "sim/edge_trial.h"

#include <math.h>

typedef struct row {
    const char *name;
    void (*make)(sim_trial *trial);
    double rate_hz, snr_db;
    uint32_t must, may; /* doubts that are said, and that may be */
    double hum_hz;      /* named: 0 none, NAN none or 16.7 */
    double bias_us;     /* of its own, as the line is drawn: the codec's, the clipping's */
} row;

static sim_disturbance disturbance; /* of the row that is being made */

static void disturb(sim_trial *t, sim_disturbance d) {
    disturbance = d;
    t->channel.disturbance = &disturbance;
    t->channel.disturbances = 1;
}

static void pink(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -50});
}
static void pink_faint(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -70});
}
static void low_passed_1k(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -50, .hz = 1000});
}
static void low_passed_4k(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -50, .hz = 4000});
}
static void low_passed_4k_faint(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -70, .hz = 4000});
}
static void low_passed_12k(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -50, .hz = 12000});
}
static void cut_off(sim_trial *t) {
    t->channel.clip_high = 0.2;
    t->channel.clip_low = -0.02;
}
static void over_full_scale(sim_trial *t) {
    t->channel.amplitude = 2.2;
    t->channel.offset = -1.1;
    t->channel.high_pass_hz[0] = 0;
}
static void coded(sim_trial *t, sim_codec codec, bool locked) {
    t->coded = t->lossy = true;
    t->codec = codec;
    t->codec_samples = 3; /* as the reader of sound files says */
    t->locked = locked;
}
static void ms_adpcm(sim_trial *t) {
    coded(t, SIM_MS_ADPCM, false);
}
static void ima_adpcm(sim_trial *t) {
    coded(t, SIM_IMA_ADPCM, false);
}
static void ima_adpcm_locked(sim_trial *t) {
    coded(t, SIM_IMA_ADPCM, true);
}
static void poles(sim_trial *t, double a, double b, double c) {
    t->channel.high_pass_hz[0] = a;
    t->channel.high_pass_hz[1] = b;
    t->channel.high_pass_hz[2] = c;
}
static void three_poles(sim_trial *t) {
    poles(t, 5, 20, 60);
}
static void three_poles_locked(sim_trial *t) {
    poles(t, 20, 30, 40);
    t->locked = true;
}
static void low_cut(sim_trial *t) {
    poles(t, 60, 0, 0);
}
static void lower_cut(sim_trial *t) {
    poles(t, 200, 0, 0);
}
static void eight_bits(sim_trial *t) {
    t->channel.bits = 8;
}
static void eight_bits_locked(sim_trial *t) {
    t->channel.bits = 8;
    t->locked = true;
}
static void wander(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -20, .hz = 2});
}
static void faster_wander(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_COLOURED, .value = -40, .hz = 10});
}
static void level_jump(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_LEVEL, .at_s = 3, .value = -3});
}
static void gain_jump(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_GAIN, .at_s = 3, .value = -3});
}
static void railway(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_MAINS, .value = -20, .hz = 16.7});
}
static void faint_railway(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_MAINS, .value = -40, .hz = 16.7});
}
static void tone_83(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_TONE, .value = -30, .hz = 83});
}
static void hum_50_locked(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_MAINS, .value = -40, .hz = 50});
    t->locked = true;
}
static void hum_60_locked(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_MAINS, .value = -40, .hz = 60});
    t->locked = true;
    t->frame_s = 1 / 60.0;
}
static void heights(sim_trial *t) {
    disturb(t, (sim_disturbance){SIM_HEIGHTS, .value = 0.01});
}
static void sum_stream(sim_trial *t) {
    t->sum_channels = 8;
    t->width_samples = 14.5;
}
static void sum_stream_wider(sim_trial *t) {
    t->sum_channels = 6;
    t->width_samples = 24;
    t->pulses = 1400;
}
static void alternating(sim_trial *t, double us) {
    t->alternate_us = us;
    t->locked = true;
    t->pulses = 700;
}
static void alternating_1(sim_trial *t) {
    alternating(t, 1.2);
}
static void alternating_3(sim_trial *t) {
    alternating(t, 2.5);
}
static void alternating_5(sim_trial *t) {
    alternating(t, 5.2);
}
static void alternating_20(sim_trial *t) {
    alternating(t, 20);
}
static void curved(sim_trial *t) {
    t->channel.soft_scale = 5 * t->channel.amplitude;
}
static void unequal(sim_trial *t) {
    t->channel.fall_tau_s = 1e-6;
}

static const row rows[] = {
    {"pink noise, -50 dB", pink, 48000, 60, 0, 0, (double)NAN, 0},
    {"pink noise, -70 dB", pink_faint, 48000, 80, 0, 0, (double)NAN, 0},
    {"noise below 1 kHz", low_passed_1k, 48000, 70, 0, 0, 0, 0},
    {"noise below 4 kHz", low_passed_4k, 48000, 70, 0, 0, 0, 0},
    {"noise below 4 kHz, -70 dB", low_passed_4k_faint, 48000, 80, 0, 0, 0, 0},
    {"noise below 12 kHz", low_passed_12k, 48000, 70, 0, 0, 0, 0},
    {"three coupling poles", three_poles, 48000, 60, 0, 0, 0, 0},
    {"the same, locked frames", three_poles_locked, 48000, 60, 0, 0, 0, 0},
    {"a low cut of 60 Hz", low_cut, 48000, 60, 0, 0, 0, 0},
    {"a low cut of 200 Hz", lower_cut, 48000, 60, 0, 0, 0, 0},
    {"8 bit without dither", eight_bits, 48000, 90, 0, 0, 0, 0},
    {"the same, locked frames", eight_bits_locked, 48000, 90, 0, 0, 0, 0},
    {"a slow wander", wander, 48000, 60, 0, 0, 0, 0},
    {"a faster one", faster_wander, 48000, 60, 0, 0, 0, 0},
    {"a level jump", level_jump, 48000, 60, 0, 0, 0, 0},
    {"a jump of the gain", gain_jump, 48000, 60, 0, 0, 0, 0},
    {"railway hum", railway, 48000, 60, 0, 0, 16.7, 0},
    {"faint railway hum", faint_railway, 48000, 60, 0, 0, 16.7, 0},
    {"a tone of 83 Hz", tone_83, 48000, 60, 0, 0, 0, 0},
    {"hum of 50 Hz, frames of 50 Hz", hum_50_locked, 48000, 60, 0, 0, 50, 0},
    {"hum of 60 Hz, frames of 60 Hz", hum_60_locked, 48000, 60, 0, 0, 60, 0},
    {"heights that vary by 1 %", heights, 48000, 60, 0, 0, 0, 0},
    {"the same, 80 dB", heights, 48000, 80, 0, 0, 0, 0},
    {"a sum stream", sum_stream, 48000, 60, 0, 0, 0, 0},
    {"another", sum_stream_wider, 48000, 60, 0, 0, 0, 0},
    {"widths alternate by 1.2 us", alternating_1, 22050, 76, 0, 0, 0, 0},
    {"by 2.5 us", alternating_3, 192000, 76, 0, 0, 0, 0},
    {"by 5.2 us", alternating_5, 32000, 75, 0, 0, 0, 0},
    {"by 20 us", alternating_20, 48000, 76, 0, 0, 0, 0},
    {"cut off on both sides", cut_off, 192000, 60, SPW_DOUBT_CLIPPING, 0, (double)NAN, 3},
    {"over full scale", over_full_scale, 192000, 60, SPW_DOUBT_CLIPPING, 0, 0, 0},
    {"MS ADPCM", ms_adpcm, 48000, 60, SPW_DOUBT_LOSSY, 0, (double)NAN, 0},
    {"IMA ADPCM", ima_adpcm, 48000, 60, SPW_DOUBT_LOSSY, 0, (double)NAN, 0},
    {"IMA ADPCM, locked frames", ima_adpcm_locked, 48000, 60, SPW_DOUBT_LOSSY, 0, (double)NAN, 0},
    {"a slightly curved input", curved, 48000, 60, SPW_DOUBT_SATURATION, SPW_DOUBT_ASYMMETRY, 0, 0},
    {"unequal RC", unequal, 48000, 60, SPW_DOUBT_ASYMMETRY, 0, 0, 0.25},
};

static void all_rows(void **unused) {
    (void)unused;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const row *r = &rows[i];
        sim_trial t = sim_trial_default(r->rate_hz, 'h', r->snr_db);
        t.pulses = 400;
        r->make(&t);
        sim_outcome o;
        assert_true(sim_trial_run(&t, 300 + i, 0, &o));
        print_message("%s: doubts %#x, hum %.3f Hz, rms %.4f us, u %.4f us, coverage %.3f\n",
                      r->name, o.report.doubts, o.report.hum_hz, o.rms_us, o.u_us, o.coverage);
        assert_int_equal(o.edges, o.wanted);
        assert_int_equal(o.report.doubts & r->must, r->must);
        assert_int_equal(o.report.doubts & ~(r->must | r->may), 0);
        if (!isnan(r->hum_hz))
            assert_true(fabs(o.report.hum_hz - r->hum_hz) < 0.02);
        if (r->bias_us == 0)
            assert_true(o.coverage > 0.90);
        else
            assert_true(fabs(o.bias_us) < r->bias_us);
        if (r->must == 0 && t.channel.bits > 8 && r->hum_hz == 0)
            assert_true(o.u_us < 1.3 * o.rms_us);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(all_rows)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
