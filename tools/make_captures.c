/* Makes the shipped captures of Wren, a school club's seed-tray planter:
 *   make_captures FOLDER
 * Everything is seeded; edges are exact real-valued times, and the recorders
 * are simulated from them (tools/sim). Beside the captures it writes truth.tsv:
 * what each line really carried, hold by hold. */
#include "sim/channel.h"
#include "sim/rng.h"
#include "sim/train.h"

#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A line of Wren: holds with short ramps between them. */
typedef struct line {
    const char *name;
    sim_train_spec spec;
    sim_part part[16];
} line;

static const char *folder;
static FILE *truth;

static void fail(const char *what, const char *name) {
    fprintf(stderr, "make_captures: %s %s: %s\n", what, name, strerror(errno));
    exit(2);
}

static FILE *create(const char *name) {
    char path[4096];
    int length = snprintf(path, sizeof path, "%s/%s", folder, name);
    if (length < 0 || (size_t)length >= sizeof path)
        fail("name too long:", name);
    FILE *file = fopen(path, "wb");
    if (file == NULL)
        fail("cannot write", path);
    return file;
}

static void finish(FILE *file, const char *name) {
    int bad = ferror(file);
    if (fclose(file) != 0 || bad)
        fail("cannot write", name);
}

/* Holds of `frames` at each of the widths given, with ramps of `ramp` frames. */
static void command(line *l, const double *width_us, size_t n, size_t frames, size_t ramp) {
    size_t parts = 0;
    for (size_t i = 0; i < n; i++) {
        if (i > 0 && ramp > 0)
            l->part[parts++] =
                (sim_part){.frames = ramp, .from_us = width_us[i - 1], .to_us = width_us[i]};
        l->part[parts++] =
            (sim_part){.frames = frames, .from_us = width_us[i], .to_us = width_us[i]};
    }
    l->spec.part = l->part;
    l->spec.parts = parts;
}

static sim_train *make(const line *l) {
    sim_train *train = sim_train_make(&l->spec);
    if (train == NULL)
        fail("cannot simulate", l->name);
    return train;
}

/* Notes the mean width that was really sent in each hold. */
static void note_truth(const char *file, const line *l, const sim_train *train) {
    size_t frame = 0;
    for (size_t p = 0; p < l->spec.parts; p++) {
        const sim_part *part = &l->part[p];
        size_t end = frame + part->frames, n = 0;
        double sum = 0;
        for (size_t i = 0; i < train->pulses; i++) {
            const sim_pulse *pulse = &train->pulse[i];
            if (pulse->frame >= frame && pulse->frame < end && pulse->whole) {
                sum += pulse->width_us;
                n++;
            }
        }
        if (part->from_us >= part->to_us && part->from_us <= part->to_us && n > 0)
            fprintf(truth, "%s\t%s\t%zu\t%zu\t%.4f\t%.6f\t%.1f\n", file, l->name, frame, n,
                    part->from_us, sum / (double)n, l->spec.period_us);
        frame = end;
    }
}

/* Level changes of several lines in one order of time. */
static spw_change *merged(sim_train *const *train, size_t lines, double rate_hz, size_t *n) {
    spw_change *all = NULL;
    size_t total = 0;
    for (size_t i = 0; i < lines; i++) {
        spw_change *one = NULL;
        size_t more =
            sim_train_changes(train[i], rate_hz, 0.37 + 0.21 * (double)i, (uint32_t)i, &one);
        spw_change *grown = realloc(all, (total + more) * sizeof *all);
        if (more == 0 || grown == NULL)
            fail("out of memory:", "changes");
        all = grown;
        size_t at = total + more, a = total, b = more;
        while (b > 0) { /* merge from the back */
            bool take_old = a > 0 && all[a - 1].time_s > one[b - 1].time_s;
            all[--at] = take_old ? all[--a] : one[--b];
        }
        total += more;
        free(one);
    }
    *n = total;
    return all;
}

