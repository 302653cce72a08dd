/* The inspection sheet of facts made by hand: little known, hostile, read back from files. */
#include "support/test.h"

#include "report/json/json.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct fixture {
    spw_channel channel;
    spw_capture capture;
    spw_plan plan;
    spw_bench bench;
    spw_measure_options options;
    spw_plan_source source;
    spw_sheet_facts facts;
} fixture;

static spw_span_point no_point(void) {
    return (spw_span_point){.us = NAN,
                            .u = NAN,
                            .dof = NAN,
                            .U95 = NAN,
                            .u_own = NAN,
                            .u_shared = NAN,
                            .u_sampling = NAN};
}

/* A channel of which nothing is known: no pulse, no hold, no span. */
static void fill_empty(fixture *f, char *name) {
    *f = (fixture){.bench = spw_bench_defaults(), .options = spw_measure_defaults()};
    f->channel = (spw_channel){.name = name,
                               .resolution_us = NAN,
                               .sample_rate_hz = NAN,
                               .polarity = SPW_POLARITY_UNDECIDED,
                               .period_us = spw_summary_none(),
                               .width_us = spw_summary_none(),
                               .frame_rate_hz = NAN,
                               .period_jitter_pp_us = NAN,
                               .cycle_to_cycle_rms_us = NAN,
                               .step_us = NAN};
    f->capture = (spw_capture){.file = name,
                               .timebase_ppm = 50,
                               .clock_correction = 1,
                               .channel = &f->channel,
                               .channels = 1};
    f->plan = (spw_plan){.summary = name,
                         .servo = f->bench.servo,
                         .decision = SPW_DECISION_MEASURE_AGAIN,
                         .range_covered_percent = NAN};
    f->plan.span =
        (spw_span){.low = no_point(), .high = no_point(), .neutral = no_point(), .step_us = NAN};
    (void)snprintf(f->plan.span.reason, sizeof f->plan.span.reason, "there is no hold");
    f->plan.before.joint.travel = f->plan.after.joint.travel = NAN;
    f->source = (spw_plan_source){&f->capture, &f->channel, NULL};
    f->facts = (spw_sheet_facts){.plan = &f->plan,
                                 .sources = &f->source,
                                 .n = 1,
                                 .bench = &f->bench,
                                 .options = &f->options};
}

static char *page_of(fixture *f) {
    spw_text out = {0};
    spw_error error;
    spw_error_clear(&error);
    assert_int_equal(spw_report_sheet(&f->facts, &out, &error), SPW_OK);
    return out.data;
}

/* No figure is invented, none is shown as nan or inf. */
static void what_is_not_known_is_said(void **state) {
    (void)state;
    fixture f;
    char name[] = "servo";
    fill_empty(&f, name);
    char *page = page_of(&f);
    assert_non_null(strstr(page, "there is no hold"));
    assert_non_null(strstr(page, "no hold was seen"));
    assert_non_null(strstr(page, "No whole pulse was seen."));
    assert_non_null(strstr(page, "this capture cannot tell"));
    const char *text = strstr(page, "</style>"); /* colour names may hold anything */
    for (const char *c = text; *c != '\0'; c++)
        assert_false(strncmp(c, ">nan", 4) == 0 || strncmp(c, " nan", 4) == 0 ||
                     strncmp(c, ">inf<", 5) == 0 || strncmp(c, "\"nan", 4) == 0 ||
                     strncmp(c, "\"inf\"", 5) == 0);
    free(page);
}

static void hostile_text_stays_text(void **state) {
    (void)state;
    static const char *const nasty[] = {"<script>x</script>",
                                        "'\"><img src=x>",
                                        "\xe2\x80\xae zz",
                                        "\x1b[2J\x07",
                                        "\xff\xfe",
                                        "&lt;",
                                        "]]>",
                                        "<!--",
                                        "%s%n"};
    for (size_t i = 0; i < sizeof nasty / sizeof nasty[0]; i++) {
        fixture f;
        char name[64];
        (void)snprintf(name, sizeof name, "%s", nasty[i]);
        fill_empty(&f, name);
        (void)snprintf(f.bench.inspection.robot, sizeof f.bench.inspection.robot, "%s", nasty[i]);
        (void)snprintf(f.bench.servo.name, sizeof f.bench.servo.name, "%s", nasty[i]);
        f.facts.command = f.facts.date = nasty[i];
        char *page = page_of(&f);
        assert_null(strstr(page, "<script"));
        assert_null(strstr(page, "<img"));
        assert_null(strstr(page, "<!--"));
        assert_null(strchr(page, '\x1b'));
        assert_null(strchr(page, '\xff'));
        assert_null(strstr(page, "\xe2\x80\xae"));
        free(page);
    }
}

/* A long name is cut, and said to be. */
static void long_names_are_cut(void **state) {
    (void)state;
    fixture f;
    char *name = malloc(10001);
    assert_non_null(name);
    memset(name, 'x', 10000);
    name[10000] = '\0';
    fill_empty(&f, name);
    f.plan.summary = (char *)"cannot tell";
    char *page = page_of(&f);
    assert_non_null(strstr(page, "...</bdi> (cut; 10000 bytes)"));
    assert_true(strlen(page) < 40000);
    free(page);
    free(name);
}

/* --- files read back --- */

