/* The real command over content that is made while it is read: sizes that no test wants
 * on its disk. Memory is bounded for real (RLIMIT_DATA), time by a generous allowance of
 * processor seconds that only stops what would go on for ever. */
#ifndef TEST_STREAMED_H
#define TEST_STREAMED_H

#include <stdio.h>

#define STREAMED_MEMORY_MIB 48 /* README: what a measurement takes beside its pulses */
#define STREAMED_CPU_S 200

typedef struct streamed {
    int status; /* exit status; 128 and the signal where one ended it */
    char *out, *err;
    long peak_kib;
} streamed;

/* Writes content; ends early where the reader has gone away (SIGPIPE). */
typedef void stream_maker(FILE *out, const void *with);

/* Runs $SPANWRIGHT (build/spanwright) with `arguments`, NULL at the end, and what `make`
 * writes as its standard input. */
streamed stream_through(const char *const *arguments, stream_maker *make, const void *with);
void streamed_free(streamed *run);

#endif
