/* accuracy: how well edges are timed, against the Cramer-Rao bound of the very
 * waveform (with every sample of it, clipped ones too).
 *
 *   build/tools/accuracy            the grid (rate x noise x converter filter) and the
 *                                   stress rows, then a verdict
 *   build/tools/accuracy --grid     the grid alone
 *   build/tools/accuracy --quick    the grid at 48 kHz only, fewer pulses
 *   build/tools/accuracy --stress   few pulses, fast frames, hum, clipping, ...
 *   build/tools/accuracy --case RATE:FILTER:SNR[:NAME]
 *                                   one cell; NAME one of the rows
 * --captures N (of one cell, each with its own noise and phase; 4), --pulses N (of one
 * capture; 1000), --seed N, --jobs N (threads; 2).
 *
 * Limits: rms 1.10 of the bound, 1.15 at 80 dB (1.20 with filter g, or the row's own);
 * bias 0.1 of it (or the row's own); coverage of 2 u 0.93 to 0.98; no doubts, or, in rows
 * that no fit can hold, doubts. Beside each figure stands what the sample leaves
 * uncertain, one standard deviation: of an rms over n widths 1 / sqrt(2 n) of itself, of
 * a mean 1 / sqrt(n) of the bound and, as all widths of a capture share one learned
 * shape, 1 / sqrt(pulses learned from) for each capture. `spread` is what was seen of
 * that: the standard deviation of the captures' own means. The verdict counts cells
 * beyond the bare limits, and those beyond by three of these standard deviations; with
 * one of the latter the status is 1. */
#include "sim/edge_trial.h"

#include <getopt.h>
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a row promises beside the usual. */
enum expectation {
    CLEAN,  /* all limits, no doubts */
    HONEST, /* u covers the errors, which a bound of white noise does not tell */
    FEW,    /* the same; and too few pulses may be told */
    TOLD    /* doubts are told */
};

