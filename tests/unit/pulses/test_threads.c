/* Many threads measure at the same time, each another kind of capture at any moment,
 * and every one gets the answer that a lone caller gets. */
#include "support/scratch.h"
#include "support/small_captures.h"
#include "support/test.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#define THREADS 4
#define ROUNDS 2 /* of all kinds, each thread starting with another */

static small_capture small[SMALL_N];
static char *expected[SMALL_N];

/* The answer as JSON (free), or NULL. No assertions: cmocka's belong to one thread. */
static char *answer(size_t which) {
    spw_measure_options options = spw_measure_defaults();
    spw_capture *capture = NULL;
    spw_text text = {0};
    spw_error error;
    spw_error_clear(&error);
    options.read = small[which].read;
    if (spw_measure(small[which].path, &options, &capture, &error) != SPW_OK)
        return NULL;
    const spw_capture *captures[1] = {capture};
    spw_status status = spw_report_measure_json(captures, 1, NULL, 1500, &text);
    spw_capture_free(capture);
    if (status == SPW_OK)
        return text.data;
    spw_text_free(&text);
    return NULL;
}

typedef struct job {
    pthread_t thread;
    size_t first, done, differing;
} job;

static void *work(void *context) {
    job *own = context;
    for (size_t i = 0; i < (size_t)ROUNDS * SMALL_N; i++) {
        size_t which = (own->first + i) % SMALL_N;
        char *seen = answer(which);
        own->differing += seen == NULL || strcmp(seen, expected[which]) != 0;
        own->done++;
        free(seen);
    }
    return NULL;
}

static void same_answers(void **state) {
    (void)state;
    job jobs[THREADS];
    for (size_t i = 0; i < SMALL_N; i++) {
        expected[i] = answer(i);
        assert_non_null(expected[i]);
    }
    for (size_t i = 0; i < THREADS; i++) {
        jobs[i] = (job){.first = i};
        assert_int_equal(pthread_create(&jobs[i].thread, NULL, work, &jobs[i]), 0);
    }
    for (size_t i = 0; i < THREADS; i++) {
        assert_int_equal(pthread_join(jobs[i].thread, NULL), 0);
        assert_int_equal(jobs[i].done, ROUNDS * SMALL_N);
        assert_int_equal(jobs[i].differing, 0);
    }
    for (size_t i = 0; i < SMALL_N; i++)
        free(expected[i]);
}

/* FFTW's planner is one for all threads: transforms of many lengths at once. */
static void *transform(void *context) {
    size_t *wrong = context;
    double x[1200];
    for (size_t n = 300; n <= 1200; n += 30) {
        for (size_t i = 0; i < n; i++)
            x[i] = i % 10 < 5 ? 1 : -1; /* a line at 0.1 cycles a sample */
        double cycles, amplitude, p;
        if (spw_strongest_line(x, n, &cycles, &amplitude, &p) != SPW_OK || cycles < 0.0999 ||
            cycles > 0.1001)
            ++*wrong;
    }
    return NULL;
}
static void one_planner(void **state) {
    (void)state;
    pthread_t thread[THREADS];
    size_t wrong[THREADS] = {0};
    for (size_t i = 0; i < THREADS; i++)
        assert_int_equal(pthread_create(&thread[i], NULL, transform, &wrong[i]), 0);
    for (size_t i = 0; i < THREADS; i++) {
        assert_int_equal(pthread_join(thread[i], NULL), 0);
        assert_int_equal(wrong[i], 0);
    }
}

static int make(void **state) {
    if (scratch_make(state) != 0)
        return -1;
    small_captures_write(small);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(same_answers),
        cmocka_unit_test(one_planner),
    };
    return cmocka_run_group_tests(tests, make, scratch_remove);
}
