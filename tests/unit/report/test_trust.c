/* From when to when a recording can be trusted, in words and on the time axis. */
#include "report/sheet/sheet.h"
#include "report/words/words.h"
#include "support/test.h"

#include <math.h>
#include <string.h>

static spw_capture recording(double from_s, double to_s) {
    spw_capture capture = {.from_s = from_s, .to_s = to_s, .clock_correction = 1};
    capture.summary.duration_s = 60;
    return capture;
}

static void assert_words(spw_doubt *doubt, size_t n, const spw_capture *capture,
                         const char *words) {
    spw_channel channel = {.kind = SPW_KIND_ANALOGUE, .doubt = doubt, .doubts = n};
    spw_text text = {0};
    spw_trust_words(capture, &channel, &text);
    assert_int_equal(spw_text_status(&text), SPW_OK);
    assert_string_equal(text.data, words);
    spw_text_free(&text);
}

static void test_words(void **state) {
    (void)state;
    spw_capture whole = recording(NAN, NAN), part = recording(10, 40);
    assert_words(NULL, 0, &whole, "all of it, 0 to 60 s");
    assert_words(NULL, 0, &part, "all of it, 10 to 40 s");
    spw_doubt late[] = {{SPW_DOUBT_CLIPPING, 31.98, 60, NAN}};
    assert_words(late, 1, &whole,
                 "from 0 to 31.98 s; in doubt: from 31.98 to 60 s (the recording clips)");
    assert_words(late, 1, &part,
                 "from 10 to 31.98 s; in doubt: from 31.98 to 60 s (the recording clips)");
    spw_doubt all[] = {{SPW_DOUBT_LOSSY, 0, 60, 1}};
    assert_words(all, 1, &whole,
                 "no part of it; in doubt: all of it (the recording went through a lossy codec: up "
                 "to 1.0 us)");
    spw_doubt two[] = {{SPW_DOUBT_CLIPPING, 10, 20, NAN}, {SPW_DOUBT_CLIPPING, 15, 30, NAN}};
    assert_words(two, 2, &whole,
                 "from 0 to 10 s, from 30 to 60 s; in doubt: from 10 to 20 s (the recording "
                 "clips), from 15 to 30 s (the recording clips)");
    spw_doubt many[7];
    for (int i = 0; i < 7; i++)
        many[i] = (spw_doubt){SPW_DOUBT_CLIPPING, 1 + 5 * i, 2 + 5 * i, NAN};
    spw_channel channel = {.kind = SPW_KIND_ANALOGUE, .doubt = many, .doubts = 7};
    spw_text text = {0};
    spw_trust_words(&whole, &channel, &text);
    assert_non_null(strstr(text.data, "from 12 to 16 s and 4 more; in doubt: "));
    assert_non_null(strstr(text.data, "(the recording clips) and 3 more"));
    spw_text_free(&text);
}

static size_t count(const char *text, const char *what) {
    size_t n = 0;
    for (const char *at = strstr(text, what); at != NULL; at = strstr(at + 1, what))
        n++;
    return n;
}

/* Marks do not overlap, and the shortest one can be seen. */
static void test_marks(void **state) {
    (void)state;
    spw_text out = {0};
    spw_draw draw = spw_draw_begin(&out, "t", "wide", 720, 200, "t", "d");
    spw_axis x = spw_axis_make(0, 60, 60, 660, 50, false); /* 10 px a second */
    spw_doubt doubt[] = {{SPW_DOUBT_CLIPPING, 10, 20, NAN},
                         {SPW_DOUBT_SATURATION, 12, 18, NAN},
                         {SPW_DOUBT_CLIPPING, 15, 30, NAN},
                         {SPW_DOUBT_CLIPPING, 50, 50, NAN}};
    spw_channel channel = {.doubt = doubt, .doubts = 4};
    spw_sheet_draw_doubts(&draw, &x, 30, 150, &channel);
    spw_draw_end(&draw);
    assert_int_equal(count(out.data, "class=\"doubtbar\""), 3);
    assert_int_equal(count(out.data, "class=\"doubt\""), 3);
    assert_non_null(strstr(out.data, "class=\"doubtbar\" x=\"160\" y=\"145\" width=\"100\""));
    assert_non_null(strstr(out.data, "class=\"doubtbar\" x=\"260\" y=\"145\" width=\"100\""));
    assert_non_null(strstr(out.data, "class=\"doubtbar\" x=\"560\" y=\"145\" width=\"2\""));
    spw_text_free(&out);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_words), cmocka_unit_test(test_marks)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
