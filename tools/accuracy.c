/* accuracy: how well edges are timed, against the Cramer-Rao bound of the very
 * waveform.
 *
 *   build/tools/accuracy            the grid: rate x noise x converter filter
 *   build/tools/accuracy --quick    48 kHz only, fewer pulses
 *   build/tools/accuracy --stress   few pulses, fast frames, hum, clipping, ...
 *   build/tools/accuracy --case RATE:FILTER:SNR[:NAME]
 *                                   one cell; NAME one of the stress rows
 * --pulses N, --seed N. */
#include "sim/edge_trial.h"

#include <getopt.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct stress {
    const char *name;
    void (*apply)(sim_trial *);
} stress;

static void hold(sim_trial *t) {
    (void)t;
}
static void locked(sim_trial *t) {
    t->locked = true;
}
static void moving(sim_trial *t) {
    t->moving_us = 400;
}
static void moving_two_poles_hum(sim_trial *t) {
    t->moving_us = 400;
    t->channel.high_pass_hz[0] = 8;
    t->channel.high_pass_hz[1] = 20;
    t->channel.hum_hz = 50;
    t->channel.hum_db = -40;
}
static void five(sim_trial *t) {
    t->pulses = 5;
}
static void twenty(sim_trial *t) {
    t->pulses = 20;
}
static void twenty_locked(sim_trial *t) {
    t->pulses = 20;
    t->locked = true;
}
static double half(const sim_trial *t, double width_s) {
    return floor(width_s * t->channel.sample_rate_hz) + 0.5;
}
static void fast(sim_trial *t) {
    t->frame_s = 3e-3;
}
static void narrow(sim_trial *t) {
    t->width_samples = half(t, 510e-6);
}
static void narrow_fast(sim_trial *t) {
    narrow(t);
    fast(t);
}
static void wide_fast(sim_trial *t) {
    t->width_samples = half(t, 2490e-6);
    fast(t);
}
static void two_poles(sim_trial *t) {
    t->channel.high_pass_hz[0] = 30;
    t->channel.high_pass_hz[1] = 20;
}
static void one_pole(sim_trial *t) {
    t->channel.high_pass_hz[0] = 50;
}
static void hum_locked(sim_trial *t) {
    t->channel.hum_hz = 50;
    t->channel.hum_db = -40;
    t->locked = true;
}
static void hum_large(sim_trial *t) {
    t->channel.hum_hz = 50.02;
    t->channel.hum_db = -20;
}
static void inverted(sim_trial *t) {
    t->channel.inverted = true;
}
static void bits_24(sim_trial *t) {
    t->channel.bits = 24;
}
static void bits_8(sim_trial *t) {
    t->channel.bits = 8;
}
static void small(sim_trial *t) {
    t->channel.amplitude = 0.02;
}
static void slewed(sim_trial *t) {
    t->channel.slew_s = 2e-6;
}
/* The pulse's flat top, as the coupled line shows it: the mean is zero. */
static double top_of(const sim_trial *t) {
    double duty = t->width_samples / t->channel.sample_rate_hz / t->frame_s;
    return t->channel.amplitude * (1 - duty);
}
static void clip_98(sim_trial *t) {
    t->channel.clip_high = 0.98 * top_of(t);
}
static void clip_100(sim_trial *t) {
    t->channel.clip_high = top_of(t);
}
static void clip_90(sim_trial *t) {
    t->channel.clip_high = 0.90 * top_of(t);
}
static void soft(sim_trial *t) {
    t->channel.soft_scale = t->channel.amplitude / 0.71;
}
static void asymmetric(sim_trial *t) {
    t->channel.fall_tau_s = 1e-6;
}

static const stress rows[] = {
    {"hold", hold},
    {"locked", locked},
    {"moving", moving},
    {"moving-two-poles-hum", moving_two_poles_hum},
    {"5-pulses", five},
    {"20-pulses", twenty},
    {"20-locked", twenty_locked},
    {"333Hz", fast},
    {"510us", narrow},
    {"510us-3ms", narrow_fast},
    {"2490us-3ms", wide_fast},
    {"two-poles", two_poles},
    {"one-pole-50Hz", one_pole},
    {"hum-40-locked", hum_locked},
    {"hum-20", hum_large},
    {"inverted", inverted},
    {"24-bit", bits_24},
    {"8-bit", bits_8},
    {"amplitude-0.02", small},
    {"slew-2us", slewed},
    {"clip-100", clip_100},
    {"clip-98", clip_98},
    {"clip-90", clip_90},
    {"soft", soft},
    {"asymmetric", asymmetric},
};
enum { ROWS = sizeof rows / sizeof rows[0] };

static void doubts(uint32_t bits, char text[64]) {
    static const char *name[] = {"clip", "soft", "asym", "lossy", "few", "fast", "short"};
    text[0] = '\0';
    for (size_t i = 0; i < sizeof name / sizeof name[0]; i++) {
        if ((bits & (1u << i)) != 0) {
            strcat(text, text[0] != '\0' ? "+" : "");
            strcat(text, name[i]);
        }
    }
    if (text[0] == '\0')
        strcpy(text, "-");
}

