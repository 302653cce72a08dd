/* A program may do everything in a thread with a stack of 64 KiB. */
#include "support/scratch.h"
#include "support/small_captures.h"
#include "support/test.h"

#include <pthread.h>
#include <string.h>

/* Builds that watch the program need several times the stack. */
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define STACK ((size_t)1 << 20)
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define STACK ((size_t)1 << 20)
#endif
#endif
#ifndef STACK
#define STACK ((size_t)64 << 10)
#endif

static small_capture small[SMALL_N];

typedef struct answers {
    const small_capture *of;
    bool measured, written;
} answers;

static bool write_all(const spw_capture *capture, const spw_measure_options *options) {
    const spw_channel *channel = &capture->channel[0];
    spw_bench bench = spw_bench_defaults();
    spw_plan_source source = {capture, channel, NULL};
    spw_span span;
    spw_plan *plan = NULL;
    spw_error error;
    spw_text page = {0}, json = {0};
    spw_error_clear(&error);
    bool good = spw_span_build(&channel, 1, 1500, &span) == SPW_OK &&
                spw_plan_make(&span, &channel->period_us, &bench, &plan, &error) == SPW_OK;
    spw_sheet_facts facts = {
        .plan = plan, .sources = &source, .n = 1, .bench = &bench, .options = options};
    good = good && spw_report_sheet(&facts, &page, &error) == SPW_OK &&
           spw_report_measure_json(&capture, 1, NULL, 1500, &json) == SPW_OK;
    spw_plan_free(plan);
    spw_text_free(&page);
    spw_text_free(&json);
    return good;
}

static void *work(void *context) {
    answers *a = context;
    spw_measure_options options = spw_measure_defaults();
    spw_capture *capture = NULL;
    spw_error error;
    spw_error_clear(&error);
    options.read = a->of->read;
    a->measured = spw_measure(a->of->path, &options, &capture, &error) == SPW_OK;
    if (a->measured) {
        a->written = write_all(capture, &options);
        spw_capture_free(capture);
    }
    return NULL;
}

static void all_in_64_kib(void **state) {
    (void)state;
    pthread_attr_t attributes;
    assert_int_equal(pthread_attr_init(&attributes), 0);
    assert_int_equal(pthread_attr_setstacksize(&attributes, STACK), 0);
    for (size_t i = 0; i < SMALL_N; i++) {
        answers a = {.of = &small[i]};
        pthread_t thread;
        assert_int_equal(pthread_create(&thread, &attributes, work, &a), 0);
        assert_int_equal(pthread_join(thread, NULL), 0);
        assert_true(a.measured);
        assert_true(a.written);
    }
    pthread_attr_destroy(&attributes);
}

static int make(void **state) {
    if (scratch_make(state) != 0)
        return -1;
    small_captures_write(small);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(all_in_64_kib)};
    return cmocka_run_group_tests(tests, make, scratch_remove);
}