/* The claw on the radio link: half the range, one frame lost twice, a spike. */
static line claw(double start_s) {
    line l = {.name = "claw"};
    static const double width_us[] = {1500, 1000, 2000, 1500, 1000, 2000};
    static const sim_fault fault[] = {
        {.kind = SIM_MISSING, .frame = 143, .count = 2},
        {.kind = SIM_RUNT, .frame = 301, .value_us = 3.0, .at_us = 9000},
    };
    l.spec = (sim_train_spec){.period_us = 20000,
                              .start_s = start_s,
                              .jitter_us = 0.6,
                              .frame_jitter_us = 0.3,
                              .fault = fault,
                              .faults = 2,
                              .seed = 20260401};
    command(&l, width_us, 6, 60, 10);
    return l;
}

static void write_vcd(void) {
    static const char name[] = "wren-claw.vcd";
    line l = claw(0.0314);
    l.spec.part = l.part;
    sim_train *train = make(&l);
    note_truth(name, &l, train);
    size_t n;
    spw_change *changes = merged(&train, 1, 1e7, &n);
    FILE *file = create(name);
    fputs("$comment Wren, the seed-tray planter: radio link to the claw, 10 MHz recorder $end\n"
          "$timescale 100 ns $end\n$scope module wren $end\n"
          "$var wire 1 ! claw $end\n$var wire 1 \" spare $end\n"
          "$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0\"\n",
          file);
    long long written = 0;
    for (size_t i = 0; i < n; i++) {
        long long tick = llround(changes[i].time_s * 1e7);
        if (tick != written)
            fprintf(file, "#%lld\n", tick);
        fprintf(file, "%u!\n%s", (unsigned)changes[i].level, i == 0 ? "$end\n" : "");
        written = tick;
    }
    fprintf(file, "#%lld\n", llround(train->end_s * 1e7));
    finish(file, name);
    free(changes);
    sim_train_free(train);
}

/* A decimal comma, as a spreadsheet in half of Europe writes it. */
static void put_us(FILE *file, double us) {
    long long tenths = llround(us * 10.0);
    fprintf(file, "%lld,%lld", tenths / 10, tenths % 10);
}

static void write_table(void) {
    static const char name[] = "wren-lid.csv";
    line l = {.name = "lid"};
    static const double width_us[] = {600, 1500, 2400, 1500, 600, 2400};
    l.spec =
        (sim_train_spec){.period_us = 20000, .start_s = 0.011, .jitter_us = 1.2, .seed = 20260402};
    command(&l, width_us, 6, 50, 6);
    sim_train *train = make(&l);
    note_truth(name, &l, train);
    size_t n;
    spw_change *changes = merged(&train, 1, 2e6, &n);
    FILE *file = create(name);
    fputs("Wren, lid arm\nTime [us];lid;spare\n", file);
    for (size_t i = 0; i < n; i++) {
        put_us(file, changes[i].time_s * 1e6);
        fprintf(file, ";%u;0\n", (unsigned)changes[i].level);
    }
    put_us(file, train->end_s * 1e6);
    fprintf(file, ";%u;0\n", (unsigned)changes[n - 1].level);
    finish(file, name);
    free(changes);
    sim_train_free(train);
}

static void write_gzip(const char *name, const unsigned char *bytes, size_t n) {
    char path[4096];
    int length = snprintf(path, sizeof path, "%s/%s", folder, name);
    if (length < 0 || (size_t)length >= sizeof path)
        fail("name too long:", name);
    struct archive *out = archive_write_new();
    struct archive_entry *entry = archive_entry_new();
    if (out == NULL || entry == NULL)
        fail("out of memory:", name);
    archive_entry_set_filetype(entry, AE_IFREG);
    if (archive_write_set_format_raw(out) != ARCHIVE_OK ||
        archive_write_add_filter_gzip(out) != ARCHIVE_OK ||
        archive_write_set_options(out, "gzip:!timestamp,gzip:compression-level=9") != ARCHIVE_OK ||
        archive_write_open_filename(out, path) != ARCHIVE_OK ||
        archive_write_header(out, entry) != ARCHIVE_OK ||
        archive_write_data(out, bytes, n) != (la_ssize_t)n ||
        archive_write_close(out) != ARCHIVE_OK)
        fail("cannot write", path);
    archive_entry_free(entry);
    archive_write_free(out);
}

