/* Every allocation and every read failing in turn: each call says so by its status or
 * gives the same answer as ever; nothing leaks, nothing is half there. */
#include "faults/inject.h"

#include "support/scratch.h"
#include "support/small_captures.h"
#include "support/test.h"

#include <jansson.h>
#include <string.h>

/* What a trial works on. Made once, without failures. */
static struct bed {
    small_capture small[SMALL_N];
    char bench_path[160], plan_path[160], verify_path[160], measure_path[160];
    spw_bench bench;
    spw_measure_options options;
    spw_capture *capture;
    const spw_channel *channel;
    spw_span span;
    spw_plan *plan;
    spw_planned planned;
    spw_verification *verification;
    spw_plan_source source;
    size_t tried, read_tried;
} bed;

/* One call and its answer as text; the text is compared when the call succeeded. A trial
 * calms the injection itself once the call under test is over.
 *   damaged  out: the answer says itself that it is of a part of the capture */
typedef spw_status trial(size_t which, spw_text *answer, bool *damaged);

static spw_status measure(size_t which, spw_text *answer, bool *damaged) {
    spw_measure_options options = bed.options;
    spw_capture *capture = NULL;
    spw_error error;
    spw_error_clear(&error);
    options.read = bed.small[which].read;
    spw_status status = spw_measure(bed.small[which].path, &options, &capture, &error);
    inject_calm();
    if (status != SPW_OK) {
        assert_null(capture);
        assert_true(error.message[0] != '\0');
        return status;
    }
    const spw_capture *captures[1] = {capture};
    *damaged = capture->summary.truncated && capture->summary.warnings.n > 0;
    assert_int_equal(spw_report_measure_json(captures, 1, NULL, 1500, answer), SPW_OK);
    spw_capture_free(capture);
    return SPW_OK;
}

static spw_status bench_read(size_t which, spw_text *answer, bool *damaged) {
    (void)which;
    (void)damaged;
    spw_bench bench = spw_bench_defaults();
    const spw_bench was = bench;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_bench_read(bed.bench_path, &bench, &error);
    inject_calm();
    if (status != SPW_OK) {
        assert_memory_equal(&bench, &was, sizeof was);
        assert_true(error.message[0] != '\0' && error.file[0] != '\0');
        return status;
    }
    spw_text_printf(answer, "%g %g %s", bench.servo.expected_low_us, bench.servo.dead_band_us,
                    bench.controller.channel);
    return SPW_OK;
}

static spw_status digest(size_t which, spw_text *answer, bool *damaged) {
    (void)damaged;
    char hex[65] = "";
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_digest_file(bed.small[which].path, hex, &error);
    inject_calm();
    if (status == SPW_OK)
        spw_text_puts(answer, hex);
    else
        assert_true(error.message[0] != '\0');
    return status;
}

static spw_status span_build(size_t which, spw_text *answer, bool *damaged) {
    (void)which;
    (void)damaged;
    spw_span span;
    spw_status status = spw_span_build(&bed.channel, 1, 1500, &span);
    inject_calm();
    if (status == SPW_OK)
        spw_text_printf(answer, "%.17g %.17g %.17g %.17g", span.low.us, span.neutral.us,
                        span.high.us, span.high.U95);
    return status;
}

static spw_status plan_make(size_t which, spw_text *answer, bool *damaged) {
    (void)which;
    (void)damaged;
    spw_plan *plan = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status status =
        spw_plan_make(&bed.span, &bed.channel->period_us, &bed.bench, &plan, &error);
    inject_calm();
    if (status != SPW_OK) {
        assert_null(plan);
        assert_true(error.message[0] != '\0');
        return status;
    }
    assert_int_equal(spw_report_plan_json(plan, &bed.source, 1, answer), SPW_OK);
    spw_plan_free(plan);
    return SPW_OK;
}

static spw_status planned_read(size_t which, spw_text *answer, bool *damaged) {
    (void)which;
    (void)damaged;
    spw_planned planned = spw_planned_none();
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_planned_read(bed.plan_path, &planned, &error);
    inject_calm();
    if (status == SPW_OK)
        spw_text_printf(answer, "%.17g %.17g", planned.remap.gain, planned.remap.offset_us);
    else
        assert_true(error.message[0] != '\0' && !planned.known);
    return status;
}

