/* Rounding, the ruler and wrapped rows. */
#include "report/fields/fields.h"
#include "report/text/ruler.h"
#include "report/text/text.h"
#include "support/test.h"

#include <math.h>
#include <string.h>

#define PM " \xc2\xb1 "

static void rounds_to_what_is_known(void **state) {
    (void)state;
    /* GUM 7.2.6: U to two digits, the value to the same place */
    assert_string_equal(spw_figure_pm(1500.0234, 0.153, "us").text, "1500.02" PM "0.15 us");
    assert_string_equal(spw_figure_pm(20000.13, 1.96, "us").text, "20000.1" PM "2.0 us");
    assert_string_equal(spw_figure_pm(1500.0, 0.0996, "us").text, "1500.00" PM "0.10 us");
    assert_string_equal(spw_figure_pm(1519.0, 123.0, "us").text, "1520" PM "120 us");
    assert_string_equal(spw_figure_pm(-0.004, 0.25, "us").text, "0.00" PM "0.25 us");
    assert_string_equal(spw_figure_pm(1500.0, 1e-9, "us").text, "1500.000000" PM "0.000001 us");
    assert_string_equal(spw_figure_pm(1500.5, NAN, "us").text, "1500.50 us");
    assert_string_equal(spw_figure_pm(1500.5, 0.0, "us").text, "1500.50 us");
    assert_string_equal(spw_figure_pm(NAN, 0.1, "us").text, "not known");
    assert_string_equal(spw_figure_pm(7.0, 9.96, "").text, "7" PM "10");
}

static void plain_figures(void **state) {
    (void)state;
    assert_string_equal(spw_figure_fixed(-0.0004, 3).text, "0.000");
    assert_string_equal(spw_figure_fixed(-1.5, 1).text, "-1.5");
    assert_string_equal(spw_figure_fixed(1234567.123456789, 9).text, "1234567.123456789");
    assert_string_equal(spw_figure_fixed(INFINITY, 3).text, "");
    assert_string_equal(spw_figure_fixed(1e30, 4).text, "1000000000000000019884624838656");
    assert_string_equal(spw_figure_digits(0.041666, 3, "us").text, "0.0417 us");
    assert_string_equal(spw_figure_digits(20000.0, 3, "us").text, "20000 us");
    assert_string_equal(spw_figure_digits(19999.6, 5, "us").text, "20000 us");
    assert_string_equal(spw_figure_digits(0.0, 3, "us").text, "0 us");
    assert_string_equal(spw_figure_unit(NAN, 2, "us").text, "not known");
}

static void check_ruler(const spw_ruler_row *rows, size_t n, unsigned width, const char *expected) {
    spw_text out = {0};
    spw_ruler_draw(&out, rows, n, width);
    spw_text_append(&out, "", 0);
    assert_string_equal(out.data, expected);
    spw_text_free(&out);
}

static void ruler_lines_up(void **state) {
    (void)state;
    spw_ruler_row rows[] = {
        {"servo", 500, 2500, NAN, '=', "expected"},
        {"sent", 1000, 2000, 1500, '-', "50.0 %"},
        {"adapted", NAN, NAN, NAN, '-', ""},
    };
    check_ruler(rows, 3, 71,
                "  us           500      1000      1500      2000      2500\n"
                "                +---------+---------+---------+---------+\n"
                "  servo         [=======================================] expected\n"
                "  sent                    [---------n---------]           50.0 %\n");
}

static void ruler_reaches_beyond(void **state) {
    (void)state;
    spw_ruler_row rows[] = {
        {"servo", 1000, 2000, NAN, '=', ""},
        {"sent", 900, 2100, NAN, '-', ""},
        {"still", 1500, 1500, 1500, '-', ""},
    };
    check_ruler(rows, 3, 60,
                "  us            1000         1500        2000\n"
                "                --+------------+-----------+--\n"
                "  servo           [========================]\n"
                "  sent          [----------------------------]\n"
                "  still                        |\n");
}