static void heading(void) {
    printf("%-22s %7s %c %4s %9s %9s %9s %6s %6s %6s %6s %4s %s\n", "case", "rate", 'f', "dB",
           "bound_us", "rms_us", "bias_us", "ratio", "bias/b", "u/rms", "cover", "how", "doubts");
}

/* Few pulses: many captures pooled, so that the row means something. */
static bool run(const char *name, sim_trial trial, uint64_t seed) {
    size_t repeats = trial.pulses < 200 ? 400 / trial.pulses : 1;
    double square = 0, bias = 0, u2 = 0, inside = 0, bound2 = 0, used = 0, widths = 0;
    uint32_t seen = 0;
    sim_outcome out = {0};
    for (size_t i = 0; i < repeats; i++) {
        if (!sim_trial_run(&trial, seed + i * 977, 0, &out))
            return false;
        seen |= out.report.doubts;
        if (isnan(out.rms_us)) {
            printf("%s: %zu of %zu edges, status %d\n", name, out.edges, out.wanted, out.status);
            continue;
        }
        double n = (double)out.widths;
        square += n * out.rms_us * out.rms_us;
        bias += n * out.bias_us;
        u2 += n * out.u_us * out.u_us;
        inside += n * out.coverage;
        bound2 += out.bound_us * out.bound_us;
        widths += n;
        used++;
    }
    char text[64];
    doubts(seen, text);
    double bound = sqrt(bound2 / used), rms = sqrt(square / widths);
    bias /= widths;
    printf("%-22s %7g %c %4g %9.5f %9.5f %9.5f %6.3f %6.3f %6.2f %6.3f %4d %s\n", name,
           trial.channel.sample_rate_hz, trial.channel.filter, trial.channel.snr_db, bound, rms,
           bias, rms / bound, bias / bound, sqrt(u2 / widths) / rms, inside / widths,
           (int)out.report.method, text);
    fflush(stdout);
    return true;
}

static bool grid(const double *rates, size_t n_rates, size_t pulses, uint64_t seed) {
    static const double snr[] = {30, 40, 60, 80};
    static const size_t styles[] = {0, 1, 2};
    for (size_t s = 0; s < 3; s++)
        for (const char *filter = "ahbg"; *filter != '\0'; filter++)
            for (size_t r = 0; r < n_rates; r++)
                for (size_t d = 0; d < 4; d++) {
                    sim_trial t = sim_trial_default(rates[r], *filter, snr[d]);
                    t.pulses = pulses;
                    rows[styles[s]].apply(&t);
                    if (!run(rows[styles[s]].name, t, seed++))
                        return false;
                }
    return true;
}

static bool stressed(size_t pulses, uint64_t seed) {
    for (size_t i = 3; i < ROWS; i++)
        for (const char *filter = "hb"; *filter != '\0'; filter++)
            for (double snr = 60; snr <= 80; snr += 20) {
                sim_trial t = sim_trial_default(48000, *filter, snr);
                t.pulses = pulses;
                rows[i].apply(&t);
                if (!run(rows[i].name, t, seed++))
                    return false;
            }
    return true;
}

static bool one_case(const char *text, size_t pulses, uint64_t seed) {
    double rate = 0, snr = 0;
    char filter = 0, name[64] = "hold";
    if (sscanf(text, "%lf:%c:%lf:%63s", &rate, &filter, &snr, name) < 3)
        return false;
    for (size_t i = 0; i < ROWS; i++) {
        if (strcmp(rows[i].name, name) != 0)
            continue;
        sim_trial t = sim_trial_default(rate, filter, snr);
        t.pulses = pulses;
        rows[i].apply(&t);
        return run(name, t, seed);
    }
    return false;
}

int main(int argc, char **argv) {
    static const struct option options[] = {
        {"quick", no_argument, NULL, 'q'},      {"stress", no_argument, NULL, 's'},
        {"case", required_argument, NULL, 'c'}, {"pulses", required_argument, NULL, 'p'},
        {"seed", required_argument, NULL, 'S'}, {NULL, 0, NULL, 0},
    };
    static const double rates[] = {44100, 48000, 96000, 192000};
    size_t pulses = 0;
    uint64_t seed = 1;
    bool quick = false, stress_rows = false, done = true;
    const char *single = NULL;
    for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        if (c == 'q')
            quick = true;
        else if (c == 's')
            stress_rows = true;
        else if (c == 'c')
            single = optarg;
        else if (c == 'p')
            pulses = strtoul(optarg, NULL, 10);
        else if (c == 'S')
            seed = strtoul(optarg, NULL, 10);
        else
            return 2;
    }
    heading();
    if (single != NULL)
        done = one_case(single, pulses > 0 ? pulses : 1000, seed);
    else if (stress_rows)
        done = stressed(pulses > 0 ? pulses : 1000, seed);
    else if (quick)
        done = grid(rates + 1, 1, pulses > 0 ? pulses : 300, seed);
    else
        done = grid(rates, 4, pulses > 0 ? pulses : 1000, seed);
    if (!done)
        fputs("accuracy: no such case, or no memory\n", stderr);
    return done ? 0 : 2;
}