static spw_status verify(size_t which, spw_text *answer, bool *damaged) {
    (void)damaged;
    spw_verification *v = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_verify(&bed.capture->channel[0], &bed.capture->channel[1], which == 0,
                                   &bed.planned, &v, &error);
    inject_calm();
    if (status != SPW_OK) {
        assert_null(v);
        assert_true(error.message[0] != '\0');
        return status;
    }
    assert_int_equal(spw_report_verify_json(v, answer), SPW_OK);
    spw_verification_free(v);
    return SPW_OK;
}

enum {
    MEASURE_JSON,
    MEASURE_TEXT,
    PLAN_JSON,
    PLAN_TEXT,
    EMIT_C,
    SHEET,
    VERIFY_JSON,
    VERIFY_TEXT,
    REPORTS
};

static spw_status report(size_t which, spw_text *answer, bool *damaged) {
    (void)damaged;
    const spw_capture *captures[1] = {bed.capture};
    const spw_text_style style = {.width = 80};
    const spw_sheet_facts facts = {.plan = bed.plan,
                                   .sources = &bed.source,
                                   .n = 1,
                                   .bench = &bed.bench,
                                   .options = &bed.options,
                                   .plan_file = bed.plan_path,
                                   .verified_file = bed.verify_path,
                                   .earlier_file = bed.measure_path};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = SPW_ERR_ARGUMENT;
    switch (which) {
    case MEASURE_JSON:
        status = spw_report_measure_json(captures, 1, NULL, 1500, answer);
        break;
    case MEASURE_TEXT:
        status = spw_report_measure_text(captures, 1, NULL, &bed.bench, &style, answer);
        break;
    case PLAN_JSON:
        status = spw_report_plan_json(bed.plan, &bed.source, 1, answer);
        break;
    case PLAN_TEXT:
        status = spw_report_plan_text(bed.plan, &bed.source, 1, &style, answer);
        break;
    case EMIT_C:
        status = spw_plan_emit_c(bed.plan, answer);
        break;
    case SHEET:
        status = spw_report_sheet(&facts, answer, &error);
        assert_true(status == SPW_OK || error.message[0] != '\0');
        break;
    case VERIFY_JSON:
        status = spw_report_verify_json(bed.verification, answer);
        break;
    case VERIFY_TEXT:
        status = spw_report_verify_text(bed.verification, "claw", "servo", &style, answer);
        break;
    }
    inject_calm();
    return status;
}

/* A file of pulses over an old one: whole, or the old one. */
static spw_status pulses_file(size_t which, spw_text *answer, bool *damaged) {
    (void)which;
    (void)damaged;
    static const char old[] = "old";
    const spw_capture *captures[1] = {bed.capture};
    spw_output *output = NULL;
    spw_error error;
    char part[4096];
    spw_error_clear(&error);
    const char *path = scratch_path("pulses.csv");
    inject_what what = inject.what;
    inject_calm();
    (void)scratch_file("pulses.csv", old, sizeof old - 1);
    inject.what = what;
    spw_status status = spw_output_open(path, true, &output, &error);
    if (status == SPW_OK) {
        status = spw_report_pulses_csv(captures, 1, output, &error);
        if (status == SPW_OK)
            status = spw_output_commit(output, &error);
        else
            spw_output_discard(output);
    }
    inject_calm();
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    for (size_t n; (n = fread(part, 1, sizeof part, file)) > 0;)
        spw_text_append(answer, part, n);
    assert_int_equal(fclose(file), 0);
    if (status != SPW_OK) {
        assert_true(error.message[0] != '\0');
        assert_string_equal(answer->data, old);
    }
    return status;
}