/* Whatever the ends, no line is wider than the page and every bar is inside the axis. */
static void ruler_stays_on_the_page(void **state) {
    (void)state;
    static const double ends[] = {-1e9, 0.0, 0.2, 470.0, 500.3, 1e3, 2500.0, 99999.0, 1e12};
    for (size_t a = 0; a < sizeof ends / sizeof ends[0]; a++)
        for (size_t b = a; b < sizeof ends / sizeof ends[0]; b++)
            for (unsigned width = 60; width <= 240; width += 20) {
                spw_ruler_row rows[] = {{"servo", 500, 2500, NAN, '=', "expected and more"},
                                        {"sent", ends[a], ends[b], 1500, '-', "1 %"}};
                spw_text out = {0};
                spw_ruler_draw(&out, rows, 2, width);
                assert_non_null(out.data);
                for (char *line = strtok(out.data, "\n"); line != NULL; line = strtok(NULL, "\n"))
                    assert_true(strlen(line) <= (width > 230 ? 230 : width) + 1);
                spw_text_free(&out);
            }
}

static void rows_wrap_under_themselves(void **state) {
    (void)state;
    spw_text out = {0};
    spw_page page = {.out = &out, .width = 40};
    spw_page_row(&page, "Frame", "%s and more words that go on",
                 spw_figure_pm(20000.1, 2.0, "us").text);
    spw_page_step(&page, 1, "a step of which the text is longer than a line");
    spw_page_warn(&page, "%s", "0123456789012345678901234567890123456789xyz");
    assert_string_equal(out.data, "  Frame         20000.1" PM "2.0 us and\n"
                                  "                more words that go on\n"
                                  "  1. a step of which the text is longer\n"
                                  "     than a line\n"
                                  "  ! 012345678901234567890123456789012345\n"
                                  "    6789xyz\n");
    spw_text_free(&out);
}

static void numbers_keep_their_unit(void **state) {
    (void)state;
    spw_text out = {0};
    spw_page page = {.out = &out, .width = 40};
    spw_page_row(&page, "Low end", "is about here 1000.02" PM "0.15 us, wide");
    assert_string_equal(out.data, "  Low end       is about here\n"
                                  "                1000.02" PM "0.15 us, wide\n");
    spw_text_free(&out);
}

static void colour_only_when_asked(void **state) {
    (void)state;
    spw_text out = {0};
    spw_text_style style = {.colour = true};
    spw_page page = spw_page_start(&out, &style);
    assert_int_equal(page.width, 80);
    spw_page_row_toned(&page, SPW_TONE_BAD, "x", "y");
    assert_string_equal(out.data, "  x             \x1b[31my\x1b[0m\n");
    spw_text_free(&out);
    page = spw_page_start(&out, NULL);
    spw_page_row_toned(&page, SPW_TONE_BAD, "x", "y");
    assert_string_equal(out.data, "  x             y\n");
    spw_text_free(&out);
}

static void names_are_safe_and_short(void **state) {
    (void)state;
    assert_string_equal(spw_shown_name("claw\x1b[2J", 30).text, "claw\\x1b[2J");
    assert_string_equal(spw_shown_name("abcdefghij", 8).text, "abcde...");
    assert_string_equal(spw_shown_name("abcdefgh", 8).text, "abcdefgh");
    assert_string_equal(spw_shown_name("\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9", 4).text,
                        "\xc3\xa9...");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rounds_to_what_is_known),  cmocka_unit_test(plain_figures),
        cmocka_unit_test(ruler_lines_up),           cmocka_unit_test(ruler_reaches_beyond),
        cmocka_unit_test(ruler_stays_on_the_page),  cmocka_unit_test(rows_wrap_under_themselves),
        cmocka_unit_test(numbers_keep_their_unit),  cmocka_unit_test(colour_only_when_asked),
        cmocka_unit_test(names_are_safe_and_short),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