typedef struct stress {
    const char *name;
    void (*apply)(sim_trial *);
    enum expectation expect;
    double ratio; /* limit; 0: the usual one */
    double bias;  /* limit at 80 dB; 0: the usual one */
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
/* Sets in behind what is learned from. */
static void hum_late(sim_trial *t) {
    t->pulses = 2200;
    t->channel.hum_hz = 50.02;
    t->channel.hum_db = -20;
    t->channel.hum_start_s = 0.05 + 0.02 * 1400;
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
/* A slow line, and one that nothing else limits in band. */
static void slow(sim_trial *t) {
    t->channel.rise_tau_s = t->channel.fall_tau_s = 25e-6;
}
static void unfiltered(sim_trial *t) {
    slow(t);
    t->channel.filter = '-';
}
/* Every transition midway between two samples. */
static void midway(sim_trial *t) {
    t->locked = true;
    t->phase = 0.5;
    t->width_samples = floor(t->width_samples);
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
    {"hold", hold, CLEAN, 0, 0},
    {"locked", locked, CLEAN, 0, 0},
    {"moving", moving, CLEAN, 0, 0},
    {"moving-two-poles-hum", moving_two_poles_hum, CLEAN, 0, 0.4},
    {"5-pulses", five, FEW, 1.25, 0},
    {"20-pulses", twenty, CLEAN, 0, 0},
    {"20-locked", twenty_locked, CLEAN, 0, 0},
    {"333Hz", fast, CLEAN, 0, 0},
    {"510us", narrow, CLEAN, 0, 0},
    {"510us-3ms", narrow_fast, CLEAN, 0, 0},
    {"2490us-3ms", wide_fast, CLEAN, 0, 0},
    {"two-poles", two_poles, CLEAN, 0, 0},
    {"one-pole-50Hz", one_pole, CLEAN, 0, 0},
    {"hum-40-locked", hum_locked, CLEAN, 0, 0},
    {"hum-20", hum_large, CLEAN, 0, 0},
    {"hum-20-late", hum_late, HONEST, 1.25, 0},
    {"inverted", inverted, CLEAN, 0, 0},
    {"24-bit", bits_24, CLEAN, 0, 0},
    {"8-bit", bits_8, HONEST, 1.25, 0},
    {"amplitude-0.02", small, HONEST, 1.15, 0},
    {"midway", midway, CLEAN, 0, 0},
    {"rc-25us", slow, CLEAN, 0, 0},
    {"unfiltered", unfiltered, TOLD, 0, 0},
    {"slew-2us", slewed, CLEAN, 0, 0},
    {"clip-100", clip_100, CLEAN, 1.2, 0.4},
    {"clip-98", clip_98, CLEAN, 1.2, 0.4},
    {"clip-90", clip_90, TOLD, 0, 0},
    {"soft", soft, TOLD, 0, 0},
    {"asymmetric", asymmetric, TOLD, 0, 0},
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
    printf("%-20s %6s %c %3s %9s %9s %9s %6s %5s %6s %5s %6s %5s %5s %3s %s\n", "case", "rate", 'f',
           "dB", "bound_us", "rms_us", "bias_us", "ratio", "+-", "bias/b", "+-", "spread", "u/rms",
           "cover", "how", "doubts");
}

/* One cell of the table, pooled over captures. */
typedef struct cell {
    const stress *row;
    sim_trial trial;
    uint64_t seed;
    size_t captures;
    double bound_us, rms_us, bias_us, spread_us, u_us, coverage, widths;
    double ratio_sd, bias_sd; /* what the sample leaves uncertain, of the bound */
    uint32_t doubts;
    spw_edge_method method;
    size_t lost; /* captures whose edges were not all found */
    bool failed; /* no memory */
} cell;

static void run(cell *c) {
    double square = 0, bias = 0, bias2 = 0, u2 = 0, inside = 0, bound2 = 0, used = 0;
    for (size_t i = 0; i < c->captures && !c->failed; i++) {
        sim_outcome out = {0};
        c->failed = !sim_trial_run(&c->trial, c->seed + i * 977, 0, &out);
        c->doubts |= out.report.doubts;
        c->method = out.report.method;
        if (out.edges != out.wanted || isnan(out.rms_us)) {
            c->lost++;
            continue;
        }
        double n = (double)out.widths;
        square += n * out.rms_us * out.rms_us;
        bias += out.bias_us;
        bias2 += out.bias_us * out.bias_us;
        u2 += n * out.u_us * out.u_us;
        inside += n * out.coverage;
        bound2 += out.bound_us * out.bound_us;
        c->widths += n;
        used++;
    }
    /* with hum learning does not wait for more than the first pulses: edges/finder.c */
    double learned = fmin((double)c->trial.pulses, c->trial.channel.hum_hz > 0 ? 120 : 1000);
    c->bound_us = sqrt(bound2 / used);
    c->rms_us = sqrt(square / c->widths);
    c->bias_us = bias / used;
    c->spread_us = used > 1 ? sqrt(fmax(bias2 - bias * c->bias_us, 0) / (used - 1)) : (double)NAN;
    c->u_us = sqrt(u2 / c->widths);
    c->coverage = inside / c->widths;
    c->ratio_sd = c->rms_us / c->bound_us / sqrt(2 * c->widths);
    c->bias_sd = sqrt(1 / c->widths + 1 / (learned * used));
}

typedef struct limits {
    double ratio, bias, cover_least, cover_most;
} limits;

static limits limits_of(const cell *c) {
    enum expectation expect = c->row->expect;
    bool quiet = c->trial.channel.snr_db > 70;
    limits l = {.ratio = c->trial.channel.filter == 'g' ? 1.20
                         : quiet                        ? 1.15
                                                        : 1.10,
                .bias = expect != CLEAN             ? INFINITY
                        : quiet && c->row->bias > 0 ? c->row->bias
                                                    : 0.1,
                .cover_least = 0.93,
                .cover_most = expect == CLEAN ? 0.98 : 1};
    l.ratio = c->row->ratio > 0 ? c->row->ratio : l.ratio;
    if (quiet && c->row->apply == moving_two_poles_hum)
        l.ratio = 1.35;
    if (quiet && c->row->apply == hum_late) /* the stretch in which it sets in: u tells */
        l.ratio = INFINITY;
    return l;
}

/* What is beyond its limits and `allowed` standard deviations more, in words; empty when
 * nothing is. */
static void judge(const cell *c, double allowed, char text[160]) {
    enum expectation expect = c->row->expect;
    text[0] = '\0';
    if (c->lost > 0 || c->failed)
        strcat(text, " edges");
    if (expect == TOLD) {
        strcat(text, c->doubts == 0 ? " not-told" : "");
        return;
    }
    limits l = limits_of(c);
    double ratio = c->rms_us / c->bound_us, bias = fabs(c->bias_us) / c->bound_us;
    double slack = allowed * sqrt(0.95 * 0.05 / c->widths);
    uint32_t may = expect == HONEST ? SPW_DOUBT_CLIPPING : expect == FEW ? SPW_DOUBT_FEW : 0;
    char *end = text + strlen(text);
    if ((c->doubts & ~may) != 0)
        end += sprintf(end, " doubts");
    if (!(ratio < l.ratio + allowed * c->ratio_sd))
        end += sprintf(end, " rms %.3f > %.2f", ratio, l.ratio);
    if (!(bias < l.bias + allowed * c->bias_sd))
        end += sprintf(end, " bias %.3f > %.2f", bias, l.bias);
    if (!(c->coverage >= l.cover_least - slack && c->coverage <= l.cover_most + slack))
        sprintf(end, " coverage %.3f", c->coverage);
}

static void print(const cell *c) {
    char text[64];
    doubts(c->doubts, text);
    printf("%-20s %6g %c %3g %9.5f %9.5f %9.5f %6.3f %5.3f %6.3f %5.3f %6.3f %5.2f %5.3f %3d %s\n",
           c->row->name, c->trial.channel.sample_rate_hz, c->trial.channel.filter,
           c->trial.channel.snr_db, c->bound_us, c->rms_us, c->bias_us, c->rms_us / c->bound_us,
           c->ratio_sd, c->bias_us / c->bound_us, c->bias_sd, c->spread_us / c->bound_us,
           c->u_us / c->rms_us, c->coverage, (int)c->method, text);
    fflush(stdout);
}

enum { CELLS = 1024 };
typedef struct table {
    cell cell[CELLS];
    size_t n;
    atomic_size_t next;
    uint64_t seed;
    size_t pulses, captures;
} table;

static void add(table *t, const stress *row, double rate_hz, char filter, double snr_db) {
    if (t->n == CELLS)
        return;
    cell *c = &t->cell[t->n++];
    c->row = row;
    c->seed = t->seed++;
    c->trial = sim_trial_default(rate_hz, filter, snr_db);
    c->trial.pulses = t->pulses;
    row->apply(&c->trial);
    /* few pulses: more captures, though not as many edges */
    c->captures = c->trial.pulses < t->pulses ? 1600 / c->trial.pulses + 1 : t->captures;
}

static void add_grid(table *t, const double *rates, size_t n_rates) {
    static const double snr[] = {30, 40, 60, 80};
    for (size_t row = 0; row < 3; row++)
        for (const char *filter = "ahbg"; *filter != '\0'; filter++)
            for (size_t r = 0; r < n_rates; r++)
                for (size_t d = 0; d < 4; d++)
                    add(t, &rows[row], rates[r], *filter, snr[d]);
}

static void add_stress(table *t) {
    for (size_t i = 3; i < ROWS; i++)
        for (const char *filter = "hb"; *filter != '\0'; filter++)
            for (double snr = 60; snr <= 80; snr += 20)
                add(t, &rows[i], 48000, *filter, snr);
}

static bool add_case(table *t, const char *text) {
    double rate = 0, snr = 0;
    char filter = 0, name[64] = "hold";
    if (sscanf(text, "%lf:%c:%lf:%63s", &rate, &filter, &snr, name) < 3)
        return false;
    for (size_t i = 0; i < ROWS; i++)
        if (strcmp(rows[i].name, name) == 0)
            add(t, &rows[i], rate, filter, snr);
    return t->n == 1;
}

static void *work(void *context) {
    table *t = context;
    for (size_t i; (i = atomic_fetch_add(&t->next, 1)) < t->n;)
        run(&t->cell[i]);
    return NULL;
}

/* Runs all cells and prints them in order. How many are beyond their limits. */
static size_t run_all(table *t, size_t jobs) {
    pthread_t thread[16];
    size_t started = 0, beyond = 0;
    while (started < jobs && started < 16 && pthread_create(&thread[started], NULL, work, t) == 0)
        started++;
    if (started == 0)
        work(t);
    heading();
    for (size_t i = 0; i < started; i++)
        pthread_join(thread[i], NULL);
    for (size_t i = 0; i < t->n; i++)
        print(&t->cell[i]);
    size_t bare = 0;
    for (size_t i = 0; i < t->n; i++) {
        const cell *c = &t->cell[i];
        char text[160], far[160];
        judge(c, 0, text);
        judge(c, 3, far);
        if (text[0] == '\0')
            continue;
        printf("%s: %s %g %c %g:%s\n", far[0] != '\0' ? "BEYOND ITS LIMIT" : "within chance",
               c->row->name, c->trial.channel.sample_rate_hz, c->trial.channel.filter,
               c->trial.channel.snr_db, far[0] != '\0' ? far : text);
        bare++;
        beyond += far[0] != '\0';
    }
    printf("%zu of %zu cells within the bare limits, %zu more within three standard deviations "
           "of their sample, %zu beyond\n",
           t->n - bare, t->n, bare - beyond, beyond);
    return beyond;
}

int main(int argc, char **argv) {
    static const struct option options[] = {
        {"quick", no_argument, NULL, 'q'},
        {"grid", no_argument, NULL, 'g'},
        {"stress", no_argument, NULL, 's'},
        {"case", required_argument, NULL, 'c'},
        {"pulses", required_argument, NULL, 'p'},
        {"seed", required_argument, NULL, 'S'},
        {"jobs", required_argument, NULL, 'j'},
        {"captures", required_argument, NULL, 'n'},
        {NULL, 0, NULL, 0},
    };
    static const double rates[] = {44100, 48000, 96000, 192000};
    size_t jobs = 2;
    int what = 0;
    const char *single = NULL;
    table *t = calloc(1, sizeof *t);
    if (t == NULL)
        return 2;
    t->seed = 1;
    t->captures = 4;
    for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        if (c == 'p')
            t->pulses = strtoul(optarg, NULL, 10);
        else if (c == 'S')
            t->seed = strtoul(optarg, NULL, 10);
        else if (c == 'n')
            t->captures = strtoul(optarg, NULL, 10);
        else if (c == 'j')
            jobs = strtoul(optarg, NULL, 10);
        else
            what = c;
        single = c == 'c' ? optarg : single;
    }
    if (t->pulses == 0)
        t->pulses = what == 'q' ? 300 : 1000;
    if (what == 'q' || what == 'g' || what == 0)
        add_grid(t, what == 'q' ? rates + 1 : rates, what == 'q' ? 1 : 4);
    if (what == 's' || what == 0)
        add_stress(t);
    int status = 2;
    if (t->n > 0 || (what == 'c' && add_case(t, single)))
        status = run_all(t, jobs) > 0;
    else
        fputs("accuracy: no such case\n", stderr);
    free(t);
    return status;
}
