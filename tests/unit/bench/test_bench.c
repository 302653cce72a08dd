/* The bench file: defaults, template, dialects of line ends. */
#include "support/test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void write_file(char path[32], const char *content, size_t length) {
    strcpy(path, "/tmp/spw-bench-XXXXXX");
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_int_equal(write(file, content, length), (ssize_t)length);
    close(file);
}

static spw_status read_text(const char *content, size_t length, spw_bench *bench,
                            spw_error *error) {
    char path[32];
    write_file(path, content, length);
    spw_status status = spw_bench_read(path, bench, error);
    unlink(path);
    return status;
}

static spw_bench good(const char *content) {
    spw_bench bench;
    spw_error error;
    if (read_text(content, strlen(content), &bench, &error) != SPW_OK)
        fail_msg("%llu: %s", (unsigned long long)error.line, error.message);
    return bench;
}

static void test_defaults(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    assert_true(bench.servo.expected_low_us == 500 && bench.servo.expected_high_us == 2500);
    assert_true(bench.servo.tolerance_us == 10 && bench.servo.neutral_us == 1500);
    assert_true(isnan(bench.servo.dead_band_us) && isnan(bench.servo.travel_deg));
    assert_int_equal(bench.servo.mode, SPW_SERVO_POSITIONAL);
    assert_false(bench.controller.adjustable);
    assert_true(isnan(bench.recorder.timebase_ppm));
    assert_true(bench.adapter.tick_us == 1 && bench.adapter.word_bits == 32);
    assert_true(bench.adapter.gap_us == 300 && bench.adapter.margin_us == 0);
    assert_int_equal(bench.adapter.neutral, SPW_REMAP_STRAIGHT);
    assert_true(bench.joint.reduction == 1 && isnan(bench.joint.needed_deg));
    assert_string_equal(bench.inspection.event, "");
}

static void test_empty_file_gives_defaults(void **state) {
    (void)state;
    spw_bench bench = good(""), standard = spw_bench_defaults();
    assert_memory_equal(&bench, &standard, sizeof bench);
}

static void test_template_reads_back(void **state) {
    (void)state;
    spw_text text = {0};
    assert_int_equal(spw_bench_template(&text), SPW_OK);
    spw_bench bench = good(text.data), standard = spw_bench_defaults();
    assert_memory_equal(&bench, &standard, sizeof bench);
    static const char *const keys[] = {"expected_low_us",
                                       "expected_high_us",
                                       "tolerance_us",
                                       "dead_band_us",
                                       "mode",
                                       "travel_deg",
                                       "neutral_us",
                                       "fastest_frame_hz",
                                       "stop_low_us",
                                       "stop_high_us",
                                       "rpm_per_us",
                                       "channel",
                                       "asked_low_us",
                                       "asked_neutral_us",
                                       "asked_high_us",
                                       "asked_frame_us",
                                       "adjustable",
                                       "timebase_ppm",
                                       "tick_us",
                                       "word_bits",
                                       "neutral",
                                       "margin_us",
                                       "reverse",
                                       "gap_us",
                                       "clock_ppm",
                                       "reduction",
                                       "needed_deg",
                                       "allowed_low_deg",
                                       "allowed_high_deg",
                                       "event",
                                       "robot",
                                       "port",
                                       "inspector",
                                       "date"};
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        assert_non_null(strstr(text.data, keys[i]));
    spw_text_free(&text);
}

static void test_every_kind_of_value(void **state) {
    (void)state;
    spw_bench bench = good("# Wren's lid arm\n"
                           "[servo]\nname = lid servo = old; still name\n"
                           "expected_low_us=+6.0e2\nmode = continuous ; turns\n"
                           "[adapter]\nword_bits = 64\nneutral = bent\nreverse = yes\n"
                           "tick_us = .25\n[inspection]\ndate = 2 May 09:30\nevent=\n");
    assert_string_equal(bench.servo.name, "lid servo = old; still name");
    assert_true(bench.servo.expected_low_us == 600);
    assert_int_equal(bench.servo.mode, SPW_SERVO_CONTINUOUS);
    assert_int_equal(bench.adapter.word_bits, 64);
    assert_int_equal(bench.adapter.neutral, SPW_REMAP_BENT);
    assert_true(bench.adapter.reverse && bench.adapter.tick_us == 0.25);
    assert_string_equal(bench.inspection.date, "2 May 09:30");
}

