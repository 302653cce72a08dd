/* Threads of the library take no signals. */
#include "support/test.h"

#include "base/thread.h"

#include <signal.h>

static void *look(void *context) {
    (void)pthread_sigmask(SIG_SETMASK, NULL, context);
    return NULL;
}

static void takes_no_signals(void **state) {
    (void)state;
    static const int some[] = {SIGINT, SIGTERM, SIGHUP, SIGALRM, SIGWINCH, SIGUSR1};
    sigset_t inside, before, after;
    pthread_t thread;
    assert_int_equal(sigemptyset(&inside), 0);
    assert_int_equal(pthread_sigmask(SIG_SETMASK, NULL, &before), 0);
    assert_true(spw_thread_start(&thread, look, &inside));
    assert_int_equal(pthread_join(thread, NULL), 0);
    assert_int_equal(pthread_sigmask(SIG_SETMASK, NULL, &after), 0);
    for (size_t i = 0; i < sizeof some / sizeof some[0]; i++) {
        assert_int_equal(sigismember(&inside, some[i]), 1);
        assert_int_equal(sigismember(&after, some[i]), sigismember(&before, some[i]));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(takes_no_signals)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