/* Two lines of one recorder, 500 kHz: the roller (12-bit steps) on ch0, the
 * lid on ch1, inverted by an open collector stage. */
static void write_raw(void) {
    static const char name[] = "wren-roller.raw.gz";
    const double rate_hz = 500e3;
    line roller = {.name = "ch0"}, lid = {.name = "ch1"};
    static const double roller_us[] = {1516, 1000, 2000, 1516};
    static const double lid_us[] = {600, 1500, 2400, 1500};
    roller.spec = (sim_train_spec){.period_us = 20000,
                                   .start_s = 0.0173,
                                   .jitter_us = 0.4,
                                   .step_us = 20000.0 / 4096.0,
                                   .seed = 20260403};
    lid.spec = (sim_train_spec){.period_us = 20000,
                                .start_s = 0.0094,
                                .jitter_us = 1.2,
                                .negative = true,
                                .seed = 20260404};
    command(&roller, roller_us, 4, 50, 5);
    command(&lid, lid_us, 4, 50, 5);
    sim_train *train[2] = {make(&roller), make(&lid)};
    note_truth(name, &roller, train[0]);
    note_truth(name, &lid, train[1]);
    size_t n;
    spw_change *changes = merged(train, 2, rate_hz, &n);
    size_t samples = (size_t)(fmin(train[0]->end_s, train[1]->end_s) * rate_hz);
    unsigned char *bytes = malloc(samples);
    if (bytes == NULL)
        fail("out of memory:", name);
    size_t next = 0;
    unsigned char level = 0;
    for (size_t i = 0; i < samples; i++) {
        for (; next < n && llround(changes[next].time_s * rate_hz) <= (long long)i; next++) {
            unsigned bit = 1u << changes[next].channel;
            level = (unsigned char)(changes[next].level ? level | bit : level & ~bit);
        }
        bytes[i] = level;
    }
    write_gzip(name, bytes, samples);
    free(bytes);
    free(changes);
    sim_train_free(train[0]);
    sim_train_free(train[1]);
}

/* The claw again, on a sound card: capacitor-coupled, inverting, its clock 40 ppm slow
 * (so that what it records seems 40 ppm short). */
