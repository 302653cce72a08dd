/* Edge timing against the Cramer-Rao bound of the very waveform, reduced: the whole
 * table is tools/accuracy.
 *
 * The limits are the goals (1.10 of the bound, 1.15 at 80 dB, 1.20 with the slow
 * filter g, ...) and what a sample of n widths adds to them: an rms over n widths is
 * uncertain by 1 / sqrt(2 n) of itself, a mean by 1 / sqrt(n) of the bound, a share
 * of p by sqrt(p (1 - p) / n); four of these are allowed. A mean is also uncertain
 * by the learned shape's own error, bound / sqrt(pulses learned from), three of which
 * are allowed. */
#include "support/test.h"

#include "sim/edge_trial.h"

#include <math.h>

typedef struct row {
    double rate_hz;
    char filter;
    double snr_db;
    enum {
        HOLD,
        LOCKED,
        MIDWAY,
        MOVING,
        SLOW,
        POLES_HUM,
        NARROW_FAST,
        WIDE_FAST,
        HUM,
        INVERTED,
        BITS_24
    } kind;
    double ratio; /* the goal */
} row;

static sim_trial trial_of(const row *r) {
    sim_trial t = sim_trial_default(r->rate_hz, r->filter, r->snr_db);
    t.pulses = 300;
    t.locked = r->kind == LOCKED || r->kind == MIDWAY;
    t.moving_us = r->kind == MOVING || r->kind == SLOW || r->kind == POLES_HUM ? 400 : 0;
    if (r->kind == MIDWAY) { /* every transition between two samples: least seen of a filter */
        t.phase = 0.5;
        t.width_samples = floor(t.width_samples);
    }
    if (r->kind == SLOW) /* as a bench recorder sees a line */
        t.channel.rise_tau_s = t.channel.fall_tau_s = 3 / r->rate_hz;
    if (r->kind == POLES_HUM || r->kind == HUM) {
        t.channel.hum_hz = 50.01;
        t.channel.hum_db = r->kind == HUM ? -20 : -40;
    }
    if (r->kind == POLES_HUM) {
        t.channel.high_pass_hz[0] = 8;
        t.channel.high_pass_hz[1] = 20;
    }
    if (r->kind == NARROW_FAST || r->kind == WIDE_FAST) {
        double width_s = r->kind == WIDE_FAST ? 2490e-6 : 510e-6;
        t.width_samples = floor(width_s * r->rate_hz) + 0.5;
        t.frame_s = 3e-3;
    }
    t.channel.inverted = r->kind == INVERTED;
    t.channel.bits = r->kind == BITS_24 ? 24 : 16;
    return t;
}

/* No flags, everything found, and the four figures within their limits. */
static void expect_bound(const sim_outcome *o, double ratio, double learned) {
    double n = (double)o->widths, limit = ratio * (1 + 4 / sqrt(2 * n));
    double bias = (0.1 + 4 / sqrt(n) + 3 / sqrt(learned)) * o->bound_us;
    double slack = 4 * sqrt(0.95 * 0.05 / n);
    assert_int_equal(o->status, SPW_OK);
    assert_int_equal(o->edges, o->wanted);
    print_message("rms %.3f bias %+.3f of the bound %.5f us, coverage %.3f\n",
                  o->rms_us / o->bound_us, o->bias_us / o->bound_us, o->bound_us, o->coverage);
    assert_int_equal(o->report.method, SPW_METHOD_TEMPLATE);
    assert_int_equal(o->report.doubts, 0);
    assert_true(o->rms_us < limit * o->bound_us);
    assert_true(fabs(o->bias_us) < bias);
    assert_true(o->coverage > 0.93 - slack && o->coverage < 0.98 + slack);
}

static void reaches_the_bound(void **unused) {
    (void)unused;
    static const row rows[] = {
        {44100, 'h', 80, MOVING, 1.15},      {48000, 'h', 30, HOLD, 1.10},
        {48000, 'h', 40, LOCKED, 1.10},      {48000, 'h', 60, LOCKED, 1.10},
        {48000, 'h', 80, HOLD, 1.15},        {48000, 'b', 60, HOLD, 1.10},
        {48000, 'b', 80, LOCKED, 1.15},      {48000, 'a', 60, MOVING, 1.10},
        {48000, 'g', 60, HOLD, 1.20},        {96000, 'h', 60, HOLD, 1.10},
        {192000, 'a', 60, HOLD, 1.10},       {48000, 'h', 80, POLES_HUM, 1.35},
        {48000, 'h', 60, NARROW_FAST, 1.10}, {48000, 'b', 80, WIDE_FAST, 1.15},
        {48000, 'h', 80, HUM, 1.15},         {48000, 'h', 60, INVERTED, 1.10},
        {48000, 'b', 80, BITS_24, 1.15},     {192000, 'h', 60, MIDWAY, 1.10},
        {48000, 'h', 80, MIDWAY, 1.15},      {192000, 'h', 50, SLOW, 1.10},
        {1000000, 'h', 60, SLOW, 1.10},      {1000000, 'h', 80, SLOW, 1.15},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        sim_trial t = trial_of(&rows[i]);
        sim_outcome o;
        print_message("%g Hz %c %g dB kind %d seed %zu: ", rows[i].rate_hz, rows[i].filter,
                      rows[i].snr_db, (int)rows[i].kind, 100 + i);
        assert_true(sim_trial_run(&t, 100 + i, 0, &o));
        expect_bound(&o, rows[i].ratio, t.channel.hum_hz > 0 ? 120 : 300); /* see finder.c */
    }
}

