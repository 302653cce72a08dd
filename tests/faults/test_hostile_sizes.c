/* Sizes and numbers that are chosen to hurt: bounded time and memory, a message that
 * names the limit, and never a wrong number. Where the pulses in such content can be
 * measured they are, and the widths sent are the widths told. */
#include "support/scratch.h"
#include "support/streamed.h"
#include "support/test.h"

#include "capture/reader.h"
#include "capture/source/unpack.h"
#include "spanwright/spanwright.h"

#include <archive.h>
#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FRAMES 120 /* 20 of each hold: 1500, 1000, 2000, 1500 ... us */
#define FRAME 20000
#define MB 1000000

static uint64_t width_of(size_t frame) {
    static const uint64_t hold[3] = {1500, 1000, 2000};
    return hold[frame / 20 % 3];
}

/* ---- what is sent ---- */

static void put(FILE *out, const char *text) {
    (void)fputs(text, out);
}

static void repeat(FILE *out, const char *text, size_t times) {
    char block[4096];
    size_t length = strlen(text), fit = sizeof block / length;
    for (size_t i = 0; i < fit; i++)
        memcpy(block + i * length, text, length);
    for (; times >= fit; times -= fit)
        (void)fwrite(block, length, fit, out);
    (void)fwrite(block, length, times, out);
}

/* Time marks from `first`, `step` of them a microsecond; code "!". */
static void put_train(FILE *out, uint64_t first, uint64_t step) {
    for (size_t i = 0; i < FRAMES; i++) {
        uint64_t lead = first + FRAME * step * (i + 1);
        (void)fprintf(out, "#%" PRIu64 "\n1!\n#%" PRIu64 "\n0!\n", lead, lead + width_of(i) * step);
    }
}

#define HEAD "$timescale 1 us $end\n$var wire 1 ! claw $end\n"
#define ENDS "$enddefinitions $end\n#0\n0!\n"

static void many_variables(FILE *out, const void *with) {
    (void)with;
    put(out, HEAD);
    for (unsigned i = 0; i < 10 * MB; i++) { /* a code of five characters each */
        char line[64] = "$var wire 1 ~~~~~ n         $end\n";
        unsigned code = i, number = i;
        for (size_t k = 12; k < 16; k++, code /= 93)
            line[k] = (char)('"' + code % 93);
        for (size_t k = 26; k > 18; k--, number /= 10)
            line[k] = (char)('0' + number % 10);
        (void)fwrite(line, 1, strlen(line), out);
    }
    put(out, ENDS);
    put_train(out, 0, 1);
}

typedef struct around {
    const char *before, *piece;
    size_t times;
    const char *after;
} around;

/* Something endless in the declarations, then the train. */
static void long_part(FILE *out, const void *with) {
    const around *a = with;
    put(out, a->before);
    repeat(out, a->piece, a->times);
    put(out, a->after);
    put_train(out, 0, 1);
}

/* The same without a train. */
static void long_text(FILE *out, const void *with) {
    const around *a = with;
    put(out, a->before);
    repeat(out, a->piece, a->times);
    put(out, a->after);
}

typedef struct timed {
    const char *scale; /* of a VCD, or a table's header */
    uint64_t first, step;
} timed;

static void vcd_times(FILE *out, const void *with) {
    const timed *t = with;
    (void)fprintf(out, "$timescale %s $end\n$var wire 1 ! claw $end\n$enddefinitions $end\n",
                  t->scale);
    (void)fprintf(out, "#%" PRIu64 "\n0!\n", t->first);
    put_train(out, t->first, t->step);
}

static void table_times(FILE *out, const void *with) {
    const timed *t = with;
    (void)fprintf(out, "%s,claw\n%" PRIu64 ",0\n", t->scale, t->first);
    for (size_t i = 0; i < FRAMES; i++) {
        uint64_t lead = t->first + FRAME * t->step * (i + 1);
        (void)fprintf(out, "%" PRIu64 ",1\n%" PRIu64 ",0\n", lead, lead + width_of(i) * t->step);
    }
}

typedef struct volts {
    const char *high, *low;
} volts;

/* 10 kHz, as the widths are whole tenths of a millisecond. */
static void table_volts(FILE *out, const void *with) {
    const volts *v = with;
    put(out, "time (s),claw (V)\n");
    for (size_t i = 0; i < FRAMES * FRAME / 100; i++)
        (void)fprintf(out, "%zu.%04zu,%s\n", i / 10000, i % 10000,
                      i * 100 % FRAME < width_of(i * 100 / FRAME) ? v->high : v->low);
}

/* ---- raw samples in zstd blocks of one repeated byte: 4 bytes for up to 128 KiB ---- */

