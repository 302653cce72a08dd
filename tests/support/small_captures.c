#include "support/small_captures.h"
#include "support/scratch.h"
#include "support/test.h"

#include <archive.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define FRAME_US 20000
#define FRAMES 60      /* 10 of each hold */
#define START_US 41000 /* idle first: the start of the train is in it */
#define END_US (START_US + (FRAMES + 1) * FRAME_US)

static int width(long frame) {
    static const int hold[6] = {1500, 1000, 1500, 2000, 1000, 2000};
    return hold[frame < 0 ? 0 : frame / (FRAMES / 6)];
}

/* Line 0 sends 1000 to 2000 us, line 1 500 to 2500 us, 3 ms and a frame later. */
static int level(int line, long us) {
    long since = us - START_US - (line == 1 ? 3000 : 0);
    long frame = since / FRAME_US;
    if (since < 0 || frame >= FRAMES)
        return 0;
    int wide = line == 0 ? width(frame) : 2 * width(frame - 1) - 1500;
    return since % FRAME_US < wide;
}

static void keep(small_capture *made, const char *kind, const char *name, const void *bytes,
                 size_t length) {
    *made = (small_capture){.kind = kind, .length = length};
    (void)snprintf(made->path, sizeof made->path, "%s", scratch_file(name, bytes, length));
}

static void as_changes(small_capture *made, bool vcd) {
    spw_text text = {0};
    int was[2] = {-1, -1};
    spw_text_puts(&text, vcd ? "$timescale 1us $end\n$scope module wren $end\n"
                               "$var wire 1 ! claw $end\n$var wire 1 # servo $end\n"
                               "$upscope $end\n$enddefinitions $end\n"
                             : "Time (us),claw,servo\n");
    for (long us = 0; us <= END_US; us += 5) {
        int now[2] = {level(0, us), level(1, us)};
        if (now[0] == was[0] && now[1] == was[1] && us != END_US)
            continue;
        if (vcd)
            spw_text_printf(&text, "#%ld\n%d!\n%d#\n", us, now[0], now[1]);
        else
            spw_text_printf(&text, "%ld,%d,%d\n", us, now[0], now[1]);
        memcpy(was, now, sizeof was);
    }
    assert_int_equal(spw_text_status(&text), SPW_OK);
    keep(made, vcd ? "VCD" : "table of logic", vcd ? "small.vcd" : "logic.csv", text.data,
         text.length);
    spw_text_free(&text);
}

/* 10 kHz, a little noise (a linear congruential generator, Numerical Recipes). */
static void as_volts(small_capture *made) {
    spw_text text = {0};
    uint32_t x = 1;
    spw_text_puts(&text, "Time (s),claw (V),servo (V)\n");
    for (long us = 0; us <= END_US; us += 100) {
        x = x * 1664525u + 1013904223u;
        double noise = (double)(x >> 16) / 65536 * 0.02;
        spw_text_printf(&text, "%.4f,%.3f,%.3f\n", (double)us * 1e-6, 3.3 * level(0, us) + noise,
                        3.3 * level(1, us) - noise);
    }
    assert_int_equal(spw_text_status(&text), SPW_OK);
    keep(made, "table of volts", "volts.csv", text.data, text.length);
    spw_text_free(&text);
}

/* What a tester with a counter of 4 us would print of the same lines. */
static void as_widths(small_capture *made) {
    spw_text text = {0};
    spw_text_puts(&text, "time_ms,claw_us,servo_us\n");
    for (long frame = 0; frame < FRAMES; frame++)
        spw_text_printf(&text, "%ld,%d,%d\n", frame * FRAME_US / 1000,
                        width(frame) + 4 * (int)(frame % 3), 2 * width(frame - 1) - 1500);
    assert_int_equal(spw_text_status(&text), SPW_OK);
    keep(made, "table of widths", "widths.csv", text.data, text.length);
    spw_text_free(&text);
}

static void as_raw(small_capture *made) {
    size_t n = END_US / 20;
    char *bytes = malloc(n);
    assert_non_null(bytes);
    for (size_t i = 0; i < n; i++)
        bytes[i] = (char)(level(0, (long)i * 20) | level(1, (long)i * 20) << 1);
    keep(made, "raw", "small.bin", bytes, n);
    made->read = (spw_read_options){.has_rate = true, .rate_hz = 50000};
    free(bytes);
}

static void as_sound(small_capture *made, const char *kind, const char *name, int format) {
    *made = (small_capture){.kind = kind};
    (void)snprintf(made->path, sizeof made->path, "%s", scratch_path(name));
    SF_INFO info = {.samplerate = 16000, .channels = 2, .format = format | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open(made->path, SFM_WRITE, &info);
    assert_non_null(file);
    for (long i = 0; i < (long)END_US * 16 / 1000; i++) {
        short values[2];
        for (int line = 0; line < 2; line++)
            values[line] = (short)(level(line, i * 1000 / 16) * 20000 + (i * 7919 + line) % 23);
        assert_int_equal(sf_writef_short(file, values, 1), 1);
    }
    assert_int_equal(sf_close(file), 0);
    struct stat status;
    assert_int_equal(stat(made->path, &status), 0);
    made->length = (size_t)status.st_size;
}

static void as_gzip(small_capture *made, const small_capture *of) {
    FILE *file = fopen(of->path, "rb");
    static char bytes[1 << 16];
    size_t packed;
    assert_non_null(file);
    size_t n = fread(bytes, 1, sizeof bytes, file);
    assert_true(feof(file) && fclose(file) == 0);
    char *content = scratch_pack(archive_write_add_filter_gzip, bytes, n, &packed);
    keep(made, "gzip of a VCD", "small.vcd.gz", content, packed);
    free(content);
}

void small_captures_write(small_capture capture[SMALL_N]) {
    as_changes(&capture[SMALL_VCD], true);
    as_changes(&capture[SMALL_LOGIC], false);
    as_volts(&capture[SMALL_VOLTS]);
    as_raw(&capture[SMALL_RAW]);
    as_widths(&capture[SMALL_WIDTHS]);
    as_sound(&capture[SMALL_WAV], "WAV", "small.wav", SF_FORMAT_WAV);
    as_sound(&capture[SMALL_FLAC], "FLAC", "small.flac", SF_FORMAT_FLAC);
    as_gzip(&capture[SMALL_GZIP], &capture[SMALL_VCD]);
}
