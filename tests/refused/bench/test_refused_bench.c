/* Bench files to refuse, each with the line and the message to the letter. */
#include "support/test.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BYTES(text) text, sizeof(text) - 1

static const struct refused {
    const char *content;
    size_t length;
    spw_status status;
    uint64_t line;
    const char *message;
} refused[] = {
    {BYTES("[servo]\nname=a\n\nexpected_lo_us=1\n"), SPW_ERR_FORMAT, 4,
     "[servo] has no key \"expected_lo_us\"; its keys are name, expected_low_us, expected_high_us, "
     "tolerance_us, dead_band_us, mode, travel_deg, neutral_us, fastest_frame_hz, stop_low_us, "
     "stop_high_us, rpm_per_us"},
    {BYTES("[servo]\ntolerance_us=5\n[servos]\ntolerance_us=5\n"), SPW_ERR_FORMAT, 4,
     "there is no section [servos]; the sections are servo, controller, recorder, adapter, joint, "
     "inspection"},
    {BYTES("; Wren\ntolerance_us=5\n"), SPW_ERR_FORMAT, 2,
     "the key \"tolerance_us\" stands before any [section]; the sections are servo, controller, "
     "recorder, adapter, joint, inspection"},
    {BYTES("[joint]\nreduction = 2\nreduction = 3\n"), SPW_ERR_FORMAT, 3,
     "reduction was given in line 2 already; keep one"},
    {BYTES("[servo]\nneutral_us = 1500us\n"), SPW_ERR_FORMAT, 2,
     "neutral_us is \"1500us\" but should be a plain number from 1 to 100000"},
    {BYTES("[servo]\nneutral_us = 1,5\n"), SPW_ERR_FORMAT, 2,
     "neutral_us is \"1,5\" but should be a plain number from 1 to 100000"},
    {BYTES("[servo]\nneutral_us = nan\n"), SPW_ERR_FORMAT, 2,
     "neutral_us is \"nan\" but should be a plain number from 1 to 100000"},
    {BYTES("[servo]\nneutral_us = 1500 # middle\n"), SPW_ERR_FORMAT, 2,
     "neutral_us is \"1500 # middle\" but should be a plain number from 1 to 100000; a comment "
     "behind a value starts with ' ;'"},
    {BYTES("[adapter]\ntick_us = 5\n"), SPW_ERR_FORMAT, 2,
     "tick_us is \"5\" but should be a plain number from 0.25 to 4"},
    {BYTES("[adapter]\nword_bits = 24\n"), SPW_ERR_FORMAT, 2,
     "word_bits is \"24\" but should be one of 16|32|64"},
    {BYTES("[adapter]\nreverse = Yes\n"), SPW_ERR_FORMAT, 2,
     "reverse is \"Yes\" but should be one of no|yes"},
    {BYTES("[servo]\ndead_band_us =\n"), SPW_ERR_FORMAT, 2,
     "dead_band_us has no value; give one, or put ';' before the key"},
    {BYTES("[inspection]\ndate = a date of more than 31 bytes, which is long\n"), SPW_ERR_FORMAT, 2,
     "date is \"a date of more than 31 bytes, which is long\" but should be at most 31 bytes"},
    {BYTES("[servo]\njust words\n"), SPW_ERR_FORMAT, 2,
     "the line is no [section], no key = value and no comment after ';'"},
    {BYTES("[servo\ntolerance_us=5\n"), SPW_ERR_FORMAT, 1,
     "the line is no [section], no key = value and no comment after ';'"},
    {BYTES("just words\n[servo]\nfoo=1\n"), SPW_ERR_FORMAT, 1,
     "the line is no [section], no key = value and no comment after ';'"},
    {BYTES("[servo] of the claw\n"), SPW_ERR_FORMAT, 1,
     "something follows the section's ']'; put it on a line of its own"},
    {BYTES("[servo] tolerance_us=5\n"), SPW_ERR_FORMAT, 1,
     "something follows the section's ']'; put it on a line of its own"},
    {BYTES("[servo]\nname = a\0b\n"), SPW_ERR_FORMAT, 2,
     "a control character (byte value 0) stands in the line; a bench file is plain text (UTF-8)"},
    {BYTES("\xFF\xFE[\0s\0"), SPW_ERR_FORMAT, 1,
     "a control character (byte value 0) stands in the line; a bench file is plain text (UTF-8)"},
    {BYTES("[servo]\nname = \033[31mred\n"), SPW_ERR_FORMAT, 2,
     "a control character (byte value 27) stands in the line; a bench file is plain text (UTF-8)"},
    {BYTES("[servo]\n\xE2\x80\xAE"
           "foo = 1\n"),
     SPW_ERR_FORMAT, 2,
     "[servo] has no key \"\\xe2\\x80\\xaefoo\"; its keys are name, expected_low_us, "
     "expected_high_us, tolerance_us, dead_band_us, mode, travel_deg, neutral_us, "
     "fastest_frame_hz, stop_low_us, stop_high_us, rpm_per_us"},
    {BYTES("[servo]\nexpected_low_us=2000\nexpected_high_us=1000\n"), SPW_ERR_FORMAT, SPW_NOWHERE,
     "expected_low_us (2000) must be below expected_high_us (1000), both from 1 to 100000"},
    {BYTES("[servo]\nstop_low_us=1490\n"), SPW_ERR_FORMAT, SPW_NOWHERE,
     "stop_low_us and stop_high_us come together, the lower one first"},
    {BYTES("[controller]\nasked_low_us=1500\nasked_neutral_us=1500\n"), SPW_ERR_FORMAT, SPW_NOWHERE,
     "asked_low_us, asked_neutral_us and asked_high_us must rise in that order"},
    {BYTES("[joint]\nallowed_low_deg=-30\n"), SPW_ERR_FORMAT, SPW_NOWHERE,
     "allowed_low_deg and allowed_high_deg need travel_deg in [servo]: without it no angle can be "
     "told from a pulse"},
    {BYTES("[servo]\ntravel_deg=180\n[joint]\nallowed_low_deg=30\nallowed_high_deg=-30\n"),
     SPW_ERR_FORMAT, SPW_NOWHERE, "allowed_low_deg (30) must be below allowed_high_deg (-30)"},
    {BYTES("[servo]\ntravel_deg=180\nneutral_us=2600\n[joint]\nallowed_high_deg=30\n"),
     SPW_ERR_FORMAT, SPW_NOWHERE,
     "allowed angles count from neutral, but neutral_us (2600) is not between expected_low_us and "
     "expected_high_us"},
    {BYTES("[adapter]\nmargin_us=1000\n"), SPW_ERR_FORMAT, SPW_NOWHERE,
     "margin_us (1000) must leave room between the expected ends: less than 1000"},
};

