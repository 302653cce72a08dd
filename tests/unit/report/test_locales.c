/* A program that uses the library may have set a locale: decimal commas (German), a
 * decimal mark of two bytes and other digits (Persian), letters that change case in
 * another way (Turkish). Every answer has the same bytes, and every file is read alike. */
#include "support/scratch.h"
#include "support/small_captures.h"
#include "support/test.h"

#include "spanwright/spanwright.h"

#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char *const locales[] = {"de_DE", "tr_TR", "fa_IR"};
#define LOCALES (sizeof locales / sizeof locales[0])

static struct {
    small_capture small[SMALL_N];
    char bench[160], bad_bench[160], plan[160], pulses[160], folder[160];
    char *in_c; /* everything, as the C locale has it */
    char command[400];
} bed;

static void add_error(spw_text *all, spw_status status, const spw_error *error) {
    assert_int_not_equal(status, SPW_OK);
    spw_text_printf(all, "%s: %s\n", spw_status_text(status), error->message);
}

static void add_file(spw_text *all, const char *path) {
    char part[4096];
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    for (size_t n; (n = fread(part, 1, sizeof part, file)) > 0;)
        spw_text_append(all, part, n);
    assert_int_equal(fclose(file), 0);
}

static void add_pulses(spw_text *all, const spw_capture *capture) {
    spw_output *output;
    assert_int_equal(spw_output_open(bed.pulses, true, &output, NULL), SPW_OK);
    assert_int_equal(spw_report_pulses_csv(&capture, 1, output, NULL), SPW_OK);
    assert_int_equal(spw_output_commit(output, NULL), SPW_OK);
    add_file(all, bed.pulses);
}

static spw_capture *measure(size_t i) {
    spw_measure_options options = spw_measure_defaults();
    spw_capture *capture = NULL;
    spw_error error;
    options.read = bed.small[i].read;
    if (spw_measure(bed.small[i].path, &options, &capture, &error) != SPW_OK)
        fail_msg("%s: %s", bed.small[i].path, error.message);
    return capture;
}

static void add_captures(spw_text *all, const spw_bench *bench) {
    const spw_text_style style = {.width = 80};
    for (size_t i = 0; i < SMALL_N; i++) {
        spw_capture *capture = measure(i);
        const spw_capture *captures[1] = {capture};
        assert_int_equal(spw_report_measure_json(captures, 1, NULL, 1500, all), SPW_OK);
        assert_int_equal(spw_report_measure_text(captures, 1, NULL, bench, &style, all), SPW_OK);
        add_pulses(all, capture);
        spw_capture_free(capture);
    }
}

static void add_plan(spw_text *all, const spw_bench *bench) {
    const spw_text_style style = {.width = 80};
    spw_capture *capture = measure(SMALL_VCD);
    const spw_channel *channel = &capture->channel[0];
    spw_plan_source source = {capture, channel, NULL};
    spw_measure_options options = spw_measure_defaults();
    spw_span span;
    spw_plan *plan;
    spw_planned planned = spw_planned_none();
    spw_verification *v;
    spw_error error;
    assert_int_equal(spw_span_build(&channel, 1, 1500, &span), SPW_OK);
    assert_int_equal(spw_plan_make(&span, &channel->period_us, bench, &plan, &error), SPW_OK);
    assert_int_equal(spw_report_plan_json(plan, &source, 1, all), SPW_OK);
    assert_int_equal(spw_report_plan_text(plan, &source, 1, &style, all), SPW_OK);
    assert_int_equal(spw_plan_emit_c(plan, all), SPW_OK);
    if (spw_planned_read(bed.plan, &planned, &error) != SPW_OK)
        fail_msg("%s", error.message);
    assert_true(planned.known);
    assert_int_equal(spw_verify(channel, &capture->channel[1], true, &planned, &v, &error), SPW_OK);
    assert_int_equal(spw_report_verify_json(v, all), SPW_OK);
    assert_int_equal(spw_report_verify_text(v, "claw", "servo", &style, all), SPW_OK);
    const spw_sheet_facts facts = {.plan = plan,
                                   .sources = &source,
                                   .n = 1,
                                   .bench = bench,
                                   .options = &options,
                                   .plan_file = bed.plan};
    if (spw_report_sheet(&facts, all, &error) != SPW_OK)
        fail_msg("%s", error.message);
    spw_verification_free(v);
    spw_plan_free(plan);
    spw_capture_free(capture);
}

