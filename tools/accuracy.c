/* accuracy: how well edges are timed, against the Cramer-Rao bound of the very
 * waveform.
 *
 *   build/tools/accuracy            the grid (rate x noise x converter filter) and the
 *                                   stress rows, then a verdict
 *   build/tools/accuracy --grid     the grid alone
 *   build/tools/accuracy --quick    the grid at 48 kHz only, fewer pulses
 *   build/tools/accuracy --stress   few pulses, fast frames, hum, clipping, ...
 *   build/tools/accuracy --case RATE:FILTER:SNR[:NAME]
 *                                   one cell; NAME one of the rows
 * --pulses N, --seed N, --jobs N (threads; 2). Status 1 when a cell is beyond its limits.
 *
 * Limits: rms 1.10 of the bound, 1.15 at 80 dB (1.20 with filter g, or the row's own);
 * bias 0.1 of it; coverage of 2 u 0.93 to 0.98; and three standard deviations of what n
 * widths make uncertain. No doubts, or, in rows that no fit can hold, doubts. */
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
    {"hold", hold, CLEAN, 0},
    {"locked", locked, CLEAN, 0},
    {"moving", moving, CLEAN, 0},
    {"moving-two-poles-hum", moving_two_poles_hum, CLEAN, 1.35},
    {"5-pulses", five, FEW, 1.25},
    {"20-pulses", twenty, CLEAN, 0},
    {"20-locked", twenty_locked, CLEAN, 0},
    {"333Hz", fast, CLEAN, 0},
    {"510us", narrow, CLEAN, 0},
    {"510us-3ms", narrow_fast, CLEAN, 0},
    {"2490us-3ms", wide_fast, CLEAN, 0},
    {"two-poles", two_poles, CLEAN, 0},
    {"one-pole-50Hz", one_pole, CLEAN, 0},
    {"hum-40-locked", hum_locked, CLEAN, 0},
    {"hum-20", hum_large, CLEAN, 0},
    {"inverted", inverted, CLEAN, 0},
    {"24-bit", bits_24, CLEAN, 0},
    {"8-bit", bits_8, HONEST, 1.25},
    {"amplitude-0.02", small, HONEST, 1.15},
    {"slew-2us", slewed, CLEAN, 0},
    {"clip-100", clip_100, CLEAN, 1.2},
    {"clip-98", clip_98, CLEAN, 1.2},
    {"clip-90", clip_90, TOLD, 0},
    {"soft", soft, TOLD, 0},
    {"asymmetric", asymmetric, TOLD, 0},
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

/* One cell of the table: pooled over captures where one has few pulses. */
typedef struct cell {
    const stress *row;
    sim_trial trial;
    uint64_t seed;
    double bound_us, rms_us, bias_us, u_us, coverage, widths;
    uint32_t doubts;
    spw_edge_method method;
    size_t lost; /* captures whose edges were not all found */
    bool failed; /* no memory */
} cell;

static void run(cell *c) {
    size_t repeats = c->trial.pulses < 200 ? 400 / c->trial.pulses : 1;
    double square = 0, bias = 0, u2 = 0, inside = 0, bound2 = 0, used = 0;
    for (size_t i = 0; i < repeats && !c->failed; i++) {
        sim_outcome out = {0};
        c->failed = !sim_trial_run(&c->trial, c->seed + i * 977, 0, &out);
        c->doubts |= out.report.doubts;
        c->method = out.report.method;
        if (isnan(out.rms_us)) {
            c->lost++;
            continue;
        }
        double n = (double)out.widths;
        square += n * out.rms_us * out.rms_us;
        bias += n * out.bias_us;
        u2 += n * out.u_us * out.u_us;
        inside += n * out.coverage;
        bound2 += out.bound_us * out.bound_us;
        c->widths += n;
        used++;
    }
    c->bound_us = sqrt(bound2 / used);
    c->rms_us = sqrt(square / c->widths);
    c->bias_us = bias / c->widths;
    c->u_us = sqrt(u2 / c->widths);
    c->coverage = inside / c->widths;
}

/* What is beyond its limits, in words; empty when nothing is. */
static void judge(const cell *c, char text[128]) {
    enum expectation expect = c->row->expect;
    double usual = c->trial.channel.filter == 'g' ? 1.20
                   : c->trial.channel.snr_db > 70 ? 1.15
                                                  : 1.10;
    double ratio = c->row->ratio > 0 ? c->row->ratio : usual, n = c->widths;
    double slack = 3 * sqrt(0.95 * 0.05 / n);
    text[0] = '\0';
    if (c->lost > 0 || c->failed)
        strcat(text, " edges");
    if (expect == TOLD) {
        strcat(text, c->doubts == 0 ? " not-told" : "");
        return;
    }
    uint32_t allowed = expect == HONEST ? SPW_DOUBT_CLIPPING : expect == FEW ? SPW_DOUBT_FEW : 0;
    if ((c->doubts & ~allowed) != 0)
        strcat(text, " doubts");
    if (!(c->rms_us < ratio * (1 + 3 / sqrt(2 * n)) * c->bound_us))
        strcat(text, " rms");
    if (expect == CLEAN && !(fabs(c->bias_us) < (0.1 + 3 / sqrt(n)) * c->bound_us))
        strcat(text, " bias");
    if (!(c->coverage > 0.93 - slack) || (expect == CLEAN && !(c->coverage < 0.98 + slack)))
        strcat(text, " coverage");
}

static void print(const cell *c) {
    char text[64];
    doubts(c->doubts, text);
    printf("%-22s %7g %c %4g %9.5f %9.5f %9.5f %6.3f %6.3f %6.2f %6.3f %4d %s\n", c->row->name,
           c->trial.channel.sample_rate_hz, c->trial.channel.filter, c->trial.channel.snr_db,
           c->bound_us, c->rms_us, c->bias_us, c->rms_us / c->bound_us, c->bias_us / c->bound_us,
           c->u_us / c->rms_us, c->coverage, (int)c->method, text);
    fflush(stdout);
}

enum { CELLS = 1024 };
typedef struct table {
    cell cell[CELLS];
    size_t n;
    atomic_size_t next;
    uint64_t seed;
    size_t pulses;
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
    for (size_t i = 0; i < t->n; i++) {
        const cell *c = &t->cell[i];
        char text[128];
        judge(c, text);
        if (text[0] == '\0')
            continue;
        printf("beyond its limit: %s %g %c %g:%s\n", c->row->name, c->trial.channel.sample_rate_hz,
               c->trial.channel.filter, c->trial.channel.snr_db, text);
        beyond++;
    }
    printf("%zu of %zu cells within their limits\n", t->n - beyond, t->n);
    return beyond;
}

int main(int argc, char **argv) {
    static const struct option options[] = {
        {"quick", no_argument, NULL, 'q'},        {"grid", no_argument, NULL, 'g'},
        {"stress", no_argument, NULL, 's'},       {"case", required_argument, NULL, 'c'},
        {"pulses", required_argument, NULL, 'p'}, {"seed", required_argument, NULL, 'S'},
        {"jobs", required_argument, NULL, 'j'},   {NULL, 0, NULL, 0},
    };
    static const double rates[] = {44100, 48000, 96000, 192000};
    size_t jobs = 2;
    int what = 0;
    const char *single = NULL;
    table *t = calloc(1, sizeof *t);
    if (t == NULL)
        return 2;
    t->seed = 1;
    for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        if (c == 'p')
            t->pulses = strtoul(optarg, NULL, 10);
        else if (c == 'S')
            t->seed = strtoul(optarg, NULL, 10);
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
