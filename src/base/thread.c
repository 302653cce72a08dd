#include "base/thread.h"

#include <signal.h>

bool spw_thread_start(pthread_t *thread, void *(*run)(void *), void *context) {
    sigset_t all, before;
    (void)sigfillset(&all);
    bool masked = pthread_sigmask(SIG_SETMASK, &all, &before) == 0;
    bool started = pthread_create(thread, NULL, run, context) == 0;
    if (masked)
        (void)pthread_sigmask(SIG_SETMASK, &before, NULL);
    return started;
}