static const char *in_file(char path[32], const char *content) {
    (void)snprintf(path, 32, "/tmp/spw-sheet-XXXXXX");
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, content, strlen(content)), (int)strlen(content));
    (void)close(fd);
    return path;
}

static void earlier_files_name_what_is_wrong(void **state) {
    (void)state;
    static const struct {
        const char *content, *part;
    } cases[] = {
        {"", "this is no JSON"},
        {"[1, 2", "this is no JSON"},
        {"{}", "\"schema\""},
        {"{\"schema\": 4}", "\"schema\""},
        {"{\"schema\": \"spanwright.measure/2\"}", "\"schema\" should be spanwright.measure/1"},
        {"{\"schema\": \"spanwright.measure/1\", \"captures\": 5}", "\"captures\""},
        {"{\"schema\": \"spanwright.measure/1\", \"captures\": []}", "no channel servo"},
        {"{\"schema\": \"spanwright.measure/1\", \"captures\": [{\"channels\": [{\"name\": "
         "\"servo\", "
         "\"signal\": \"control_pulses\"}]}]}",
         "\"period_us\" should be an object"},
        {"{\"schema\": \"spanwright.measure/1\", \"captures\": [{\"file\": \"a\", \"channels\": "
         "[{\"name\": \"servo\", \"signal\": \"control_pulses\", \"span_us\": null, \"period_us\": "
         "{\"mean\": \"x\", \"U95\": null}}]}]}",
         "\"mean\" should be a number or null"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char path[32];
        spw_earlier earlier = {0};
        spw_error error;
        spw_error_clear(&error);
        assert_int_not_equal(
            spw_earlier_read(in_file(path, cases[i].content), "servo", &earlier, &error), SPW_OK);
        (void)unlink(path);
        if (strstr(error.message, cases[i].part) == NULL)
            fail_msg("\"%s\" lacks: %s", error.message, cases[i].part);
        spw_earlier_free(&earlier);
    }
}

/* The channel of the same name comes before the only other one. */
static void earlier_channels_are_found(void **state) {
    (void)state;
    static const char content[] =
        "{\"schema\": \"spanwright.measure/1\", \"captures\": [{\"file\": \"f\", \"channels\": ["
        "{\"name\": \"a\", \"signal\": \"control_pulses\", \"span_us\": null, \"period_us\": "
        "{\"mean\": "
        "1, \"U95\": null}}, {\"name\": \"b\", \"signal\": \"control_pulses\", \"span_us\": "
        "{\"low\": 5, "
        "\"low_U95\": 1, \"high\": 7, \"high_U95\": 1, \"neutral\": null}, \"period_us\": "
        "{\"mean\": 2, "
        "\"U95\": 0.5}}]}]}";
    char path[32];
    spw_error error;
    spw_earlier earlier = {0};
    assert_int_equal(spw_earlier_read(in_file(path, content), "b", &earlier, &error), SPW_OK);
    assert_true(earlier.known && earlier.period_us == 2 && earlier.low_us == 5);
    assert_true(isnan(earlier.neutral_us));
    assert_string_equal(earlier.channel, "b");
    spw_earlier_free(&earlier);
    assert_int_equal(spw_earlier_read(path, "c", &earlier, &error), SPW_ERR_FORMAT);
    assert_non_null(strstr(error.message, "more than one channel"));
    (void)unlink(path);
}

static void verified_files_are_read(void **state) {
    (void)state;
    static const char content[] =
        "{\"schema\": \"spanwright.verify/1\", \"pairs\": 3, \"pass\": null, \"latency_ms\": null, "
        "\"line\": {\"gain\": 2, \"u_gain\": 0.1, \"offset_us\": -1500, \"u_offset_us\": null, "
        "\"dof\": 2}, "
        "\"checks\": [{\"name\": \"<b>\", \"pass\": false, \"why\": \"<i>5 us</i>\"}], \"points\": "
        "[{\"in_us\": 1000, \"out_us\": 500, \"clamped\": true}, {\"in_us\": 1, \"out_us\": "
        "null}]}";
    char path[32];
    spw_error error;
    spw_error_clear(&error);
    spw_verified verified = {0};
    assert_int_equal(spw_verified_read(in_file(path, content), &verified, &error), SPW_OK);
    assert_int_equal(verified.pass, -1);
    assert_int_equal(verified.points, 1);
    assert_true(verified.point[0].clamped);
    assert_true(verified.dof == 2);
    spw_verified_free(&verified);
    fixture f;
    char name[] = "servo";
    fill_empty(&f, name);
    f.facts.verified_file = path;
    char *page = page_of(&f);
    assert_non_null(strstr(page, "&lt;b&gt;"));
    assert_non_null(strstr(page, "&lt;i&gt;5\xc2\xa0\xc2\xb5s&lt;/i&gt;"));
    assert_non_null(strstr(page, "Not verified"));
    /* t quantile of 2 degrees of freedom, 4.30, as verify prints it; 1.96 would be 0.20 */
    assert_non_null(strstr(page, "gain 2.00 \xc2\xb1 0.43"));
    free(page);
    (void)unlink(path);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_not_known_is_said),
        cmocka_unit_test(hostile_text_stays_text),
        cmocka_unit_test(long_names_are_cut),
        cmocka_unit_test(earlier_files_name_what_is_wrong),
        cmocka_unit_test(earlier_channels_are_found),
        cmocka_unit_test(verified_files_are_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
