/* Text made safe, decimal numbers, files written whole, digests. */
#include "base/decimal.h"
#include "support/test.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void check_safe(const char *in, size_t length, size_t room, const char *expected) {
    char out[64];
    assert_true(room <= sizeof out);
    assert_string_equal(spw_text_safe(out, room, in, length), expected);
}

static void safe_text(void **state) {
    (void)state;
    check_safe("servo 1", 7, 64, "servo 1");
    check_safe("\x1b[31m", 5, 64, "\\x1b[31m");
    check_safe("a\nb", 3, 64, "a\\x0ab");
    check_safe("\xe2\x80\xae"
               "x",
               4, 64, "\\xe2\\x80\\xaex"); /* right-to-left override */
    check_safe("\xc3\xa9", 2, 64, "\xc3\xa9");
    check_safe("\xc3", 1, 64, "\\xc3");          /* cut character */
    check_safe("\xc0\x80", 2, 64, "\\xc0\\x80"); /* overlong */
    check_safe("abcdefgh", 8, 8, "abcd...");
    check_safe("abcdefg", 7, 8, "abcdefg");
    check_safe("abc\x01", 4, 7, "abc...");
    check_safe("abc", 3, 2, "");
    check_safe("", 0, 1, "");
}

static void growable_text(void **state) {
    (void)state;
    spw_text text = {0};
    spw_text_puts(&text, "w ");
    spw_text_printf(&text, "%.3f us", 1500.25);
    spw_text_html(&text, "<a&\"'>\x07", 7);
    assert_string_equal(text.data, "w 1500.250 us&lt;a&amp;&quot;&#39;&gt;\\x07");
    assert_int_equal(spw_text_status(&text), SPW_OK);
    spw_text_free(&text);
}

static void check_cell(const char *in, const char *expected) {
    spw_text text = {0};
    spw_text_csv_cell(&text, in, strlen(in));
    spw_text_append(&text, "", 0);
    assert_string_equal(text.data, expected);
    spw_text_free(&text);
}

static void spreadsheet_cells(void **state) {
    (void)state;
    check_cell("ch0", "ch0");
    check_cell("a,b", "\"a,b\"");
    check_cell("say \"hi\"", "\"say \"\"hi\"\"\"");
    check_cell("=1+1", "\"'=1+1\"");
    check_cell("@x", "\"'@x\"");
    check_cell("-3", "\"'-3\"");
    check_cell("  =1+1", "\"'  =1+1\"");
    check_cell("\uff1d1+1", "\"'\uff1d1+1\"");
    check_cell("\n=1", "\"'\\x0a=1\"");
    check_cell("\t", "\"'\\x09\"");
    check_cell("\uff11", "\uff11"); /* a wide digit starts none */
    check_cell("1-1", "1-1");
    check_cell("", "");
}

static void check_word(const char *in, const char *expected) {
    spw_text text = {0};
    spw_text_shell_word(&text, in);
    assert_string_equal(text.data, expected);
    spw_text_free(&text);
}

static void shell_words(void **state) {
    (void)state;
    check_word("captures/wren-claw.vcd", "captures/wren-claw.vcd");
    check_word("", "''");
    check_word("two words; $(x) \\", "'two words; $(x) \\'");
    check_word("it's", "'it'\\''s'");
    check_word("\u00e5", "'\u00e5'");
    check_word("a\nb", "$'a\\x0a'$'b'");
    check_word("\xff'\\", "$'\\xff'$'\\'\\\\'");
}

static double value_of(const char *text, char mark) {
    spw_decimal number;
    size_t taken = spw_decimal_scan(text, strlen(text), mark, &number);
    assert_int_equal(taken, strlen(text));
    return spw_decimal_value(&number);
}