/* Everything the library says about the small captures. */
static char *everything(void) {
    spw_text all = {0};
    spw_bench bench = spw_bench_defaults(), refused = spw_bench_defaults();
    spw_error error;
    spw_error_clear(&error);
    if (spw_bench_read(bed.bench, &bench, &error) != SPW_OK)
        fail_msg("%s", error.message);
    add_error(&all, spw_bench_read(bed.bad_bench, &refused, &error), &error);
    assert_int_equal(spw_bench_template(&all), SPW_OK);
    (void)spw_error_set(&error, SPW_ERR_FORMAT, "a half is %.2f", 0.5);
    add_error(&all, SPW_ERR_FORMAT, &error);
    add_captures(&all, &bench);
    add_plan(&all, &bench);
    assert_int_equal(spw_text_status(&all), SPW_OK);
    return all.data;
}

static void same_bytes(void **state) {
    (void)state;
    size_t tried = 0;
    for (size_t i = 0; i < LOCALES; i++) {
        char name[32];
        (void)snprintf(name, sizeof name, "%s.UTF-8", locales[i]);
        if (setlocale(LC_ALL, name) == NULL)
            continue;
        tried++;
        if (i == 0) { /* the locale is in force, or this test would show nothing */
            char half[8];
            (void)snprintf(half, sizeof half, "%.1f", 0.5);
            assert_string_equal(half, "0,5");
        }
        char *seen = everything();
        (void)setlocale(LC_ALL, "C");
        size_t at = 0;
        while (seen[at] != '\0' && seen[at] == bed.in_c[at])
            at++;
        if (seen[at] != bed.in_c[at])
            fail_msg("%s, byte %zu: %.60s", name, at, seen + (at < 20 ? 0 : at - 20));
        free(seen);
    }
    print_message("%zu bytes alike under %zu locales\n", strlen(bed.in_c), tried);
    if (tried == 0)
        skip();
}

/* Made in the scratch folder: no system-wide installation, no root. */
static void make_locales(void) {
    (void)setenv("LOCPATH", bed.folder, 1);
    for (size_t i = 0; i < LOCALES; i++) {
        (void)snprintf(bed.command, sizeof bed.command,
                       "mkdir -p %s && localedef -i %s -f UTF-8 %s/%s.UTF-8 >/dev/null 2>&1",
                       bed.folder, locales[i], bed.folder, locales[i]);
        if (system(bed.command) != 0)
            print_message("no locale %s can be made here\n", locales[i]);
    }
}

static int set_up(void **state) {
    static const char bench[] = "[servo]\nname = claw servo\nexpected_low_us = 500.5\n"
                                "expected_high_us = 2499.5\n[controller]\nchannel = claw\n"
                                "[joint]\nreduction = 1.5\nneeded_deg = 80\n"
                                "[inspection]\nevent = \xc4\xb0lk yar\xc4\xb1\xc5\x9f\n";
    static const char bad[] = "[adapter]\ntick_us = 0,5\n";
    if (scratch_make(state) != 0)
        return -1;
    small_captures_write(bed.small);
    (void)snprintf(bed.bench, sizeof bed.bench, "%s",
                   scratch_file("claw.ini", bench, sizeof bench - 1));
    (void)snprintf(bed.bad_bench, sizeof bed.bad_bench, "%s",
                   scratch_file("bad.ini", bad, sizeof bad - 1));
    (void)snprintf(bed.pulses, sizeof bed.pulses, "%s", scratch_path("pulses.csv"));
    (void)snprintf(bed.folder, sizeof bed.folder, "%s", scratch_path("locales"));
    spw_span span;
    spw_plan *plan;
    spw_bench standard = spw_bench_defaults();
    spw_plan_source none = {0};
    spw_text text = {0};
    assert_int_equal(spw_span_given(1000, NAN, 2000, &span), SPW_OK);
    assert_int_equal(spw_plan_make(&span, NULL, &standard, &plan, NULL), SPW_OK);
    assert_int_equal(spw_report_plan_json(plan, &none, 0, &text), SPW_OK);
    (void)snprintf(bed.plan, sizeof bed.plan, "%s",
                   scratch_file("plan.json", text.data, text.length));
    spw_text_free(&text);
    spw_plan_free(plan);
    make_locales();
    bed.in_c = everything();
    return 0;
}

static int tear_down(void **state) {
    free(bed.in_c);
    (void)snprintf(bed.command, sizeof bed.command, "rm -rf %s", bed.folder);
    return system(bed.command) == 0 ? scratch_remove(state) : -1;
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(same_bytes)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
