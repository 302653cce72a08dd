/* What a capture is, told by its content alone; and what is refused, how. */
#include "support/kept.h"
#include "support/scratch.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NO_RATE 0.0

static spw_status attempt(const char *path, double rate_hz, spw_capture_summary *summary,
                          spw_error *error) {
    spw_read_options options = {.has_rate = rate_hz != NO_RATE, .rate_hz = rate_hz};
    kept got = {0};
    spw_sink sink = kept_sink(&got);
    spw_status status = spw_capture_read(path, &options, &sink, summary, error);
    if (status == SPW_OK)
        kept_check_summary(&got, summary);
    kept_free(&got);
    return status;
}

static void check_refused(const char *name, const void *bytes, size_t length, double rate_hz,
                          spw_status expected, const char *sentence) {
    spw_capture_summary summary = {.channels = 77};
    spw_error error;
    const char *path = scratch_file(name, bytes, length);
    assert_int_equal(attempt(path, rate_hz, &summary, &error), expected);
    assert_int_equal(summary.channels, 77); /* untouched */
    assert_int_equal(error.status, expected);
    assert_string_equal(error.file, path);
    assert_string_equal(error.message, sentence);
}

#define REFUSED(bytes, rate_hz, status, sentence)                                                  \
    check_refused("refused.csv", bytes, sizeof(bytes) - 1, rate_hz, status, sentence)

static void junk(void **state) {
    (void)state;
    static const char why[] =
        "this is no VCD, table or sound file; if it is a raw logic dump (8 channels a byte), give "
        "its sample rate with --rate HZ";
    REFUSED("\x00\x00\x01\x01\x00\x02\xff\xfe", NO_RATE, SPW_ERR_FORMAT, why);
    REFUSED("\x7f"
            "ELF\x02\x01\x01\x00",
            NO_RATE, SPW_ERR_FORMAT, why);
    REFUSED("\x00", NO_RATE, SPW_ERR_FORMAT, why);
    REFUSED("RIFF\x00\x00\x00\x00"
            "AVI LIST",
            NO_RATE, SPW_ERR_FORMAT, why);
}

static void text_that_is_no_capture(void **state) {
    (void)state;
    REFUSED("Dear club,\nthe planter jams again at the third tray.\n", NO_RATE, SPW_ERR_FORMAT,
            "this text is neither a VCD (no $var in it) nor a table (no rows of numbers in "
            "columns); export the capture as VCD or CSV");
    REFUSED("Dear club,\nthe planter jams again at the third tray.\n", 1e6, SPW_ERR_FORMAT,
            "this is text, not a raw logic dump, and neither a VCD nor a table of numbers; export "
            "the capture as VCD or CSV");
    REFUSED("$date 25 November\n$version of the club's own recorder\n", NO_RATE, SPW_ERR_FORMAT,
            "this begins like a VCD but declares no signal; write the whole file, from its header "
            "on, once more");
    REFUSED("<html>\n<body>captures of the arm</body>\n</html>\n", NO_RATE, SPW_ERR_FORMAT,
            "this is marked-up text (HTML, XML or JSON), not a capture; export the capture as VCD "
            "or CSV");
    REFUSED("\xff\xfe"
            "t\0i\0m\0e\0,\0a\0\n\0"
            "0\0,\0"
            "1\0\n\0",
            NO_RATE, SPW_ERR_FORMAT,
            "this is text of 16 bits a character; save it as UTF-8 and read that");
}

static void bad_rates(void **state) {
    (void)state;
    static const char why[] = "--rate has to be a number of samples a second above 0";
    REFUSED("\0\1\0\1", -1.0, SPW_ERR_ARGUMENT, why);
    REFUSED("\0\1\0\1", INFINITY, SPW_ERR_ARGUMENT, why);
    REFUSED("\0\1\0\1", NAN, SPW_ERR_ARGUMENT, why);
    REFUSED("\0\1\0\1", 1e-320, SPW_ERR_ARGUMENT, why);
    spw_read_options options = {.has_rate = true, .rate_hz = 0};
    kept got = {0};
    spw_sink sink = kept_sink(&got);
    spw_capture_summary summary;
    spw_error error;
    assert_int_equal(
        spw_capture_read(scratch_file("zero", "\0\1", 2), &options, &sink, &summary, &error),
        SPW_ERR_ARGUMENT);
}

static void no_content(void **state) {
    (void)state;
    check_refused("empty.vcd", "", 0, NO_RATE, SPW_ERR_EMPTY,
                  "the file is empty; record the capture again or name another file");
    spw_capture_summary summary;
    spw_error error;
    assert_int_equal(attempt(scratch_path("absent"), NO_RATE, &summary, &error), SPW_ERR_IO);
    assert_string_equal(error.message, "cannot be opened: No such file or directory; check the "
                                       "name and the folder");
    assert_int_equal(attempt("/", NO_RATE, &summary, &error), SPW_ERR_IO);
    assert_int_equal(attempt("/", NO_RATE, &summary, NULL), SPW_ERR_IO);
}