static void test_line_ends_mark_and_indent(void **state) {
    (void)state;
    spw_bench bench =
        good("\xEF\xBB\xBF[servo]\r\n\ttolerance_us: 5\r\n   neutral_us = 1520 ; new\r\n");
    assert_true(bench.servo.tolerance_us == 5 && bench.servo.neutral_us == 1520);
    bench = good("[servo]\rtolerance_us=6\r");
    assert_true(bench.servo.tolerance_us == 6);
}

static void test_section_may_come_twice(void **state) {
    (void)state;
    spw_bench bench =
        good("[servo]\ntolerance_us=5\n[joint]\nreduction=2\n[servo]\nneutral_us=1520\n");
    assert_true(bench.servo.tolerance_us == 5 && bench.servo.neutral_us == 1520);
}

static void test_failure_leaves_bench_alone(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults(), before;
    bench.servo.tolerance_us = 7;
    before = bench;
    spw_error error;
    static const char bad[] = "[servo]\ntolerance_us=5\nfoo=1\n";
    assert_int_equal(read_text(bad, sizeof bad - 1, &bench, &error), SPW_ERR_FORMAT);
    assert_memory_equal(&bench, &before, sizeof bench);
    assert_int_equal(read_text(bad, sizeof bad - 1, &bench, NULL), SPW_ERR_FORMAT);
}

static void test_files_that_cannot_be_read(void **state) {
    (void)state;
    spw_bench bench;
    spw_error error;
    assert_int_equal(spw_bench_read("/nowhere/wren.ini", &bench, &error), SPW_ERR_IO);
    assert_string_equal(error.file, "/nowhere/wren.ini");
    assert_int_equal(spw_bench_read("/tmp", &bench, &error), SPW_ERR_IO);
    assert_int_equal(spw_bench_read("/dev/zero", &bench, &error), SPW_ERR_LIMIT);
}

static void test_check_of_changed_values(void **state) {
    (void)state;
    spw_bench bench = spw_bench_defaults();
    assert_int_equal(spw_bench_check(&bench, NULL), SPW_OK);
    bench.servo.expected_low_us = 2500;
    assert_int_equal(spw_bench_check(&bench, NULL), SPW_ERR_FORMAT);
    bench = spw_bench_defaults();
    bench.adapter.word_bits = 24;
    assert_int_equal(spw_bench_check(&bench, NULL), SPW_ERR_FORMAT);
    static const double tick_us[] = {0.24, 4.1, NAN};
    for (size_t i = 0; i < 3; i++) {
        bench = spw_bench_defaults();
        bench.adapter.tick_us = tick_us[i];
        assert_int_equal(spw_bench_check(&bench, NULL), SPW_ERR_FORMAT);
    }
    bench = spw_bench_defaults();
    bench.adapter.margin_us = 1000;
    assert_int_equal(spw_bench_check(&bench, NULL), SPW_ERR_FORMAT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_defaults),
        cmocka_unit_test(test_empty_file_gives_defaults),
        cmocka_unit_test(test_template_reads_back),
        cmocka_unit_test(test_every_kind_of_value),
        cmocka_unit_test(test_line_ends_mark_and_indent),
        cmocka_unit_test(test_section_may_come_twice),
        cmocka_unit_test(test_failure_leaves_bench_alone),
        cmocka_unit_test(test_files_that_cannot_be_read),
        cmocka_unit_test(test_check_of_changed_values),
    };
    return cmocka_run_group_tests_name("bench", tests, NULL, NULL);
}