static void write_audio(void) {
    static const char name[] = "wren-claw.wav";
    line l = claw(0.25);
    static const double width_us[] = {1500, 1000, 2000};
    l.spec.faults = 0;
    l.spec.seed = 20260405;
    l.name = "ch0";
    command(&l, width_us, 3, 100, 10);
    sim_train *train = make(&l);
    note_truth(name, &l, train);
    for (size_t i = 0; i < train->edges; i++)
        train->edge_s[i] *= 1.0 - 40e-6;
    sim_channel channel = sim_channel_default(48000, 'h');
    channel.snr_db = 60;
    channel.amplitude = 0.45;
    channel.high_pass_hz[0] = 5;
    channel.inverted = true;
    channel.seed = 20260406;
    float *samples;
    size_t n;
    if (!sim_channel_render(&channel, train->edge_s, train->edges, train->starts_high,
                            train->end_s + 0.2, &samples, &n))
        fail("cannot simulate", name);
    short *pcm = malloc(n * sizeof *pcm);
    if (pcm == NULL)
        fail("out of memory:", name);
    for (size_t i = 0; i < n; i++)
        pcm[i] = (short)lrintf(samples[i] * 32768.0f);
    char path[4096];
    int length = snprintf(path, sizeof path, "%s/%s", folder, name);
    SF_INFO info = {.samplerate = 48000, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *out = length < 0 ? NULL : sf_open(path, SFM_WRITE, &info);
    if (out == NULL || sf_write_short(out, pcm, (sf_count_t)n) != (sf_count_t)n ||
        sf_close(out) != 0)
        fail("cannot write", path);
    free(pcm);
    free(samples);
    sim_train_free(train);
}

/* What the claw's adapter does, as `plan` for wren-claw.wav asks for: twice the width less
 * 1500 us, kept within 510 and 2490 us, by a timer with ticks of 1 us. */
static double adapted_us(double in_us, double phase) {
    double ticks = floor(in_us + phase);
    return fmin(2490, fmax(510, 2 * ticks - 1500));
}

/* The claw's line before and after its adapter, one recorder at 10 MHz. The commands stop
 * between the ends as well, so that the line is seen where no clamp holds. */
static void write_adapter(void) {
    static const char name[] = "wren-adapter.vcd";
    line l = {.name = "link"};
    static const double width_us[] = {1500, 1000, 1250, 1500, 1750, 2000, 1500};
    l.spec = (sim_train_spec){.period_us = 20000,
                              .start_s = 0.0231,
                              .jitter_us = 0.6,
                              .frame_jitter_us = 0.3,
                              .seed = 20260407};
    command(&l, width_us, 7, 40, 0);
    sim_train *train[2] = {make(&l), calloc(1, sizeof(sim_train))};
    sim_rng rng = sim_rng_seed(20260408);
    if (train[1] == NULL)
        fail("out of memory:", name);
    train[1]->end_s = train[0]->end_s;
    train[1]->edge_s = malloc(2 * train[0]->pulses * sizeof(double));
    if (train[1]->edge_s == NULL)
        fail("out of memory:", name);
    for (size_t i = 0; i < train[0]->pulses; i++) {
        const sim_pulse *pulse = &train[0]->pulse[i];
        double phase = sim_rng_uniform(&rng);
        double lead_s = pulse->lead_s + (pulse->width_us + 14 + phase) * 1e-6;
        double trail_s = lead_s + adapted_us(pulse->width_us, phase) * 1e-6;
        if (trail_s >= train[1]->end_s)
            break;
        train[1]->edge_s[train[1]->edges++] = lead_s;
        train[1]->edge_s[train[1]->edges++] = trail_s;
    }
    note_truth(name, &l, train[0]);
    size_t n;
    spw_change *changes = merged(train, 2, 1e7, &n);
    FILE *file = create(name);
    fputs("$comment Wren: the claw's line before and after its range adapter $end\n"
          "$timescale 100 ns $end\n$scope module wren $end\n"
          "$var wire 1 ! link $end\n$var wire 1 \" servo $end\n"
          "$upscope $end\n$enddefinitions $end\n",
          file);
    long long written = -1;
    for (size_t i = 0; i < n; i++) {
        long long tick = llround(changes[i].time_s * 1e7);
        if (tick != written)
            fprintf(file, "#%lld\n", tick);
        fprintf(file, "%u%c\n", (unsigned)changes[i].level, changes[i].channel == 0 ? '!' : '"');
        written = tick;
    }
    fprintf(file, "#%lld\n", llround(train[0]->end_s * 1e7));
    finish(file, name);
    free(changes);
    sim_train_free(train[0]);
    sim_train_free(train[1]);
}

int main(int argc, char **argv) {
    if (argc != 2) {
        fputs("usage: make_captures FOLDER\n", stderr);
        return 2;
    }
    folder = argv[1];
    truth = create("truth.tsv");
    fputs("# what the lines really carried, hold by hold (mean of the widths as sent)\n"
          "# file\tchannel\tfirst_frame\tpulses\tcommanded_us\tmean_us\tframe_us\n",
          truth);
    write_vcd();
    write_table();
    write_raw();
    write_audio();
    write_adapter();
    finish(truth, "truth.tsv");
    return 0;
}
