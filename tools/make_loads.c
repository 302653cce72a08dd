/* Makes the large captures that the speed of the readers is measured on:
 *   make_loads KIND SECONDS FILE [FROM_S FRAME_US]
 *     raw      4 servo lines, a byte a sample, 24 MHz
 *     vcd      a 5 MHz clock beside a servo line, time unit 10 ns
 *     logic    table of 3 lines, a row each microsecond
 *     volts    table of a line in volts, a row each microsecond
 *     stereo   WAV, 192 kHz, a servo line on each channel
 *     mono     WAV, 48 kHz, a servo line
 * Everything is seeded. Frames last 20 ms, from FROM_S on FRAME_US. No line has a
 * fault: a script of a few lines finds the same figures as spanwright. */
#include "sim/rng.h"
#include "sim/stream.h"
#include "sim/train.h"

#include <errno.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINES = 4, CHUNK = 1 << 20 };

static double from_s, late_frame_us; /* frames of another period from here on */

static _Noreturn void fail(const char *what, const char *name) {
    fprintf(stderr, "make_loads: %s %s: %s\n", what, name, strerror(errno));
    exit(2);
}

static FILE *create(const char *path) {
    FILE *file = fopen(path, "wb");
    if (file == NULL)
        fail("cannot write", path);
    setvbuf(file, NULL, _IOFBF, CHUNK);
    return file;
}

static void finish(FILE *file, const char *path) {
    int bad = ferror(file);
    if (fclose(file) != 0 || bad)
        fail("cannot write", path);
}

/* Holds of 240 frames at three widths with ramps of 10 between them. */
static size_t commands(sim_part *part, unsigned first, size_t frames, double period_us) {
    static const double width_us[] = {1500, 1000, 2000};
    size_t parts = 0;
    for (size_t hold = first; frames > 0; hold++) {
        double from = width_us[hold % 3], to = width_us[(hold + 1) % 3];
        size_t held = frames < 240 ? frames : 240, ramp = frames - held < 10 ? frames - held : 10;
        part[parts++] = (sim_part){held, from, from, period_us};
        if (ramp > 0)
            part[parts++] = (sim_part){ramp, from, to, period_us};
        frames -= held + ramp;
    }
    return parts;
}

/* Line number `number`: whole pulses only. */
static sim_train *line(unsigned number, double seconds) {
    double start_s = 0.004 + 0.0013 * number, end_s = seconds - 0.004;
    double early = floor((fmin(from_s, end_s) - start_s) * 50);
    double late = fmax(0, floor((end_s - start_s - early / 50) * 1e6 / late_frame_us));
    if (!(early >= 1) || early + late > 1e8) {
        errno = EINVAL;
        fail("cannot fill", "that time with frames");
    }
    sim_part *part = calloc((size_t)(early + late) / 100 + 8, sizeof *part);
    size_t parts = part != NULL ? commands(part, number, (size_t)early, 20000) : 0;
    if (parts > 0)
        parts += commands(part + parts, number + 1, (size_t)late, late_frame_us);
    sim_train_spec spec = {.part = part,
                           .parts = parts,
                           .period_us = 20000,
                           .start_s = start_s,
                           .end_s = seconds,
                           .jitter_us = 0.5,
                           .frame_jitter_us = 0.3,
                           .seed = 100 + number};
    sim_train *train = part != NULL ? sim_train_make(&spec) : NULL;
    if (train == NULL)
        fail("out of memory:", "line");
    free(part);
    return train;
}

/* Sample number at or after each edge of the lines, in one order. */
typedef struct flip {
    uint64_t at;
    unsigned line;
} flip;

static int in_time(const void *a, const void *b) {
    const flip *x = a, *y = b;
    if (x->at != y->at)
        return x->at < y->at ? -1 : 1;
    return (x->line > y->line) - (x->line < y->line);
}

static flip *flips(unsigned lines, double seconds, double rate_hz, size_t *n) {
    flip *all = NULL;
    *n = 0;
    for (unsigned l = 0; l < lines; l++) {
        sim_train *train = line(l, seconds);
        flip *grown = realloc(all, (*n + train->edges + 1) * sizeof *all);
        if (grown == NULL)
            fail("out of memory:", "edges");
        all = grown;
        for (size_t i = 0; i < train->edges; i++)
            all[(*n)++] = (flip){(uint64_t)ceil(train->edge_s[i] * rate_hz), l};
        sim_train_free(train);
    }
    qsort(all, *n, sizeof *all, in_time);
    return all;
}

