/* Raw logic dumps. */
#include "support/kept.h"
#include "support/scratch.h"
#include "support/test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static spw_status read_raw(const char *path, double rate_hz, kept *got,
                           spw_capture_summary *summary, spw_error *error) {
    spw_read_options options = {.has_rate = true, .rate_hz = rate_hz};
    spw_sink sink = kept_sink(got);
    spw_status status = spw_capture_read(path, &options, &sink, summary, error);
    if (status == SPW_OK)
        kept_check_summary(got, summary);
    return status;
}

static void by_hand(void **state) {
    (void)state;
    static const unsigned char dump[] = {0x05, 0x05, 0x04, 0x04, 0x84, 0x00};
    kept got = {.keep = 100};
    spw_capture_summary summary;
    const char *path = scratch_file("hand.wav", dump, sizeof dump); /* its name means nothing */
    assert_int_equal(read_raw(path, 1e6, &got, &summary, NULL), SPW_OK);
    assert_int_equal(summary.format, SPW_FORMAT_RAW);
    assert_int_equal(summary.channels, 8);
    assert_true(summary.duration_s == 6 / 1e6);
    assert_false(summary.truncated);
    assert_string_equal(summary.recognised.text[0],
                        "raw bytes, 8 channels, 1000000 samples a second");
    for (uint32_t i = 0; i < 8; i++) {
        char name[4] = {'c', 'h', (char)('0' + i), 0};
        assert_string_equal(got.channels[i].name, name);
        assert_int_equal(got.channels[i].info.kind, SPW_KIND_LOGIC);
        assert_true(got.channels[i].info.resolution_s == 1e-6);
        assert_true(got.changes[i].time_s == 0 && got.changes[i].channel == i);
        assert_int_equal(got.changes[i].level, 0x05 >> i & 1);
    }
    static const struct {
        double time_s;
        uint32_t channel, level;
    } expected[] = {{2 / 1e6, 0, 0}, {4 / 1e6, 7, 1}, {5 / 1e6, 2, 0}, {5 / 1e6, 7, 0}};
    assert_int_equal(got.n_changes, 12);
    for (size_t i = 0; i < 4; i++) {
        assert_true(got.changes[8 + i].time_s == expected[i].time_s);
        assert_int_equal(got.changes[8 + i].channel, expected[i].channel);
        assert_int_equal(got.changes[8 + i].level, expected[i].level);
    }
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

/* Random dumps with still stretches of every length around the strides and
 * buffers, against a byte-by-byte reading of the same bytes. */
static void check_random(uint32_t seed, size_t length) {
    unsigned char *dump = malloc(length);
    assert_non_null(dump);
    uint32_t x = seed;
    for (size_t i = 0; i < length;) {
        x ^= x << 13;
        x ^= x >> 17;
        x ^= x << 5;
        size_t still = x % 8 == 0 ? x >> 8 & 0x1ffff : x >> 8 & 0x7f;
        for (size_t k = 0; k <= still && i < length; k++)
            dump[i++] = (unsigned char)(x >> 24);
    }
    kept got = {.keep = SIZE_MAX};
    spw_capture_summary summary;
    spw_error error;
    double rate_hz = 24e6 / 7;
    assert_int_equal(
        read_raw(scratch_file("random", dump, length), rate_hz, &got, &summary, &error), SPW_OK);
    size_t at = 8;
    for (size_t i = 1; i < length; i++)
        for (uint32_t line = 0; line < 8; line++)
            if (((dump[i] ^ dump[i - 1]) >> line & 1) != 0) {
                assert_true(at < got.n_changes);
                assert_true(got.changes[at].time_s == (double)i / rate_hz);
                assert_int_equal(got.changes[at].channel, line);
                assert_int_equal(got.changes[at].level, dump[i] >> line & 1);
                at++;
            }
    assert_int_equal(at, got.n_changes);
    assert_true(summary.duration_s == (double)length / rate_hz);
    spw_capture_summary_free(&summary);
    kept_free(&got);
    free(dump);
}

static void against_byte_by_byte(void **state) {
    (void)state;
    for (uint32_t seed = 1; seed <= 20; seed++) {
        print_message("seed %u\n", seed);
        check_random(seed * 2654435761u, 1000003u * (1 + seed % 3));
    }
    for (size_t length = 1; length < 300; length++)
        check_random(77777u + (uint32_t)length, length);
}

/* The last instant of a long dump is that of its index: no sum of steps. */
static void long_dump(void **state) {
    (void)state;
    size_t length = 30000001;
    char *dump = calloc(1, length);
    assert_non_null(dump);
    dump[length - 1] = 1;
    kept got = {.keep = 9};
    spw_capture_summary summary;
    assert_int_equal(read_raw(scratch_file("long", dump, length), 3e6, &got, &summary, NULL),
                     SPW_OK);
    assert_int_equal(got.n_changes, 9);
    assert_true(got.changes[8].time_s == 10.0);
    spw_capture_summary_free(&summary);
    kept_free(&got);
    free(dump);
}

static void by_pipe(void **state) {
    (void)state;
    char dump[5000] = {0};
    memset(dump + 1500, 8, 1500);
    kept got = {.keep = 20};
    spw_capture_summary summary;
    scratch_stdin(dump, sizeof dump, 999, 0);
    assert_int_equal(read_raw("-", 1e6, &got, &summary, NULL), SPW_OK);
    scratch_stdin_end();
    assert_int_equal(got.n_changes, 10);
    assert_true(got.changes[8].time_s == 1500 / 1e6 && got.changes[9].time_s == 3000 / 1e6);
    spw_capture_summary_free(&summary);
    kept_free(&got);
}

/* A device without an end: what was read is answered, with a warning that says where. */
static void still_stream_ends(void **state) {
    (void)state;
    enum { LENGTH = 400000, STILL = 100000 };
    char *dump = calloc(1, LENGTH);
    assert_non_null(dump);
    dump[500] = 1;
    spw_read_options options = {.has_rate = true, .rate_hz = 1e6, .raw_still_most = STILL};
    kept got = {.keep = 20};
    spw_sink sink = kept_sink(&got);
    spw_capture_summary summary;
    scratch_stdin(dump, LENGTH, 999, 0);
    assert_int_equal(spw_capture_read("-", &options, &sink, &summary, NULL), SPW_OK);
    scratch_stdin_end();
    assert_true(summary.truncated);
    assert_true(summary.duration_s > (STILL + 500) / 1e6 && summary.duration_s < LENGTH / 1e6);
    assert_non_null(strstr(summary.warnings.text[0], "no line has changed for "));
    spw_capture_summary_free(&summary);
    kept_free(&got);
    got = (kept){.keep = 20};
    sink = kept_sink(&got);
    const char *path = scratch_file("still", dump, LENGTH); /* a file has an end */
    assert_int_equal(spw_capture_read(path, &options, &sink, &summary, NULL), SPW_OK);
    assert_false(summary.truncated);
    spw_capture_summary_free(&summary);
    kept_free(&got);
    free(dump);
}

static void sink_stops(void **state) {
    (void)state;
    char *dump = malloc(100000);
    assert_non_null(dump);
    for (size_t i = 0; i < 100000; i++)
        dump[i] = (char)(i & 1);
    kept got = {.stop_after = 2, .stop_status = SPW_ERR_LIMIT};
    spw_capture_summary summary;
    spw_error error;
    const char *path = scratch_file("stops", dump, 100000);
    assert_int_equal(read_raw(path, 1e6, &got, &summary, &error), SPW_ERR_LIMIT);
    assert_int_equal(got.calls, 2);
    assert_int_equal(error.status, SPW_ERR_LIMIT);
    kept_free(&got);
    free(dump);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(by_hand),           cmocka_unit_test(against_byte_by_byte),
        cmocka_unit_test(long_dump),         cmocka_unit_test(by_pipe),
        cmocka_unit_test(still_stream_ends), cmocka_unit_test(sink_stops),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