static void put_run(FILE *out, unsigned byte, uint64_t n) {
    while (n > 0) {
        uint32_t part = n < 131072 ? (uint32_t)n : 131072;
        uint32_t head = part << 3 | 1 << 1; /* RFC 8878, 3.1.1.2: size, RLE_Block, not last */
        const unsigned char block[4] = {head & 255, head >> 8 & 255, head >> 16 & 255,
                                        (unsigned char)byte};
        (void)fwrite(block, 1, sizeof block, out);
        n -= part;
    }
}

static const char zstd_head[6] = "\x28\xb5\x2f\xfd\x00\x58"; /* a window of 2 MiB, no checksum */
static void put_zstd_end(FILE *out) {
    (void)fwrite("\x01\0\0", 1, 3, out); /* an empty last block */
}

static void packed_run(FILE *out, const void *with) {
    (void)fwrite(zstd_head, 1, sizeof zstd_head, out);
    put_run(out, 0, *(const uint64_t *)with);
    put_zstd_end(out);
}

/* `with` samples a microsecond; 30 frames. */
static void packed_train(FILE *out, const void *with) {
    uint64_t step = *(const uint64_t *)with;
    (void)fwrite(zstd_head, 1, sizeof zstd_head, out);
    put_run(out, 0, 1000 * step);
    for (size_t i = 0; i < 30; i++) {
        put_run(out, 1, width_of(2 * i) * step);
        put_run(out, 0, (FRAME - width_of(2 * i)) * step);
    }
    put_zstd_end(out);
}

typedef struct bytes {
    const void *data;
    size_t length, times;
} bytes;

static void put_bytes(FILE *out, const void *with) {
    const bytes *b = with;
    for (size_t i = 0; i < b->times; i++)
        (void)fwrite(b->data, 1, b->length, out);
}

static void raw_train(FILE *out, const void *with) {
    (void)with;
    for (size_t i = 0; i < FRAMES; i++) {
        repeat(out, "\1", width_of(i));
        for (size_t k = width_of(i); k < FRAME; k++)
            (void)fputc(0, out);
    }
}

/* ---- what comes back ---- */

static streamed measure(const char *const *more, stream_maker *make, const void *with) {
    const char *arguments[8] = {"measure", "--json", "-"};
    for (size_t i = 0; more != NULL && more[i] != NULL; i++)
        arguments[3 + i] = more[i];
    return stream_through(arguments, make, with);
}

/* A refusal: status 2, nothing but one sentence, which has `words` in it. */
static void refused(const char *words, const char *const *more, stream_maker *make,
                    const void *with) {
    streamed run = measure(more, make, with);
    if (run.status != 2 || strstr(run.err, words) == NULL || run.out[0] != '\0' ||
        strchr(run.err, '\n') != run.err + strlen(run.err) - 1)
        fail_msg("status %d, no refusal with \"%s\": %.300s%.300s", run.status, words, run.err,
                 run.out);
    streamed_free(&run);
}

/* An answer; what it warns of (standard error) has `words` in it, "": nothing. Returns
 * the first channel of the root that is to be freed. */
static json_t *answered(const char *words, const char *const *more, stream_maker *make,
                        const void *with, json_t **root) {
    json_error_t at;
    streamed run = measure(more, make, with);
    if (run.status != 0 || (words[0] != '\0' ? strstr(run.err, words) == NULL : run.err[0] != '\0'))
        fail_msg("status %d, no warning \"%s\": %.600s", run.status, words, run.err);
    *root = json_loads(run.out, 0, &at);
    assert_non_null(*root);
    streamed_free(&run);
    return json_array_get(
        json_object_get(json_array_get(json_object_get(*root, "captures"), 0), "channels"), 0);
}