static void write_raw(double seconds, const char *path) {
    double rate_hz = 24e6;
    size_t n = 0;
    flip *all = flips(LINES, seconds, rate_hz, &n);
    uint64_t samples = (uint64_t)(seconds * rate_hz), at = 0;
    unsigned char level = 0, *block = malloc(CHUNK);
    FILE *file = create(path);
    if (block == NULL)
        fail("out of memory:", path);
    for (size_t next = 0; at < samples;) {
        size_t count = samples - at < CHUNK ? (size_t)(samples - at) : CHUNK, filled = 0;
        while (filled < count) {
            while (next < n && all[next].at <= at + filled)
                level ^= (unsigned char)(1U << all[next++].line);
            size_t until =
                next < n && all[next].at < at + count ? (size_t)(all[next].at - at) : count;
            memset(block + filled, level, until - filled);
            filled = until;
        }
        fwrite_unlocked(block, 1, count, file);
        at += count;
    }
    finish(file, path);
    free(block);
    free(all);
}

/* Writes '#' and the time, then the change; how long it is. */
static size_t vcd_change(char *out, uint64_t time, char level, char code) {
    char digits[24];
    size_t first = sizeof digits, n = 0;
    do
        digits[--first] = (char)('0' + time % 10);
    while ((time /= 10) > 0);
    out[n++] = '#';
    memcpy(out + n, digits + first, sizeof digits - first);
    n += sizeof digits - first;
    memcpy(out + n, "\n..\n", 4);
    out[n + 1] = level;
    out[n + 2] = code;
    return n + 4;
}

static void write_vcd(double seconds, const char *path) {
    enum { HALF_PERIOD = 10, CLOCK_AT = 3 }; /* in units of 10 ns */
    size_t n = 0;
    flip *all = flips(1, seconds, 1e8, &n);
    uint64_t end = (uint64_t)(seconds * 1e8);
    FILE *file = create(path);
    fputs("$timescale 10 ns $end\n$scope module wren $end\n$var wire 1 ! clock $end\n"
          "$var wire 1 \" roller $end\n$upscope $end\n$enddefinitions $end\n"
          "#0\n$dumpvars\n0!\n0\"\n$end\n",
          file);
    char text[48], clock = '0', level = '0';
    size_t next = 0;
    for (uint64_t at = CLOCK_AT; at < end; at += HALF_PERIOD) {
        for (; next < n && all[next].at < at; next++) {
            level ^= 1;
            fwrite_unlocked(text, 1, vcd_change(text, all[next].at, level, '"'), file);
        }
        clock ^= 1;
        size_t length = vcd_change(text, at, clock, '!');
        if (next < n && all[next].at == at) { /* both at one time */
            level ^= 1;
            text[length++] = level;
            text[length++] = '"';
            text[length++] = '\n';
            next++;
        }
        fwrite_unlocked(text, 1, length, file);
    }
    fprintf(file, "#%llu\n", (unsigned long long)end);
    finish(file, path);
    free(all);
}

/* Seconds with nine decimals that grow by a microsecond, as ASCII digits. */
typedef struct row_time {
    char text[20]; /* right-aligned */
    size_t first;
} row_time;

static row_time row_time_zero(void) {
    row_time t = {.first = 9};
    memcpy(t.text + 9, "0.000000000", 11);
    return t;
}

static void row_time_step(row_time *t) {
    size_t i = 16; /* the digit of 1 us */
    while (i >= t->first && (t->text[i] == '9' || t->text[i] == '.')) {
        if (t->text[i] == '9')
            t->text[i] = '0';
        i--;
    }
    if (i >= t->first)
        t->text[i]++;
    else
        t->text[t->first = i] = '1';
}

static size_t put_time(char *row, const row_time *t) {
    size_t n = sizeof t->text - t->first;
    memcpy(row, t->text + t->first, n);
    return n;
}

static void write_logic(double seconds, const char *path) {
    enum { COLUMNS = 3 };
    size_t n = 0, next = 0;
    flip *all = flips(COLUMNS, seconds, 1e6, &n);
    uint64_t rows = (uint64_t)(seconds * 1e6);
    FILE *file = create(path);
    fputs("Time [s],claw,lid,roller\n", file);
    char row[48], levels[] = ",0,0,0\n";
    row_time time = row_time_zero();
    for (uint64_t at = 0; at < rows; at++, row_time_step(&time)) {
        for (; next < n && all[next].at == at; next++)
            levels[2 * all[next].line + 1] ^= 1;
        size_t length = put_time(row, &time);
        memcpy(row + length, levels, sizeof levels - 1);
        fwrite_unlocked(row, 1, length + sizeof levels - 1, file);
    }
    finish(file, path);
    free(all);
}

/* 0 to 3.3 V behind 2 us of wiring and the recorder's filter, 60 dB above the noise; codes of
 * 1 mV. */