static void decimal_numbers(void **state) {
    (void)state;
    assert_true(value_of("0", '.') == 0.0);
    assert_true(value_of("-0.00125", '.') == -0.00125);
    assert_true(value_of("+1,5", ',') == 1.5);
    assert_true(value_of("007.25E-03", '.') == 0.00725);
    assert_true(value_of("1e22", '.') == 1e22);
    assert_true(value_of("1.7976931348623157e308", '.') == 1.7976931348623157e308);
    assert_true(value_of("4.9e-324", '.') == 4.9e-324);
    assert_true(value_of("1e999999999", '.') == INFINITY);
    assert_true(value_of("1e-999999999", '.') == 0.0);
    assert_true(value_of(".5", '.') == 0.5);
    assert_true(value_of("5.", '.') == 5.0);
    spw_decimal number;
    /* nanoseconds since 1970: all 19 digits kept */
    assert_int_equal(spw_decimal_scan("1795650000123456789", 19, '.', &number), 19);
    assert_true(number.digits == UINT64_C(1795650000123456789) && number.exponent == 0);
    assert_false(number.inexact);
    assert_int_equal(spw_decimal_scan("123456789012345678901", 21, '.', &number), 21);
    assert_true(number.inexact && number.exponent == 2);
    assert_int_equal(spw_decimal_scan("1.5e", 4, '.', &number), 3);
    assert_int_equal(spw_decimal_scan("1.5.2", 5, '.', &number), 3);
    assert_int_equal(spw_decimal_scan("-", 1, '.', &number), 0);
    assert_int_equal(spw_decimal_scan("nan", 3, '.', &number), 0);
}

static void numbers_of_a_person(void **state) {
    (void)state;
    double value = 7;
    /* past the exact powers of ten, on either side */
    assert_int_equal(spw_parse_number("123e-24", &value), SPW_OK);
    assert_true(value == 1.23e-22);
    assert_int_equal(spw_parse_number("123e23", &value), SPW_OK);
    assert_true(value == 1.23e25);
    assert_int_equal(spw_parse_number("1500.5", &value), SPW_OK);
    assert_true(value == 1500.5);
    const char *bad[] = {"", "nan", "inf", "1 ", " 1", "1,5", "0x10", "1e999", "12us"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_int_equal(spw_parse_number(bad[i], &value), SPW_ERR_FORMAT);
    assert_true(value == 1500.5);
}

static void read_back(const char *path, char *content, size_t size) {
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    size_t got = fread(content, 1, size - 1, file);
    content[got] = '\0';
    fclose(file);
}

static void whole_files(void **state) {
    (void)state;
    char folder[] = "/tmp/spw-base-XXXXXX";
    assert_non_null(mkdtemp(folder));
    char path[64], content[32];
    snprintf(path, sizeof path, "%s/out.txt", folder);
    spw_error error;
    spw_error_clear(&error);
    spw_output *output = NULL;
    assert_int_equal(spw_output_open(path, false, &output, &error), SPW_OK);
    assert_int_equal(spw_output_write(output, "first", 5, &error), SPW_OK);
    assert_int_not_equal(access(path, F_OK), 0); /* nothing there before the commit */
    assert_int_equal(spw_output_commit(output, &error), SPW_OK);
    read_back(path, content, sizeof content);
    assert_string_equal(content, "first");

    assert_int_equal(spw_output_open(path, false, &output, &error), SPW_ERR_ARGUMENT);
    assert_non_null(strstr(error.message, "--force"));
    assert_int_equal(spw_output_open(path, true, &output, &error), SPW_OK);
    assert_int_equal(spw_output_write(output, "second", 6, &error), SPW_OK);
    spw_output_discard(output);
    read_back(path, content, sizeof content);
    assert_string_equal(content, "first");

    assert_int_equal(spw_output_open(folder, true, &output, &error), SPW_ERR_ARGUMENT);
    char nowhere[64];
    snprintf(nowhere, sizeof nowhere, "%s/none/out.txt", folder);
    assert_int_equal(spw_output_open(nowhere, false, &output, &error), SPW_ERR_IO);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(rmdir(folder), 0); /* and so: no temporary file was left */
}

static void digest(void **state) {
    (void)state;
    char path[] = "/tmp/spw-digest-XXXXXX", hex[65];
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, "abc", 3), 3);
    close(fd);
    /* FIPS 180-4, example "abc" (published by NIST with the standard) */
    assert_int_equal(spw_digest_file(path, hex, NULL), SPW_OK);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    unlink(path);
    spw_error error;
    spw_error_clear(&error);
    assert_int_equal(spw_digest_file(path, hex, &error), SPW_ERR_IO);
    assert_string_equal(error.file, path);
    assert_int_equal(spw_digest_file("-", hex, &error), SPW_ERR_ARGUMENT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(safe_text),         cmocka_unit_test(growable_text),
        cmocka_unit_test(spreadsheet_cells), cmocka_unit_test(shell_words),
        cmocka_unit_test(decimal_numbers),   cmocka_unit_test(numbers_of_a_person),
        cmocka_unit_test(whole_files),       cmocka_unit_test(digest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
