/* Sound files whose headers lie: lengths up to 2^64, rates of 0 to 2^32 a second. The
 * samples that are there are read, to their end and no further, and measured. */
#include "support/streamed.h"
#include "support/test.h"

#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <string.h>

#define RATE 48000
#define FRAME 960     /* 20 ms */
#define SAMPLES 57600 /* 60 frames, 20 of each hold */

typedef enum kind { WAV, RF64, W64, CAF, AU, AIFF, KINDS } kind;
static const char *const kind_name[KINDS] = {"WAV", "RF64", "W64", "CAF", "AU", "AIFF"};

typedef struct lie {
    kind what;
    uint32_t rate;
    uint64_t length; /* of the samples in bytes, as the header claims; AIFF: in frames */
} lie;

static void put_number(FILE *out, uint64_t value, int size, bool big) {
    for (int i = 0; i < size; i++)
        (void)fputc((int)(value >> 8 * (big ? size - 1 - i : i) & 255), out);
}
static void put32(FILE *out, uint64_t value, bool big) {
    put_number(out, value, 4, big);
}

/* format 1 (PCM), one channel, 16 bits */
static void put_fmt(FILE *out, uint32_t rate) {
    put_number(out, 1, 2, false);
    put_number(out, 1, 2, false);
    put32(out, rate, false);
    put32(out, (uint64_t)rate * 2, false);
    put_number(out, 2, 2, false);
    put_number(out, 16, 2, false);
}

static void put_riff(FILE *out, const lie *l) {
    bool wide = l->what == RF64;
    (void)fputs(wide ? "RF64" : "RIFF", out);
    put32(out, wide ? UINT32_MAX : l->length + 36, false);
    (void)fputs("WAVE", out);
    if (wide) { /* EBU Tech 3306 */
        (void)fputs("ds64", out);
        put32(out, 28, false);
        put_number(out, l->length + 72, 8, false);
        put_number(out, l->length, 8, false);
        put_number(out, l->length / 2, 8, false);
        put32(out, 0, false);
    }
    (void)fputs("fmt ", out);
    put32(out, 16, false);
    put_fmt(out, l->rate);
    (void)fputs("data", out);
    put32(out, wide ? UINT32_MAX : l->length, false);
}

static void put_w64(FILE *out, const lie *l) {
    static const char chunk[] = "\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a";
    (void)fwrite("riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\0", 1, 16, out);
    put_number(out, l->length + 104, 8, false);
    (void)fputs("wave", out);
    (void)fwrite(chunk, 1, 12, out);
    (void)fputs("fmt ", out);
    (void)fwrite(chunk, 1, 12, out);
    put_number(out, 40, 8, false);
    put_fmt(out, l->rate);
    (void)fputs("data", out);
    (void)fwrite(chunk, 1, 12, out);
    put_number(out, l->length + 24, 8, false);
}

static void put_caf(FILE *out, const lie *l) {
    double rate = l->rate;
    uint64_t bits;
    memcpy(&bits, &rate, sizeof bits);
    (void)fwrite("caff\0\1\0\0desc", 1, 12, out);
    put_number(out, 32, 8, true);
    put_number(out, bits, 8, true);
    (void)fwrite("lpcm\0\0\0\0\0\0\0\2\0\0\0\1\0\0\0\1\0\0\0\x10", 1, 24, out);
    (void)fputs("data", out);
    put_number(out, l->length + 4, 8, true); /* an edit count comes first */
    put32(out, 0, true);
}

static void put_au(FILE *out, const lie *l) {
    (void)fputs(".snd", out);
    put32(out, 24, true);
    put32(out, l->length, true);
    put32(out, 3, true); /* 16 bits */
    put32(out, l->rate, true);
    put32(out, 1, true);
}

static void put_aiff(FILE *out, const lie *l) {
    (void)fputs("FORM", out);
    put32(out, l->length * 2 + 46, true);
    (void)fputs("AIFFCOMM", out);
    put32(out, 18, true);
    put_number(out, 1, 2, true);
    put32(out, l->length, true);
    put_number(out, 16, 2, true);
    put_number(out, 16383 + 15, 2, true); /* an 80-bit float, 2^15 and the rest */
    put_number(out, (uint64_t)l->rate << 48, 8, true);
    (void)fputs("SSND", out);
    put32(out, l->length * 2 + 8, true);
    put_number(out, 0, 8, true);
}

static void put_sound(FILE *out, const void *with) {
    static void (*const head[KINDS])(FILE *, const lie *) = {put_riff, put_riff, put_w64,
                                                             put_caf,  put_au,   put_aiff};
    static const unsigned hold[3] = {72, 48, 96}; /* 1500, 1000, 2000 us */
    const lie *l = with;
    head[l->what](out, l);
    for (unsigned i = 0; i < SAMPLES; i++) {
        bool high = i % FRAME < hold[i / FRAME / 20 % 3];
        put_number(out, (uint64_t)((high ? 16000 : -16000) + (int)(i * 7919 % 13)), 2,
                   l->what >= CAF);
    }
}