static void write_volts(double seconds, const char *path) {
    enum { LOWEST = -400, CODES = 4096 };
    static char code[CODES][12];
    static float value[4096];
    for (int i = 0; i < CODES; i++)
        snprintf(code[i], sizeof code[i], ",%.3f\n", (LOWEST + i) * 0.001);
    sim_channel channel = sim_channel_default(1e6, 'h');
    channel.rise_tau_s = channel.fall_tau_s = 2e-6;
    channel.amplitude = 3300;
    channel.snr_db = 60;
    channel.seed = 21;
    sim_train *train = line(0, seconds);
    sim_stream *stream = sim_stream_new(&channel, train->edge_s, train->edges, false);
    if (stream == NULL)
        fail("out of memory:", path);
    uint64_t rows = (uint64_t)(seconds * 1e6);
    FILE *file = create(path);
    fputs("Time [s],claw [V]\n", file);
    char row[48];
    row_time time = row_time_zero();
    for (uint64_t at = 0; at < rows; at++, row_time_step(&time)) {
        size_t k = at % 4096;
        if (k == 0)
            sim_stream_next(stream, value, 4096);
        long c = lrintf(value[k]) - LOWEST;
        const char *volts = code[c < 0 ? 0 : c >= CODES ? CODES - 1 : c];
        size_t length = put_time(row, &time), more = strlen(volts);
        memcpy(row + length, volts, more);
        fwrite_unlocked(row, 1, length + more, file);
    }
    finish(file, path);
    sim_stream_free(stream);
    sim_train_free(train);
}

/* A sound card with a linear-phase converter, coupled at 5 Hz, 60 dB above the
 * noise, half of full scale. */
static void write_sound(double seconds, const char *path, int channels, int rate_hz) {
    enum { FRAMES = 4096 };
    static float value[FRAMES];
    static short out[2 * FRAMES];
    sim_train *train[2] = {NULL};
    sim_stream *stream[2] = {NULL};
    for (int c = 0; c < channels; c++) {
        sim_channel channel = sim_channel_default(rate_hz, 'h');
        channel.high_pass_hz[0] = 5;
        channel.snr_db = 60;
        channel.seed = 31 + (uint64_t)c;
        train[c] = line((unsigned)c, seconds);
        stream[c] = sim_stream_new(&channel, train[c]->edge_s, train[c]->edges, false);
        if (stream[c] == NULL)
            fail("out of memory:", path);
    }
    SF_INFO info = {
        .samplerate = rate_hz, .channels = channels, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    if (file == NULL)
        fail("cannot write", path);
    for (uint64_t left = (uint64_t)(seconds * rate_hz); left > 0;) {
        size_t n = left < FRAMES ? (size_t)left : FRAMES;
        for (int c = 0; c < channels; c++) {
            sim_stream_next(stream[c], value, n);
            for (size_t i = 0; i < n; i++) {
                float clipped = fminf(fmaxf(value[i] * 32768, -32768), 32767);
                out[i * (size_t)channels + (size_t)c] = (short)lrintf(clipped);
            }
        }
        if (sf_writef_short(file, out, (sf_count_t)n) != (sf_count_t)n)
            fail("cannot write", path);
        left -= n;
    }
    if (sf_close(file) != 0)
        fail("cannot write", path);
    for (int c = 0; c < channels; c++) {
        sim_stream_free(stream[c]);
        sim_train_free(train[c]);
    }
}

int main(int argc, char **argv) {
    double seconds = argc > 3 ? strtod(argv[2], NULL) : 0;
    from_s = argc > 5 ? strtod(argv[4], NULL) : seconds;
    late_frame_us = argc > 5 ? strtod(argv[5], NULL) : 20000;
    const char *kind = argc > 3 ? argv[1] : "", *path = argv[argc > 3 ? 3 : 0];
    if (!(seconds > 0.02 && seconds < 1e5 && late_frame_us >= 2500))
        kind = "";
    if (strcmp(kind, "raw") == 0)
        write_raw(seconds, path);
    else if (strcmp(kind, "vcd") == 0)
        write_vcd(seconds, path);
    else if (strcmp(kind, "logic") == 0)
        write_logic(seconds, path);
    else if (strcmp(kind, "volts") == 0)
        write_volts(seconds, path);
    else if (strcmp(kind, "stereo") == 0)
        write_sound(seconds, path, 2, 192000);
    else if (strcmp(kind, "mono") == 0)
        write_sound(seconds, path, 1, 48000);
    else {
        fputs("usage: make_loads raw|vcd|logic|volts|stereo|mono SECONDS FILE [FROM_S FRAME_US]\n",
              stderr);
        return 2;
    }
    return 0;
}
