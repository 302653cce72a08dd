/* Pictures: axes, envelopes, text. */
#include "support/test.h"

#include "report/draw/draw.h"
#include "report/draw/pixel.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void pixels_are_short_and_plain(void **state) {
    (void)state;
    static const struct {
        double px;
        const char *text;
    } cases[] = {{0, "0"},        {1, "1"},     {0.04, "0"},   {0.05, ".1"},       {-0.3, "-.3"},
                 {12.34, "12.3"}, {100, "100"}, {-7.96, "-8"}, {1e300, "1000000"}, {NAN, "0"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        spw_text text = {0};
        spw_pixel(&text, cases[i].px);
        assert_string_equal(text.data, cases[i].text);
        spw_text_free(&text);
    }
}

/* Steps are 1, 2 or 5 times a power of ten, and ticks keep their distance. */
static void axes_have_sensible_ticks(void **state) {
    (void)state;
    srand(7);
    for (int i = 0; i < 2000; i++) {
        double from = (rand() % 2000 - 1000) * pow(10, rand() % 9 - 4),
               to = from + (1 + rand() % 1000) * pow(10, rand() % 7 - 4);
        spw_axis axis = spw_axis_make(from, to, 40, 340, 50, false);
        double mantissa = axis.step / pow(10, floor(log10(axis.step * 1.000001)));
        assert_true(fabs(mantissa - 1) < 1e-6 || fabs(mantissa - 2) < 1e-6 ||
                    fabs(mantissa - 5) < 1e-6);
        assert_true(axis.step / (axis.to - axis.from) * 300 > 50 * 0.999999);
        assert_true(axis.step / (axis.to - axis.from) * 300 < 50 * 2.5 * 1.000001);
        /* the decimals tell neighbouring ticks apart */
        assert_true(axis.step * pow(10, axis.decimals) > 0.999999);
    }
}

static void strange_ranges_still_make_an_axis(void **state) {
    (void)state;
    static const double range[][2] = {{5, 5},         {NAN, 3},        {-INFINITY, INFINITY},
                                      {9, 2},         {0, 0},          {20000, 20000},
                                      {1e300, 1e300}, {-1e308, 1e308}, {0, 1e16}};
    for (size_t i = 0; i < sizeof range / sizeof range[0]; i++) {
        spw_axis axis = spw_axis_make(range[i][0], range[i][1], 0, 100, 30, false);
        assert_true(axis.to > axis.from && axis.step > 0);
        assert_true(isfinite(spw_axis_px(&axis, axis.from)));
    }
    spw_axis axis = spw_axis_make(0, 10, 100, 0, 30, false); /* downwards */
    assert_true(fabs(spw_axis_px(&axis, 2.5) - 75) < 1e-9);
    assert_true(fabs(spw_axis_px(&axis, 99) - 0) < 1e-9); /* kept within */
}

static char *envelope_of(size_t n, size_t outlier) {
    spw_text out = {0};
    spw_draw draw = spw_draw_begin(&out, "e", "wide", 720, 200, "t", "d");
    spw_axis x = spw_axis_make(0, 3600, 50, 710, 50, false),
             y = spw_axis_make(900, 2600, 180, 20, 30, false);
    spw_envelope *envelope;
    assert_int_equal(spw_envelope_new(&x, &y, &envelope), SPW_OK);
    for (size_t i = 0; i < n; i++)
        spw_envelope_add(envelope, 3600.0 * (double)i / (double)n, i == outlier ? 2550 : 1000);
    spw_envelope_add(envelope, NAN, 1);
    spw_envelope_add(envelope, 5, NAN);
    spw_envelope_draw(envelope, &draw, "dots");
    spw_draw_end(&draw);
    spw_envelope_free(envelope);
    assert_int_equal(spw_text_status(&out), SPW_OK);
    return out.data;
}

/* However long the series is, it takes a column a px, and one value stands out. */
static void envelopes_lose_no_outlier(void **state) {
    (void)state;
    char *with = envelope_of(180000, 90000), *without = envelope_of(180000, SIZE_MAX);
    assert_true(strlen(with) < 16 * 1024);
    /* 2550 lies (2600 - 2550) / 1700 of 160 px below 20: 24.7 */
    assert_non_null(strstr(with, " 24.7V"));
    assert_null(strstr(without, " 24.7V"));
    free(with);
    free(without);
}

static void text_stays_text(void **state) {
    (void)state;
    spw_text out = {0};
    spw_draw draw = spw_draw_begin(&out, "x", "half", 100, 50, "<b>&\"", "\x01</desc>");
    spw_draw_text(&draw, "num", 1, 2, SPW_ANCHOR_END, "</text><script>");
    spw_draw_end(&draw);
    assert_non_null(strstr(out.data, "<title>&lt;b&gt;&amp;&quot;</title>"));
    assert_non_null(strstr(out.data, "<desc>\\x01&lt;/desc&gt;</desc>"));
    assert_non_null(strstr(out.data, ">&lt;/text&gt;&lt;script&gt;</text>"));
    assert_null(strstr(out.data, "<script"));
    spw_text_free(&out);
}

static void paths_break_where_nothing_is_known(void **state) {
    (void)state;
    spw_text out = {0};
    spw_draw draw = {&out, 10, 10};
    spw_path path = spw_path_begin(&draw, "line");
    spw_path_line(&path, 1, 1);
    spw_path_line(&path, 1, 2);
    spw_path_line(&path, 3, 2);
    spw_path_line(&path, NAN, 2);
    spw_path_line(&path, 5, 6);
    spw_path_line(&path, 7, 8);
    spw_path_end(&path);
    assert_string_equal(out.data, "<path class=\"line\" d=\"M1 1V2H3M5 6L7 8\"/>\n");
    spw_text_free(&out);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pixels_are_short_and_plain),
        cmocka_unit_test(axes_have_sensible_ticks),
        cmocka_unit_test(strange_ranges_still_make_an_axis),
        cmocka_unit_test(envelopes_lose_no_outlier),
        cmocka_unit_test(text_stays_text),
        cmocka_unit_test(paths_break_where_nothing_is_known),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
