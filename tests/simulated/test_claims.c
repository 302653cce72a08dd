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
    t->codec_samples = 2; /* as the reader of sound files says */
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
        if (r->must == 0)
            assert_true(o.u_us < 1.3 * o.rms_us);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(all_rows)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
