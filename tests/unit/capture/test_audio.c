/* Sound files written by libsndfile, read back through every way in. */
#include "support/kept.h"
#include "support/scratch.h"
#include "support/test.h"

#include <archive.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RATE 48000

typedef struct sound {
    const char *name;
    int format;
    int channels;
    size_t frames;
    short *values; /* interleaved, what was written */
    char *bytes;   /* the file */
    size_t length;
} sound;

static void load(sound *made) {
    FILE *file = fopen(scratch_path("made"), "rb");
    assert_non_null(file);
    assert_int_equal(fseek(file, 0, SEEK_END), 0);
    made->length = (size_t)ftell(file);
    rewind(file);
    made->bytes = malloc(made->length + 64);
    assert_non_null(made->bytes);
    assert_int_equal(fread(made->bytes, 1, made->length, file), made->length);
    fclose(file);
}

/* Random samples (xorshift, Marsaglia 2003), or a pulse train where a lossy
 * codec has to follow; with a chunk of text behind the samples. */
static sound make(const char *name, int format, int channels, size_t frames, bool pulses) {
    sound made = {.name = name, .format = format, .channels = channels, .frames = frames};
    size_t n = frames * (size_t)channels;
    made.values = malloc(n * sizeof *made.values);
    assert_non_null(made.values);
    uint32_t x = 2463534242u;
    for (size_t i = 0; i < n; i++) {
        x ^= x << 13;
        x ^= x >> 17;
        x ^= x << 5;
        made.values[i] = pulses ? (i / (size_t)channels % 960 < 72 ? 20000 : -2000) : (short)x;
    }
    SF_INFO info = {.samplerate = RATE, .channels = channels, .format = format};
    SNDFILE *file = sf_open(scratch_path("made"), SFM_WRITE, &info);
    if (file == NULL)
        fail_msg("%s: %s", name, sf_strerror(NULL));
    sf_command(file, SFC_SET_SCALE_INT_FLOAT_WRITE, NULL, SF_TRUE);
    assert_int_equal(sf_writef_short(file, made.values, (sf_count_t)frames), frames);
    sf_set_string(file, SF_STR_COMMENT, "the arm of the planter");
    sf_close(file);
    load(&made);
    return made;
}

static void unmake(sound *made) {
    free(made->values);
    free(made->bytes);
}

static void read_ok(const char *path, kept *got, spw_capture_summary *summary) {
    spw_sink sink = kept_sink(got);
    spw_error error;
    spw_status status = spw_capture_read(path, NULL, &sink, summary, &error);
    if (status != SPW_OK)
        fail_msg("%s: %s", path, error.message);
    kept_check_summary(got, summary);
    assert_int_equal(summary->format, SPW_FORMAT_AUDIO);
}

static void check_info(const sound *made, const kept *got, double full_scale, bool lossy) {
    assert_int_equal(got->n_channels, made->channels);
    for (size_t c = 0; c < got->n_channels; c++) {
        char name[32];
        snprintf(name, sizeof name, "ch%zu", c);
        const spw_channel_info *info = &got->channels[c].info;
        assert_string_equal(got->channels[c].name, name);
        assert_int_equal(info->kind, SPW_KIND_ANALOGUE);
        assert_int_equal(info->unit, SPW_UNIT_FULL_SCALE);
        assert_true(info->sample_rate_hz == RATE && info->resolution_s == 1.0 / RATE);
        assert_true(info->start_s == 0 && info->full_scale == full_scale);
        assert_int_equal(info->lossy, lossy);
    }
}

/* The first `frames` frames are exactly those written (`step`: of so many
 * codes of 2^-15). */