/* Many short captures pooled, as far as their number makes up for their length. */
static void few_pulses(void **unused) {
    (void)unused;
    static const struct {
        size_t pulses, captures;
        double ratio;
    } rows[] = {{5, 60, 1.25}, {20, 15, 1.10}};
    for (size_t i = 0; i < 2; i++) {
        double square = 0, inside = 0, n = 0, bound = 0;
        for (size_t k = 0; k < rows[i].captures; k++) {
            sim_trial t = sim_trial_default(48000, k % 2 == 0 ? 'h' : 'b', 60);
            t.pulses = rows[i].pulses;
            sim_outcome o;
            assert_true(sim_trial_run(&t, 500 + k, 0, &o));
            assert_int_equal(o.edges, o.wanted);
            assert_int_equal(o.report.doubts, 0);
            square += (double)o.widths * o.rms_us * o.rms_us;
            inside += (double)o.widths * o.coverage;
            bound += (double)o.widths * o.bound_us * o.bound_us;
            n += (double)o.widths;
        }
        print_message("%zu pulses: rms %.3f of the bound, coverage %.3f\n", rows[i].pulses,
                      sqrt(square / bound), inside / n);
        assert_true(sqrt(square / bound) < rows[i].ratio * (1 + 4 / sqrt(2 * n)));
        assert_true(inside / n > 0.93 - 4 * sqrt(0.95 * 0.05 / n));
    }
}

/* What a shape cannot describe is told, and told only then. */
static void doubts_are_told(void **unused) {
    (void)unused;
    enum { CLIPPED, SATURATED, UNEQUAL, LOSSY, FEW, UNFILTERED, CASES };
    static const uint32_t wanted[CASES] = {SPW_DOUBT_CLIPPING,  SPW_DOUBT_SATURATION,
                                           SPW_DOUBT_ASYMMETRY, SPW_DOUBT_LOSSY,
                                           SPW_DOUBT_FEW,       SPW_DOUBT_NO_SHAPE};
    for (int c = 0; c < CASES; c++) {
        sim_trial t = sim_trial_default(48000, 'h', 60);
        t.pulses = c == FEW ? 3 : 300;
        if (c == CLIPPED)
            t.channel.clip_high = 0.9 * 0.925 * t.channel.amplitude; /* of the coupled top */
        if (c == SATURATED)
            t.channel.soft_scale = t.channel.amplitude / 0.71;
        if (c == UNEQUAL)
            t.channel.fall_tau_s = 1e-6;
        if (c == UNFILTERED) {
            t.channel.filter = '-';
            t.channel.rise_tau_s = t.channel.fall_tau_s = 3.0 / 48000;
        }
        t.lossy = c == LOSSY;
        sim_outcome o;
        assert_true(sim_trial_run(&t, 900 + (uint64_t)c, 0, &o));
        assert_int_equal(o.edges, o.wanted);
        print_message("case %d: doubts %#x, rms %.3f us, u %.3f us, u_asymmetry %.3f us\n", c,
                      o.report.doubts, o.rms_us, o.u_us, o.report.u_asymmetry_us);
        assert_true((o.report.doubts & wanted[c]) != 0);
        if (c == UNFILTERED)
            assert_true(o.coverage > 0.95);
        if (c == CLIPPED) {
            assert_true(o.report.clipped_samples > 1000 && o.report.first_clip_s < 0.06);
            assert_true(o.u_us > 0.012 * 1e6 / 48000);
        }
        if (c == UNEQUAL) { /* (1 - ln 2)(tau_f - tau_r) = 0.215 us lies within 2 u */
            assert_true(fabs(o.bias_us - 0.215) < 0.02);
            assert_true(fabs(o.bias_us) < 2 * o.report.u_asymmetry_us);
            assert_true(o.report.u_asymmetry_us < 0.5);
        }
        if (c == SATURATED)
            assert_true(o.u_us > 0.05 * 1e6 / 48000);
    }
}