static const char vcd[] = "$timescale 1 us $end\n$scope module t $end\n$var wire 1 ! arm $end\n"
                          "$upscope $end\n$enddefinitions $end\n#0\n0!\n#1000\n1!\n#2500\n0!\n"
                          "#20000\n";

static const char table[] = "time [us],arm\n0,0\n1000,1\n2500,0\n20000,0\n";

static void check_format(const char *name, const void *bytes, size_t length, double rate_hz,
                         spw_format expected) {
    spw_capture_summary summary;
    spw_error error;
    spw_status status = attempt(scratch_file(name, bytes, length), rate_hz, &summary, &error);
    if (status != SPW_OK)
        fail_msg("%s: %s", name, error.message);
    assert_int_equal(summary.format, expected);
    spw_capture_summary_free(&summary);
}

static void names_mislead(void **state) {
    (void)state;
    check_format("a.wav", vcd, sizeof vcd - 1, NO_RATE, SPW_FORMAT_VCD);
    check_format("a.vcd", table, sizeof table - 1, NO_RATE, SPW_FORMAT_TABLE);
    check_format("c.bin", "0,1\n1,1\n1,0\n0,0\n", 16, 1e6, SPW_FORMAT_TABLE); /* without time */
    check_format("a.csv", "\0\1\3\1\0", 5, 1e6, SPW_FORMAT_RAW);
    check_format("b.csv", vcd, sizeof vcd - 1, 1e6, SPW_FORMAT_VCD); /* a rate changes nothing */
    static const char au[] = ".snd\0\0\0\x18\0\0\0\x04\0\0\0\x03\0\0\xbb\x80\0\0\0\1\0\1\0\2";
    check_format("a.bin", au, sizeof au - 1, 1e6, SPW_FORMAT_AUDIO);
    assert_string_equal(spw_format_name(SPW_FORMAT_AUDIO), "audio");
    assert_string_equal(spw_format_name(SPW_FORMAT_RAW), "raw");
    assert_string_equal(spw_format_name(SPW_FORMAT_VCD), "vcd");
    assert_string_equal(spw_format_name(SPW_FORMAT_TABLE), "table");
}

/* Idle lines as printable bytes are no text: too few different ones. */
static void dump_that_looks_printable(void **state) {
    (void)state;
    check_format("a.txt", "    !!!!\n\n\n\n!!!!    ####    ", 28, 1e6, SPW_FORMAT_RAW);
    /* the mark of an MPEG frame, alone, is no sound file */
    check_format("a.mp3", "\xff\xfb\x94\x44\0\0\0\0\0\0", 10, 1e6, SPW_FORMAT_RAW);
}

static void damage_is_a_warning(void **state) {
    (void)state;
    size_t length = 2000000, packed;
    char *dump = malloc(length);
    assert_non_null(dump);
    uint32_t x = 1;
    for (size_t i = 0; i < length; i++)
        dump[i] = (char)((x = x * 1664525u + 1013904223u) >> 29);
    extern int archive_write_add_filter_gzip(struct archive *);
    char *bytes = scratch_pack(archive_write_add_filter_gzip, dump, length, &packed);
    spw_capture_summary summary;
    spw_error error;
    assert_int_equal(attempt(scratch_file("cut.gz", bytes, packed / 2), 1e6, &summary, &error),
                     SPW_OK);
    assert_true(summary.truncated);
    assert_int_equal(summary.warnings.n, 1);
    assert_non_null(strstr(summary.warnings.text[0], "gzip content is cut off or damaged near"));
    assert_true(summary.duration_s > 0.8 && summary.duration_s < 1.05);
    spw_capture_summary_free(&summary);
    free(bytes);
    free(dump);
}

static void many_notes(void **state) {
    (void)state;
    spw_notes notes = {0};
    for (int i = 0; i < 1000; i++)
        assert_int_equal(spw_notes_add(&notes, "line %d: \x1b[31m%s, %.2f s", i, "odd", 1.5),
                         SPW_OK);
    assert_int_equal(notes.n, SPW_NOTES_MAX + 1);
    assert_int_equal(notes.dropped, 1000 - SPW_NOTES_MAX);
    assert_string_equal(notes.text[63], "line 63: \\x1b[31modd, 1.50 s");
    assert_string_equal(notes.text[SPW_NOTES_MAX], "and 936 more");
    spw_notes_free(&notes);
    assert_null(notes.text);
    spw_notes_free(NULL);
    spw_capture_summary_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(junk),
        cmocka_unit_test(text_that_is_no_capture),
        cmocka_unit_test(bad_rates),
        cmocka_unit_test(no_content),
        cmocka_unit_test(names_mislead),
        cmocka_unit_test(dump_that_looks_printable),
        cmocka_unit_test(damage_is_a_warning),
        cmocka_unit_test(many_notes),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