static void check_samples(const sound *made, const kept *got, size_t frames, int step) {
    for (size_t c = 0; c < got->n_channels; c++) {
        assert_int_equal(got->channels[c].n_samples, frames);
        for (size_t i = 0; i < frames; i++) {
            int value = made->values[i * got->n_channels + c];
            float expected = (float)((value & ~(step - 1)) / 32768.0);
            if (got->channels[c].samples[i] != expected)
                fail_msg("%s: channel %zu, sample %zu: %.9g instead of %.9g", made->name, c, i,
                         got->channels[c].samples[i], expected);
        }
    }
}

static const char *warning(const spw_capture_summary *summary) {
    return summary->warnings.n == 0 ? "" : summary->warnings.text[0];
}

/* Reads it and compares everything; `how` a word for messages. */
static void check_whole(const sound *made, const char *path, int step, double full_scale) {
    kept got = {.keep = SIZE_MAX};
    spw_capture_summary summary;
    read_ok(path, &got, &summary);
    assert_string_equal(warning(&summary), "");
    assert_false(summary.truncated);
    assert_true(summary.duration_s == (double)made->frames / RATE);
    check_info(made, &got, full_scale, false);
    check_samples(made, &got, made->frames, step);
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

static void check_cut(const sound *made, int step) {
    kept got = {.keep = SIZE_MAX};
    spw_capture_summary summary;
    read_ok(scratch_file("cut", made->bytes, made->length * 6 / 10), &got, &summary);
    assert_true(summary.truncated);
    size_t frames = (size_t)got.channels[0].n_samples;
    /* Header and packing: FLAC's blocks hold 4096 frames, CAF's header 4 KiB. */
    assert_in_range(frames, made->frames * 6 / 10 - 4096 - 1024, made->frames * 6 / 10 + 1024);
    check_samples(made, &got, frames, step);
    char where[96];
    snprintf(where, sizeof where, "the sound file ends after %.6g s of %.6g s",
             (double)frames / RATE, (double)made->frames / RATE);
    assert_string_equal(warning(&summary), where);
    assert_true(summary.duration_s == (double)frames / RATE);
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

static void check_every_way(const sound *made, int step, double full_scale) {
    check_whole(made, scratch_file("whole.csv", made->bytes, made->length), step, full_scale);
    scratch_stdin(made->bytes, made->length, 4321, 0);
    check_whole(made, "-", step, full_scale);
    scratch_stdin_end();
    size_t packed;
    char *bytes = scratch_pack(archive_write_add_filter_gzip, made->bytes, made->length, &packed);
    check_whole(made, scratch_file("whole.gz", bytes, packed), step, full_scale);
    free(bytes);
    check_cut(made, step);
}

static void every_way_in(void **state) {
    (void)state;
    const double clip16 = 1 - 0x1p-15, clip8 = 1 - 0x1p-7;
    const struct {
        const char *name;
        int format, step;
        double full_scale;
    } cases[] = {
        {"WAV", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1, clip16},
        {"WAV of floats", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 1, clip16},
        {"WAV, 8 bits unsigned", SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 256, clip8},
        {"RIFX", SF_FORMAT_WAV | SF_ENDIAN_BIG | SF_FORMAT_PCM_16, 1, clip16},
        {"WAVEX", SF_FORMAT_WAVEX | SF_FORMAT_PCM_24, 1, clip16},
        {"RF64", SF_FORMAT_RF64 | SF_FORMAT_PCM_16, 1, clip16},
        {"AIFF", SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 1, clip16},
        {"CAF", SF_FORMAT_CAF | SF_FORMAT_PCM_24, 1, clip16},
        {"W64", SF_FORMAT_W64 | SF_FORMAT_PCM_16, 1, clip16},
        {"FLAC", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 1, clip16},
        {"AU", SF_FORMAT_AU | SF_FORMAT_PCM_16, 1, clip16},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        print_message("%s\n", cases[i].name);
        sound made = make(cases[i].name, cases[i].format, 2, 50000, false);
        check_every_way(&made, cases[i].step, cases[i].full_scale);
        unmake(&made);
    }
}

/* Longer than the largest look-ahead, so that nothing behind the samples can
 * be seen while the header is read. */
static void longer_than_a_look(void **state) {
    (void)state;
    static const int formats[] = {SF_FORMAT_WAV, SF_FORMAT_AIFF, SF_FORMAT_CAF, SF_FORMAT_FLAC,
                                  SF_FORMAT_W64};
    for (size_t i = 0; i < sizeof formats / sizeof formats[0]; i++) {
        sound made = make("long", formats[i] | SF_FORMAT_PCM_16, 1, 700001, false);
        assert_true(made.length > (1 << 20));
        check_every_way(&made, 1, 1 - 0x1p-15);
        unmake(&made);
    }
}

/* Offset of a tag of four letters in the header. */
static size_t find(const sound *made, const char *tag) {
    for (size_t at = 0; at + 4 <= made->length && at < 8192; at++)
        if (memcmp(made->bytes + at, tag, 4) == 0)
            return at;
    fail_msg("no %s in %s", tag, made->name);
    return 0;
}

static void check_lengthless(sound *made, const char *what) {
    kept got = {.keep = made->frames};
    spw_capture_summary summary;
    read_ok(scratch_file("lengthless", made->bytes, made->length), &got, &summary);
    if (strstr(warning(&summary), "header does not say how long it is") == NULL)
        fail_msg("%s: \"%s\"", what, warning(&summary));
    /* the text behind the samples, if any, is read as samples: a few */
    assert_in_range(got.channels[0].n_samples, made->frames, made->frames + 64);
    for (size_t c = 0; c < got.n_channels; c++)
        got.channels[c].n_samples = made->frames;
    check_samples(made, &got, made->frames, 1);
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

static void lengths_never_filled_in(void **state) {
    (void)state;
    static const uint32_t claims[] = {0, 0xffffffff, 0xffffff24, 0x80000000, 0x7ffff000};
    sound wav = make("WAV", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 2, 5000, false);
    size_t at = find(&wav, "data") + 4;
    for (size_t i = 0; i < sizeof claims / sizeof claims[0]; i++) {
        for (int k = 0; k < 4; k++)
            wav.bytes[at + (size_t)k] = (char)(claims[i] >> 8 * k);
        check_lengthless(&wav, "WAV");
    }
    unmake(&wav);
    static const struct {
        int format;
        const char *tag;
        size_t skip, length;
    } cases[] = {{SF_FORMAT_RF64, "ds64", 16, 8},
                 {SF_FORMAT_CAF, "data", 4, 8},
                 {SF_FORMAT_AU, ".snd", 8, 4}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        sound made = make(cases[i].tag, cases[i].format | SF_FORMAT_PCM_16, 2, 5000, false);
        memset(made.bytes + find(&made, cases[i].tag) + cases[i].skip, 0xff, cases[i].length);
        check_lengthless(&made, cases[i].tag);
        unmake(&made);
    }
    sound flac = make("FLAC", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 2, 5000, false);
    flac.bytes[21] &= (char)0xf0; /* RFC 9639, 8.2: the count of samples, 36 bits */
    memset(flac.bytes + 22, 0, 4);
    check_lengthless(&flac, "FLAC");
    unmake(&flac);
}

/* 2^62 frames are a claim, not an allocation (the test's address space would
 * not hold them). */
static void absurd_claims(void **state) {
    (void)state;
    sound made = make("RF64", SF_FORMAT_RF64 | SF_FORMAT_PCM_16, 2, 5000, false);
    size_t at = find(&made, "ds64") + 16;
    memset(made.bytes + at, 0, 8);
    made.bytes[at + 7] = 0x40;
    check_lengthless(&made, "RF64");
    unmake(&made);
}

/* A broken FLAC frame in the middle: what comes before it and nothing else. */
static void damaged_flac(void **state) {
    (void)state;
    sound made = make("FLAC", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 2, 60000, false);
    made.bytes[made.length / 2] ^= 0x55;
    kept got = {.keep = SIZE_MAX};
    spw_capture_summary summary;
    read_ok(scratch_file("damaged", made.bytes, made.length), &got, &summary);
    size_t frames = (size_t)got.channels[0].n_samples;
    assert_in_range(frames, 30000 - 2 * 4096, 30000);
    check_samples(&made, &got, frames, 1);
    assert_true(summary.truncated);
    assert_non_null(strstr(warning(&summary), "the sound file is damaged after"));
    spw_capture_summary_free(&summary);
    kept_free(&got);
    unmake(&made);
}

static void lossy(void **state) {
    (void)state;
    const struct {
        const char *name;
        int format, channels;
        double full_scale, worst; /* rms error of a pulse train, coarse */
    } cases[] = {
        {"Vorbis", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 2, 1 - 0x1p-15, 0.1},
        {"Opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, 1, 1 - 0x1p-15, 0.2},
        {"IMA ADPCM", SF_FORMAT_WAV | SF_FORMAT_IMA_ADPCM, 2, 1 - 0x1p-15, 0.1},
        {"MS ADPCM", SF_FORMAT_WAV | SF_FORMAT_MS_ADPCM, 1, 1 - 0x1p-15, 0.1},
        {"GSM", SF_FORMAT_WAV | SF_FORMAT_GSM610, 1, 1 - 0x1p-15, 0.2},
        {"mu-law", SF_FORMAT_AU | SF_FORMAT_ULAW, 2, 8031.0 / 8192, 0.02},
        {"A-law", SF_FORMAT_WAV | SF_FORMAT_ALAW, 2, 4032.0 / 4096, 0.02},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        sound made = make(cases[i].name, cases[i].format, cases[i].channels, 48000, true);
        kept got = {.keep = SIZE_MAX};
        spw_capture_summary summary;
        read_ok(scratch_file("lossy", made.bytes, made.length), &got, &summary);
        print_message("%s: %s\n", cases[i].name, warning(&summary));
        assert_memory_equal(warning(&summary), "lossy codec (", 13);
        assert_int_equal(summary.warnings.n, 1);
        assert_false(summary.truncated);
        check_info(&made, &got, cases[i].full_scale, true);
        assert_in_range(got.channels[0].n_samples, 48000, 49100); /* a block more */
        double sum = 0;
        for (size_t k = 0; k < 48000; k++) {
            double error = (double)got.channels[0].samples[k] -
                           made.values[k * (size_t)made.channels] / 32768.0;
            sum += error * error / 48000;
        }
        assert_true(sqrt(sum) < cases[i].worst);
        spw_capture_summary_free(&summary);
        kept_free(&got);
        unmake(&made);
    }
}

/* A cut-off lossy file: its decoder makes samples up; they are not handed on. */
static void lossy_cut_off(void **state) {
    (void)state;
    sound made = make("ADPCM", SF_FORMAT_WAV | SF_FORMAT_IMA_ADPCM, 1, 48000, true);
    kept got = {0};
    spw_capture_summary summary;
    read_ok(scratch_file("cut", made.bytes, made.length / 2), &got, &summary);
    const unsigned char *header = (const unsigned char *)made.bytes;
    size_t block_bytes = header[32] + 256u * header[33];
    size_t block_frames = header[38] + 256u * header[39];
    size_t whole = (made.length / 2 - find(&made, "data") - 8) / block_bytes * block_frames;
    assert_in_range(got.channels[0].n_samples, whole - 63, whole);
    assert_true(summary.truncated);
    spw_capture_summary_free(&summary);
    kept_free(&got);
    unmake(&made);
}

static void check_refused(const void *bytes, size_t length, spw_status expected,
                          const char *sentence) {
    kept got = {0};
    spw_sink sink = kept_sink(&got);
    spw_capture_summary summary;
    spw_error error;
    assert_int_equal(
        spw_capture_read(scratch_file("refused", bytes, length), NULL, &sink, &summary, &error),
        expected);
    assert_string_equal(error.message, sentence);
    kept_free(&got);
}

static const char unreadable[] =
    "this begins like a sound file, but its header is cut off, damaged or of a kind that is not "
    "read; convert it to WAV or FLAC and read that";

static void refused(void **state) {
    (void)state;
    sound made = make("many", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 65, 100, false);
    check_refused(made.bytes, made.length, SPW_ERR_LIMIT,
                  "the sound file has 65 channels and 64 are read; save the channels that matter "
                  "on their own");
    unmake(&made);
    static const int formats[] = {SF_FORMAT_WAV, SF_FORMAT_AIFF, SF_FORMAT_CAF,
                                  SF_FORMAT_W64, SF_FORMAT_RF64, SF_FORMAT_FLAC};
    for (size_t i = 0; i < sizeof formats / sizeof formats[0]; i++) {
        made = make("header", formats[i] | SF_FORMAT_PCM_16, 1, 100, false);
        check_refused(made.bytes, 24, SPW_ERR_FORMAT, unreadable);
        unmake(&made);
    }
    made = make("no rate", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1, 100, false);
    memset(made.bytes + 24, 0, 4);
    check_refused(made.bytes, made.length, SPW_ERR_FORMAT, unreadable);
    unmake(&made);
    made = make("no samples", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1, 0, false);
    check_refused(made.bytes, find(&made, "data") + 8, SPW_ERR_FORMAT,
                  "the sound file holds no samples that can be read; record it again");
    unmake(&made);
    made = make("odd codec", SF_FORMAT_AIFF | SF_FORMAT_DWVW_16, 1, 1000, false);
    check_refused(made.bytes, made.length, SPW_ERR_UNSUPPORTED,
                  "the sound file's codec is not read; convert it to WAV or FLAC and read that");
    unmake(&made);
    check_refused("ID3\x04\0\0\0\0\0\0", 10, SPW_ERR_UNSUPPORTED,
                  "this is an MP3 file, a codec that leaves out what edges are made of; record WAV "
                  "or FLAC and read that");
}

/* Samples that are no numbers are missing samples. */
static void no_numbers(void **state) {
    (void)state;
    sound made = make("floats", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 1, 100, false);
    size_t at = find(&made, "data") + 8;
    static const float odd[] = {NAN, INFINITY, -INFINITY, 0.5F};
    memcpy(made.bytes + at, odd, sizeof odd); /* little-endian machines only */
    kept got = {.keep = 100};
    spw_capture_summary summary;
    read_ok(scratch_file("odd", made.bytes, made.length), &got, &summary);
    const float *samples = got.channels[0].samples;
    assert_true(isnan(samples[0]) && isnan(samples[1]) && isnan(samples[2]));
    assert_true(samples[3] == 0.5F);
    spw_capture_summary_free(&summary);
    kept_free(&got);
    unmake(&made);
}

static void sink_stops(void **state) {
    (void)state;
    sound made = make("WAV", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 2, 20000, false);
    kept got = {.stop_after = 3, .stop_status = SPW_ERR_NUMERIC};
    spw_sink sink = kept_sink(&got);
    spw_capture_summary summary;
    spw_error error;
    assert_int_equal(spw_capture_read(scratch_file("stop", made.bytes, made.length), NULL, &sink,
                                      &summary, &error),
                     SPW_ERR_NUMERIC);
    assert_int_equal(got.calls, 3);
    kept_free(&got);
    unmake(&made);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_way_in),
        cmocka_unit_test(longer_than_a_look),
        cmocka_unit_test(lengths_never_filled_in),
        cmocka_unit_test(absurd_claims),
        cmocka_unit_test(damaged_flac),
        cmocka_unit_test(lossy),
        cmocka_unit_test(lossy_cut_off),
        cmocka_unit_test(refused),
        cmocka_unit_test(no_numbers),
        cmocka_unit_test(sink_stops),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
