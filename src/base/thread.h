/* Threads of the library. */
#ifndef SPW_BASE_THREAD_H
#define SPW_BASE_THREAD_H

#include <pthread.h>
#include <stdbool.h>

/* Starts one that takes no signals: they stay with the caller's threads. False: it could not
 * be started; there is nothing to join then. */
bool spw_thread_start(pthread_t *thread, void *(*run)(void *), void *context);

#endif