static double number(json_t *object, const char *name, const char *field) {
    json_t *value = json_object_get(object, name);
    if (field != NULL)
        value = json_object_get(value, field);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

/* The widths that were sent, to 1 ns; for levels to `within_us`. */
static void exact(const char *words, const char *const *more, stream_maker *make, const void *with,
                  double within_us) {
    json_t *root, *channel = answered(words, more, make, with, &root);
    const struct {
        const char *name, *field;
        double us;
    } sent[] = {{"period_us", "mean", 20000}, {"width_us", "min", 1000},
                {"width_us", "max", 2000},    {"span_us", "low", 1000},
                {"span_us", "high", 2000},    {"span_us", "neutral", 1500}};
    for (size_t i = 0; i < sizeof sent / sizeof sent[0]; i++) {
        double got = number(channel, sent[i].name, sent[i].field);
        if (!(fabs(got - sent[i].us) <= within_us))
            fail_msg("%s.%s is %.9g, not %g", sent[i].name, sent[i].field, got, sent[i].us);
    }
    json_decref(root);
}

/* An answer that gives no number of a pulse and says why with `reason` in it. */
static void no_pulses(const char *words, const char *reason, const char *const *more,
                      stream_maker *make, const void *with) {
    json_t *root, *channel = answered(words, more, make, with, &root);
    const char *why = json_string_value(json_object_get(channel, "reason"));
    if (why == NULL || strstr(why, reason) == NULL)
        fail_msg("the reason is: %s", why != NULL ? why : "none");
    assert_true(isnan(number(channel, "width_us", "mean")));
    assert_true(isnan(number(channel, "period_us", "mean")));
    assert_true(json_is_null(json_object_get(channel, "span_us")));
    json_decref(root);
}

#define NS 1e-3

static void variables(void **state) {
    (void)state;
    exact("262144 variables", NULL, many_variables, NULL, NS);
}

static void names(void **state) {
    (void)state;
    static const around cases[] = {
        {"$timescale 1 us $end\n$var wire 1 ! ", "n", 100 * MB, " $end\n" ENDS},
        {HEAD "$scope module ", "n", 100 * MB, " $end\n" ENDS},
        {"$timescale 1 us $end\n$var wire 1 ! ", "n ", 50 * MB, " $end\n" ENDS},
        {HEAD, "$scope module n $end\n", 2 * MB, ENDS},
    };
    for (size_t i = 0; i < 3; i++)
        exact("too long to keep (512 bytes", NULL, long_part, &cases[i], NS);
    exact("", NULL, long_part, &cases[3], NS);
    static const around code = {HEAD "$var wire 1 ", "n", 100 * MB, " lid $end\n" ENDS};
    exact("declares no variable that can be understood", NULL, long_part, &code, NS);
    static const around column = {"time (us),", "n", 100 * MB, "\n0,0\n"};
    refused("line 1: the line is longer than 1048576 bytes", NULL, long_text, &column);
}

static void vectors(void **state) {
    (void)state;
    static const around declared = {HEAD "$var wire 2147483648 # v [2147483647:0] $end\n", " ", 1,
                                    ENDS "b1 #\n"};
    static const around more[] = {
        {HEAD "$var wire 18446744073709551617 # v $end\n", " ", 1, ENDS},
        {HEAD "$var wire 1 # v [99999999999999999999:0] $end\n", " ", 1, ENDS "1#\n"}};
    exact("has more than 4096 bits", NULL, long_part, &declared, NS);
    exact("no variable that can be understood", NULL, long_part, &more[0], NS);
    exact("", NULL, long_part, &more[1], NS);
    static const around digits = {HEAD "$var wire 4096 # v [4095:0] $end\n" ENDS "b", "10", 50 * MB,
                                  " #\n"};
    exact("more digits than its variable has bits", NULL, long_part, &digits, NS);
    static const around time = {HEAD ENDS "#", "9", 100 * MB, "\n"};
    refused("line 6: a time ", NULL, long_part, &time);
}

static void columns(void **state) {
    (void)state;
    static const around named = {"time (us)", ",c", MB, "\n"};
    static const around bare = {"0", ",1", MB, "\n1"};
    static const around some = {"time", ",1", 65536, "\n"};
    static const around line = {"0", ",1", 100 * MB, ""};
    refused("the line is longer than 1048576 bytes", NULL, long_text, &named);
    refused("the line is longer than 1048576 bytes", NULL, long_text, &bare);
    refused("more than 65536 columns", NULL, long_text, &some);
    refused("the line is longer than 1048576 bytes", NULL, long_text, &line);
}

static void bombs(void **state) {
    (void)state;
    static const char *const rate[] = {"--rate", "1000000", NULL};
    static const uint64_t run = UINT64_C(4) << 30; /* 131 kB packed */
    no_pulses("", "the line stays low", rate, packed_run, &run);
    /* gzip: members one after another are one content (RFC 1952, 2.2) */
    char *still = calloc(1, 16 * MB);
    assert_non_null(still);
    size_t length, twice_length;
    char *packed = scratch_pack(archive_write_add_filter_gzip, still, 16 * MB, &length);
    no_pulses("", "the line stays low", rate, put_bytes, &(const bytes){packed, length, 128});
    /* packed twice, thrice: each layer would multiply */
    char *twice = scratch_pack(archive_write_add_filter_xz, packed, length, &twice_length);
    refused("packed more than once", rate, put_bytes, &(const bytes){twice, twice_length, 1});
    free(packed);
    packed = scratch_pack(archive_write_add_filter_gzip, twice, twice_length, &length);
    refused("packed more than once", rate, put_bytes, &(const bytes){packed, length, 1});
    free(packed);
    free(twice);
    free(still);
}

/* The bound on what is unpacked, with a smaller number in its place. */
static void unpacking_ends(void **state) {
    (void)state;
    char *still = calloc(1, MB);
    assert_non_null(still);
    size_t length;
    char *packed = scratch_pack(archive_write_add_filter_zstd, still, MB, &length);
    spw_source *source;
    spw_measure_options options = spw_measure_defaults();
    spw_error error;
    uint64_t seen = 0;
    assert_int_equal(
        spw_source_open(scratch_file("still.zst", packed, length), &options.read, &source, &error),
        SPW_OK);
    spw_source_bound(source, 500000);
    for (;;) {
        const char *data;
        size_t got;
        assert_int_equal(spw_source_look(source, 1, &data, &got, &error), SPW_OK);
        if (got == 0)
            break;
        seen += got;
        spw_source_take(source, got);
    }
    /* what was unpacked to recognise the content comes first */
    assert_in_range(seen, 500000, 600000);
    assert_non_null(spw_source_damage(source));
    assert_non_null(strstr(spw_source_damage(source), "unpacks to more than 64 GiB, the limit"));
    assert_int_equal(SPW_UNPACKED_MAX, UINT64_C(64) << 30);
    spw_source_free(source);
    free(packed);
    free(still);
}

static void times(void **state) {
    (void)state;
    const uint64_t top = UINT64_MAX;
    const uint64_t span = (uint64_t)FRAME * (FRAMES + 1);
    const timed vcd[] = {
        {"1 fs", 0, 1000000000},
        {"1 fs", top - span * 1000000000, 1000000000},
        {"1 ps", top - span * 1000000, 1000000},
        {"1 ns", top - span * 1000, 1000},
        {"1 us", top - span, 1},
        {"1 fs", 1, 1000000000},
    };
    for (size_t i = 0; i < sizeof vcd / sizeof vcd[0]; i++)
        exact("", NULL, vcd_times, &vcd[i], NS);
    refused("a time of more than 64 bits", NULL, long_part,
            &(const around){HEAD ENDS, "#18446744073709551616\n", 1, ""});
    no_pulses("", "too slow", NULL, vcd_times, &(const timed){"100 s", top - span, 1});
    no_pulses("", "scaled time", NULL, vcd_times, &(const timed){"1 fs", top - span, 1});
    const timed table[] = {
        {"time (ns)", INT64_MAX - span * 1000, 1000},
        {"time (ns)", top - span * 1000, 1000},
        {"time (ps)", top - span * 1000000, 1000000},
        {"time (fs)", UINT64_C(1000000000000000000), 1000000000},
        {"time (fs)", 0, 1000000000},
        {"time (us)", top - span, 1},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        exact("", NULL, table_times, &table[i], NS);
    no_pulses("", "too slow", NULL, table_times, &(const timed){"time (s)", top - span, 1});
}

static void levels(void **state) {
    (void)state;
    static const volts beyond[] = {{"1e308", "-1e308"}, {"1.7e308", "0"}, {"1e400", "0"},
                                   {"3e38", "-3e38"},   {"1e31", "0"},    {"3.3", "1e308"}};
    for (size_t i = 0; i < sizeof beyond / sizeof beyond[0]; i++)
        no_pulses("no usable number (below 1e30)", "no change between two known levels", NULL,
                  table_volts, &beyond[i]);
    /* below what a sample's type can tell: no level at all, and no claim of one */
    static const volts below[] = {{"4.9e-324", "0"}, {"1e-310", "-1e-310"}, {"1e-45", "0"}};
    for (size_t i = 0; i < sizeof below / sizeof below[0]; i++)
        no_pulses("", "no change between two known levels", NULL, table_volts, &below[i]);
    static const volts usual[] = {
        {"3.3", "0"}, {"9e29", "-9e29"}, {"1e20", "0"}, {"1e-20", "0"}, {"1e-30", "-1e-30"}};
    /* edges between samples 100 us apart: uniform, standard uncertainty 100 / sqrt 12 us */
    for (size_t i = 0; i < sizeof usual / sizeof usual[0]; i++)
        exact("", NULL, table_volts, &usual[i], 100 / sqrt(12));
}

static void rates(void **state) {
    (void)state;
    static const uint64_t step[] = {1, 100, 4000}; /* samples a microsecond */
    static const char *const rate[][3] = {
        {"--rate", "1e6", NULL}, {"--rate", "1e8", NULL}, {"--rate", "4e9", NULL}};
    for (size_t i = 0; i < 3; i++)
        exact("", rate[i], packed_train, &step[i], NS);
    no_pulses("", "too slow", (const char *const[]){"--rate", "1", NULL}, raw_train, NULL);
    no_pulses("", "scaled time", (const char *const[]){"--rate", "4e9", NULL}, raw_train, NULL);
    no_pulses("", "scaled time", (const char *const[]){"--rate", "1e12", NULL}, raw_train, NULL);
    static const char *const wrong[] = {"0.5",   "1e13", "4.9e-324", "1e308",
                                        "1e999", "-1",   "0",        "nan"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        refused("--rate", (const char *const[]){"--rate", wrong[i], NULL}, raw_train, NULL);
}

/* The bound on pulses, with a smaller number in its place. */
static void pulses(void **state) {
    (void)state;
    const char *path = scratch_path("train.vcd");
    FILE *out = fopen(path, "wb");
    assert_non_null(out);
    put(out, HEAD ENDS);
    put_train(out, 0, 1);
    put_train(out, (FRAMES + 1) * FRAME, 1);
    put_train(out, 2 * (FRAMES + 1) * FRAME, 1);
    assert_int_equal(fclose(out), 0);
    spw_measure_options options = spw_measure_defaults();
    spw_capture *capture = NULL;
    spw_error error;
    options.pulses_max = 200;
    assert_int_equal(spw_measure(path, &options, &capture, &error), SPW_ERR_LIMIT);
    assert_string_equal(error.message,
                        "the capture has more than 200 pulses, the limit; measure fewer of its "
                        "channels (--channel NAME), or a part of it");
    assert_null(capture);
    options.pulses_max = 3 * FRAMES;
    assert_int_equal(spw_measure(path, &options, &capture, &error), SPW_OK);
    assert_int_equal(capture->channel[0].pulses, 3 * FRAMES);
    spw_capture_free(capture);
}

/* What is read back: JSON and bench files. */
static void other_files(void **state) {
    (void)state;
    spw_planned planned = spw_planned_none();
    spw_bench bench = spw_bench_defaults();
    spw_error error;
    static const struct {
        around content;
        spw_status status;
        const char *words;
    } json[] =
        {
            {{"", "[", 4 * MB, ""}, SPW_ERR_FORMAT, "this is no JSON"},
            {{"{\"schema\": \"", "x", 4 * MB, "\"}"}, SPW_ERR_FORMAT, "schema"},
            {{"{\"", "x", 100 * MB, "\": 1}"}, SPW_ERR_LIMIT, "more than 4 MiB is no "},
            {{"", "{\"a\":", 600000, "1"}, SPW_ERR_FORMAT, "this is no JSON"},
            {{"{\"schema\": \"spanwright.plan/1\", \"remap\": {\"gain\": 1", "0", 400, "}}"},
             SPW_ERR_FORMAT,
             ""},
        },
      ini[] = {
          {{"[servo]\nname = ", "x", 100 * MB, "\n"}, SPW_ERR_LIMIT, "more than 65536 bytes"},
          {{"[servo]\nname = ", "x", 60000, "\n"}, SPW_ERR_LIMIT, ""},
          {{"[servo]\ntravel_deg = 1", "0", 150, "\n"}, SPW_ERR_FORMAT, "number from"},
          {{"", "[servo]\n", 8000, ""}, SPW_OK, ""},
      };
    char *path = strdup(scratch_path("file"));
    for (size_t i = 0; i < 9; i++) {
        bool plan = i < 5;
        FILE *out = fopen(path, "wb");
        assert_non_null(out);
        long_text(out, plan ? &json[i].content : &ini[i - 5].content);
        assert_int_equal(fclose(out), 0);
        spw_error_clear(&error);
        spw_status got =
            plan ? spw_planned_read(path, &planned, &error) : spw_bench_read(path, &bench, &error);
        spw_status wanted = plan ? json[i].status : ini[i - 5].status;
        const char *words = plan ? json[i].words : ini[i - 5].words;
        if (got != wanted || strstr(error.message, words) == NULL)
            fail_msg("file %zu: %s, %s", i, spw_status_text(got), error.message);
    }
    free(path);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(variables),   cmocka_unit_test(names),
        cmocka_unit_test(vectors),     cmocka_unit_test(columns),
        cmocka_unit_test(bombs),       cmocka_unit_test(unpacking_ends),
        cmocka_unit_test(times),       cmocka_unit_test(levels),
        cmocka_unit_test(rates),       cmocka_unit_test(pulses),
        cmocka_unit_test(other_files),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