/* A trial with one failure. Returns whether it came to it. */
static bool once(const char *name, trial *run, size_t which, inject_what what, size_t at,
                 const char *expected) {
    spw_text answer = {0};
    bool damaged = false;
    inject_start(what, at);
    spw_status status = run(which, &answer, &damaged);
    bool fired = inject.fired != 0;
    bool same = answer.data != NULL && strcmp(answer.data, expected) == 0;
    spw_text_free(&answer);
    inject_stop();
    if (status == SPW_OK && !same && !(what == INJECT_READ_ERROR && damaged))
        fail_msg("%s, failure %d at call %zu: SPW_OK with another answer", name, (int)what, at);
    if (status != SPW_OK && !fired)
        fail_msg("%s: %s without a failure", name, spw_status_text(status));
    if (status != SPW_OK && what >= INJECT_READ_SHORT)
        fail_msg("%s, read %zu cut short or interrupted: %s", name, at, spw_status_text(status));
    if (status != SPW_OK && what <= INJECT_JSON && status != SPW_ERR_MEMORY)
        fail_msg("%s, allocation %zu: says %s", name, at, spw_status_text(status));
    if (INJECT_ALLOCATIONS && inject.live != 0)
        fail_msg("%s, failure %d at call %zu: %ld blocks left", name, (int)what, at, inject.live);
    return fired;
}

/* jansson's own allocations, failing in turn as well, while it writes. */
static void *json_allocate(size_t size) {
    if (INJECT_ALLOCATIONS && inject.active && inject.what == INJECT_JSON &&
        ++inject.seen == inject.at) {
        inject.fired = 1;
        errno = ENOMEM;
        return NULL;
    }
    inject_what was = inject.what;
    inject_calm(); /* this call comes from the program's text but is none of ours */
    void *block = malloc(size);
    inject.what = was;
    return block;
}

static char *clean(trial *run, size_t which) {
    spw_text answer = {0};
    bool damaged = false;
    inject_start(INJECT_NOTHING, 0);
    assert_int_equal(run(which, &answer, &damaged), SPW_OK);
    inject_stop();
    assert_false(damaged);
    assert_non_null(answer.data);
    return answer.data;
}

static void each_allocation(const char *name, trial *run, size_t which) {
    char *expected = clean(run, which);
    size_t k = 1;
    while (INJECT_ALLOCATIONS && once(name, run, which, INJECT_MEMORY, k, expected))
        k++;
    for (size_t from = 1; from < k; from += 1 + k / 16)
        (void)once(name, run, which, INJECT_MEMORY_FROM, from, expected);
    bed.tried += k - 1;
    if (INJECT_ALLOCATIONS)
        print_message("%s: %zu allocations\n", name, k - 1);
    free(expected);
}

/*   piece  bytes a read gives at most */
static void each_read(const char *name, trial *run, size_t which, size_t piece) {
    inject.piece = piece;
    char *expected = clean(run, which);
    size_t k = 1;
    /* only what may come by a pipe has to wait */
    int last = run == measure ? INJECT_READ_WAIT : INJECT_READ_SIGNAL;
    for (int what = INJECT_READ_ERROR; what <= last; what++)
        for (k = 1; once(name, run, which, (inject_what)what, k, expected); k++)
            bed.read_tried++;
    print_message("%s: %zu reads\n", name, k - 1);
    inject.piece = 0;
    free(expected);
}

static void skip_without_allocations(void) {
    if (INJECT_ALLOCATIONS)
        return;
    print_message("allocations are the sanitizer's here: not failed\n");
    skip();
}

static void allocations_while_measuring(void **state) {
    (void)state;
    skip_without_allocations();
    for (size_t i = 0; i < SMALL_N; i++)
        each_allocation(bed.small[i].kind, measure, i);
}
static void reads_while_measuring(void **state) {
    (void)state;
    for (size_t i = 0; i < SMALL_N; i++)
        each_read(bed.small[i].kind, measure, i, bed.small[i].length / 12 + 1);
}
static void allocations_after_measuring(void **state) {
    (void)state;
    skip_without_allocations();
    each_allocation("bench file", bench_read, 0);
    each_allocation("digest", digest, SMALL_VCD);
    each_allocation("pulses as CSV", pulses_file, 0);
    each_allocation("span", span_build, 0);
    each_allocation("plan", plan_make, 0);
    each_allocation("planned", planned_read, 0);
    each_allocation("verify by pulses", verify, 0);
    each_allocation("verify by holds", verify, 1);
}
static void json_allocations(void **state) {
    static const size_t written[] = {MEASURE_JSON, PLAN_JSON, VERIFY_JSON};
    (void)state;
    skip_without_allocations();
    json_set_alloc_funcs(json_allocate, free);
    for (size_t i = 0; i < sizeof written / sizeof written[0]; i++) {
        char *expected = clean(report, written[i]);
        size_t k = 1;
        while (once("JSON", report, written[i], INJECT_JSON, k, expected)) {
            k += 1 + k / 100; /* they repeat */
            bed.tried++;
        }
        free(expected);
    }
    json_set_alloc_funcs(malloc, free);
}
static const char *const report_name[REPORTS] = {
    "measure as JSON", "measure as text", "plan as JSON",   "plan as text",
    "C header",        "sheet",           "verify as JSON", "verify as text"};