/* Ringing cut off near the plateau's level. Of the bound with every sample, which is what
 * the ratio is against, clipping at 98 % leaves 1.04 (h) and 1.14 (b) times as much. */
static void clipped_ringing(void **unused) {
    (void)unused;
    static const struct {
        char filter;
        double snr_db, share, ratio;
    } rows[] = {{'h', 60, 0.98, 1.2}, {'b', 60, 0.98, 1.2}, {'b', 60, 1, 1.2},
                {'h', 80, 0.98, 1.2}, {'b', 80, 1, 1.2},    {'b', 40, 0.98, 1.25}};
    for (size_t c = 0; c < sizeof rows / sizeof rows[0]; c++) {
        sim_trial t = sim_trial_default(48000, rows[c].filter, rows[c].snr_db);
        t.pulses = 300;
        double duty = t.width_samples / 48000 / t.frame_s, top = t.channel.amplitude * (1 - duty);
        t.channel.clip_high = rows[c].share * top;
        sim_outcome o;
        assert_true(sim_trial_run(&t, 700 + (uint64_t)c, 0, &o));
        print_message(
            "clipped %zu: ratio %.2f, bias %+.3f, u/rms %.2f, coverage %.3f, doubts %#x\n", c,
            o.rms_us / o.bound_us, o.bias_us / o.bound_us, o.u_us / o.rms_us, o.coverage,
            o.report.doubts);
        double n = (double)o.widths, slack = 4 * sqrt(0.95 * 0.05 / n);
        assert_int_equal(o.edges, o.wanted);
        assert_int_equal(o.report.doubts, 0);
        assert_true(o.report.clipped_samples > 0);
        assert_true(o.rms_us < rows[c].ratio * (1 + 4 / sqrt(2 * n)) * o.bound_us);
        assert_true(o.coverage > 0.93 - slack && o.coverage < 0.98 + slack);
    }
}

/* The smooth parts that were simulated are those that are reported. */
static void coupling_and_hum(void **unused) {
    (void)unused;
    sim_trial t = sim_trial_default(48000, 'h', 60);
    sim_outcome o;
    t.pulses = 200;
    assert_true(sim_trial_run(&t, 1, 0, &o));
    assert_true(fabs(o.report.droop_corner_hz - 5) < 0.1 && o.report.hum_hz == 0);
    t.channel.high_pass_hz[1] = 20; /* the sum of both corners shapes what comes first */
    t.channel.hum_hz = 59.98;
    t.channel.hum_db = -20;
    assert_true(sim_trial_run(&t, 2, 0, &o));
    assert_true(fabs(o.report.droop_corner_hz - 25) < 0.5);
    assert_true(fabs(o.report.hum_hz - 59.98) < 0.005);
    assert_true(fabs(o.report.hum_amplitude / (0.1 * t.channel.amplitude) - 1) < 0.02);
    assert_true(fabs(20 * log10(o.report.noise_sd / t.channel.amplitude) + 60) < 0.3);
    assert_true(fabs(o.report.high - o.report.low - t.channel.amplitude) < 0.03);
}

/* Hum that sets in behind what was learned from is found, and u covers its start. */
static void late_hum(void **unused) {
    (void)unused;
    for (int c = 0; c < 2; c++) {
        sim_trial t = sim_trial_default(48000, 'h', c == 0 ? 60 : 80);
        t.pulses = 1800;
        t.channel.hum_hz = 50.02;
        t.channel.hum_db = -20;
        t.channel.hum_start_s = 0.05 + 0.02 * 1430;
        sim_outcome o;
        assert_true(sim_trial_run(&t, 40 + (uint64_t)c, 0, &o));
        print_message("late hum: ratio %.2f, u/rms %.2f, coverage %.3f, hum %.3f Hz\n",
                      o.rms_us / o.bound_us, o.u_us / o.rms_us, o.coverage, o.report.hum_hz);
        assert_int_equal(o.edges, o.wanted);
        assert_int_equal(o.report.doubts, 0);
        assert_true(o.coverage > 0.93 - 4 * sqrt(0.95 * 0.05 / (double)o.widths));
        assert_true(fabs(o.report.hum_hz - 50.02) < 0.02);
        assert_true(fabs(o.report.hum_amplitude / (0.1 * t.channel.amplitude) - 1) < 0.05);
        if (c == 0)
            assert_true(o.rms_us < 1.25 * o.bound_us);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reaches_the_bound), cmocka_unit_test(few_pulses),
        cmocka_unit_test(doubts_are_told),   cmocka_unit_test(clipped_ringing),
        cmocka_unit_test(coupling_and_hum),  cmocka_unit_test(late_hum),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