static spw_status read_bytes(const char *content, size_t length, spw_error *error) {
    char path[] = "/tmp/spw-refused-XXXXXX";
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_int_equal(write(file, content, length), (ssize_t)length);
    close(file);
    spw_bench bench;
    spw_status status = spw_bench_read(path, &bench, error);
    if (strcmp(error->file, path) != 0)
        fail_msg("%.60s: not refused", content);
    unlink(path);
    return status;
}

static void test_refused(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        spw_error error;
        spw_status status = read_bytes(refused[i].content, refused[i].length, &error);
        assert_string_equal(error.message, refused[i].message);
        assert_int_equal(error.line, refused[i].line);
        assert_int_equal(status, refused[i].status);
    }
}

/* inih would go on with byte 200 of a line as if it were a line of its own. */
static void test_long_line(void **state) {
    (void)state;
    char content[400] = "[servo]\nname = ";
    size_t start = strlen(content);
    memset(content + start, 'x', 180);
    strcpy(content + start + 180, " tolerance_us=1\n");
    spw_error error;
    assert_int_equal(read_bytes(content, strlen(content), &error), SPW_ERR_LIMIT);
    assert_int_equal(error.line, 2);
    assert_string_equal(error.message,
                        "the line has 202 bytes and at most 192 are read; shorten it");
}

/* What no file can hold, because each key has its range, a program can still set. */
static void test_set_by_a_program(void **state) {
    (void)state;
    spw_error error;
    spw_bench bench = spw_bench_defaults();
    bench.servo.tolerance_us = 0;
    assert_int_equal(spw_bench_check(&bench, &error), SPW_ERR_FORMAT);
    assert_string_equal(error.message, "tolerance_us must be above 0");
    bench = spw_bench_defaults();
    bench.joint.reduction = 0;
    assert_int_equal(spw_bench_check(&bench, &error), SPW_ERR_FORMAT);
    assert_string_equal(error.message, "reduction must be above 0");
    bench = spw_bench_defaults();
    assert_int_equal(spw_bench_check(&bench, &error), SPW_OK);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_long_line),
        cmocka_unit_test(test_set_by_a_program),
    };
    return cmocka_run_group_tests_name("refused bench files", tests, NULL, NULL);
}