static void allocations_while_reporting(void **state) {
    (void)state;
    skip_without_allocations();
    for (size_t i = 0; i < REPORTS; i++)
        each_allocation(report_name[i], report, i);
}
static void reads_of_other_files(void **state) {
    (void)state;
    each_read("bench file", bench_read, 0, 50);
    each_read("digest", digest, SMALL_RAW, 8192);
    each_read("planned", planned_read, 0, 1024);
    each_read("sheet", report, SHEET, 2048);
}

static void keep_report(char path[160], const char *name, size_t which) {
    spw_text text = {0};
    bool damaged;
    assert_int_equal(report(which, &text, &damaged), SPW_OK);
    (void)snprintf(path, 160, "%s", scratch_file(name, text.data, text.length));
    spw_text_free(&text);
}

static int make_bed(void **state) {
    static const char bench[] = "[servo]\nname = claw servo\nexpected_low_us = 500\n"
                                "expected_high_us = 2500\ndead_band_us = 4\n"
                                "[controller]\nchannel = wren.claw\n";
    spw_error error;
    spw_error_clear(&error);
    if (scratch_make(state) != 0)
        return -1;
    small_captures_write(bed.small);
    (void)snprintf(bed.bench_path, sizeof bed.bench_path, "%s",
                   scratch_file("claw.ini", bench, sizeof bench - 1));
    bed.options = spw_measure_defaults();
    if (spw_bench_read(bed.bench_path, &bed.bench, &error) != SPW_OK)
        fail_msg("%s", error.message);
    assert_int_equal(spw_measure(bed.small[SMALL_VCD].path, &bed.options, &bed.capture, &error),
                     SPW_OK);
    assert_int_equal(bed.capture->channels, 2);
    bed.channel = &bed.capture->channel[0];
    bed.source = (spw_plan_source){bed.capture, bed.channel, NULL};
    assert_int_equal(spw_span_build(&bed.channel, 1, 1500, &bed.span), SPW_OK);
    assert_int_equal(
        spw_plan_make(&bed.span, &bed.channel->period_us, &bed.bench, &bed.plan, &error), SPW_OK);
    assert_true(bed.plan->has_remap && bed.plan->fixed_point.known);
    bed.planned = spw_planned_of(bed.plan);
    if (spw_verify(bed.channel, &bed.capture->channel[1], true, &bed.planned, &bed.verification,
                   &error) != SPW_OK)
        fail_msg("%s", error.message);
    keep_report(bed.plan_path, "plan.json", PLAN_JSON);
    keep_report(bed.verify_path, "verify.json", VERIFY_JSON);
    keep_report(bed.measure_path, "measure.json", MEASURE_JSON);
    return 0;
}

static int clear_bed(void **state) {
    print_message("%zu allocations and %zu reads failed in turn\n", bed.tried, bed.read_tried);
    spw_verification_free(bed.verification);
    spw_plan_free(bed.plan);
    spw_capture_free(bed.capture);
    return scratch_remove(state);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(allocations_while_measuring),
        cmocka_unit_test(reads_while_measuring),
        cmocka_unit_test(allocations_after_measuring),
        cmocka_unit_test(allocations_while_reporting),
        cmocka_unit_test(json_allocations),
        cmocka_unit_test(reads_of_other_files),
    };
    return cmocka_run_group_tests(tests, make_bed, clear_bed);
}