static double number(json_t *object, const char *name, const char *field) {
    json_t *value = json_object_get(object, name);
    return json_number_value(field != NULL ? json_object_get(value, field) : value);
}

static const char *const measure[] = {"measure", "--json", "-", NULL};

/* Answered with what is there, or refused by one sentence: never anything else. */
static bool answered(const lie *l) {
    streamed run = stream_through(measure, put_sound, l);
    json_t *root = json_loads(run.out, 0, NULL);
    bool good = run.status == 0 && root != NULL;
    if (!good &&
        (run.status != 2 || run.out[0] != '\0' || strstr(run.err, "spanwright: ") != run.err))
        fail_msg("%s, %u Hz, %" PRIu64 " bytes: status %d, %s", kind_name[l->what], l->rate,
                 l->length, run.status, run.err);
    if (!good)
        print_message("%s, %u Hz, %" PRIu64 " bytes: %s", kind_name[l->what], l->rate, l->length,
                      run.err);
    json_t *capture = json_array_get(json_object_get(root, "captures"), 0);
    json_t *channel = json_array_get(json_object_get(capture, "channels"), 0);
    if (good &&
        fabs(number(capture, "duration_s", NULL) - (double)SAMPLES / l->rate) > 1e-6 / l->rate)
        fail_msg("%s: %g s", kind_name[l->what], number(capture, "duration_s", NULL));
    /* edges between samples 20.8 us apart: uniform, 6 us */
    if (good && l->rate == RATE &&
        (fabs(number(channel, "period_us", "mean") - 20000) > 6 ||
         fabs(number(channel, "width_us", "min") - 1000) > 6 ||
         fabs(number(channel, "width_us", "max") - 2000) > 6))
        fail_msg("%s: widths %g to %g us", kind_name[l->what], number(channel, "width_us", "min"),
                 number(channel, "width_us", "max"));
    json_decref(root);
    streamed_free(&run);
    return good;
}

static void honest(void **state) {
    (void)state;
    for (int k = 0; k < KINDS; k++)
        assert_true(answered(&(const lie){(kind)k, RATE, k == AIFF ? SAMPLES : 2 * SAMPLES}));
}

static void lengths(void **state) {
    (void)state;
    /* 2^62 frames of two bytes, and what is near an integer's end */
    static const uint64_t claim[] = {UINT64_C(1) << 63, UINT64_C(1) << 62, UINT64_MAX,
                                     UINT64_MAX - 1,    INT64_MAX,         UINT64_C(1) << 48,
                                     UINT32_MAX,        INT32_MAX};
    for (size_t i = 0; i < sizeof claim / sizeof claim[0]; i++) {
        assert_true(answered(&(const lie){RF64, RATE, claim[i]}));
        assert_true(answered(&(const lie){W64, RATE, claim[i]}));
        assert_true(answered(&(const lie){CAF, RATE, claim[i] - 4}));
    }
    static const uint32_t claim32[] = {UINT32_MAX, UINT32_MAX - 1, UINT32_C(1) << 31, INT32_MAX, 0};
    for (size_t i = 0; i < sizeof claim32 / sizeof claim32[0]; i++) {
        assert_true(answered(&(const lie){WAV, RATE, claim32[i]}));
        assert_true(answered(&(const lie){AU, RATE, claim32[i]}) || claim32[i] == 0);
        assert_true(answered(&(const lie){AIFF, RATE, claim32[i] / 2 - 4}) || claim32[i] == 0);
    }
}

static void refused(const lie *l, const char *words) {
    streamed run = stream_through(measure, put_sound, l);
    if (run.status != 2 || strstr(run.err, words) == NULL)
        fail_msg("%s, %u Hz: status %d, %s", kind_name[l->what], l->rate, run.status, run.err);
    streamed_free(&run);
}

static void rates(void **state) {
    (void)state;
    assert_true(answered(&(const lie){WAV, 1, 2 * SAMPLES}));
    assert_true(answered(&(const lie){WAV, 100000000, 2 * SAMPLES}));
    static const kind told[] = {WAV, RF64, AU};
    for (size_t i = 0; i < sizeof told / sizeof told[0]; i++) {
        refused(&(const lie){told[i], UINT32_C(4000000000), 2 * SAMPLES},
                "claims 4000000000 samples a second, and at most 2147483647 are read");
        refused(&(const lie){told[i], 100000001, 2 * SAMPLES},
                "has 100000001 samples a second, and levels are measured of at most 100000000");
        refused(&(const lie){told[i], 0, 2 * SAMPLES}, "header is cut off, damaged");
    }
    refused(&(const lie){W64, UINT32_C(4000000000), 2 * SAMPLES}, "header is cut off, damaged");
    refused(&(const lie){CAF, UINT32_C(4000000000), 2 * SAMPLES}, "header is cut off, damaged");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(honest), cmocka_unit_test(lengths),
                                       cmocka_unit_test(rates)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
