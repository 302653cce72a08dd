/* Progress on a terminal. */
#include "cli/progress.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#define SILENT_S 1.0 /* work shorter than this shows nothing */
#define EVERY_S 0.25
#define COLUMNS 60

typedef struct slot {
    cli_progress *owner;
    uint64_t done, total;
} slot;

struct cli_progress {
    pthread_mutex_t lock;
    double start_s, shown_s;
    bool shown;
    size_t n;
    slot slots[];
};

static double now_s(void) {
    struct timespec now;
    if (clock_gettime(CLOCK_MONOTONIC, &now) != 0)
        return 0.0;
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

cli_progress *cli_progress_new(size_t captures, bool quiet) {
    if (quiet || captures == 0 || isatty(STDERR_FILENO) != 1)
        return NULL;
    cli_progress *progress = calloc(1, sizeof *progress + captures * sizeof progress->slots[0]);
    if (progress == NULL)
        return NULL;
    if (pthread_mutex_init(&progress->lock, NULL) != 0) {
        free(progress);
        return NULL;
    }
    progress->n = captures;
    progress->start_s = now_s();
    for (size_t i = 0; i < captures; i++)
        progress->slots[i].owner = progress;
    return progress;
}

static void show(cli_progress *progress, double elapsed_s) {
    uint64_t done = 0, total = 0;
    bool all_known = true;
    for (size_t i = 0; i < progress->n; i++) {
        done += progress->slots[i].done;
        total += progress->slots[i].total;
        all_known &= progress->slots[i].total > 0;
    }
    double rate = (double)done / elapsed_s;
    char line[COLUMNS + 1];
    if (all_known && done > 0 && done <= total)
        (void)snprintf(line, sizeof line, "%3.0f %%  %.1f MB/s  %.0f s left",
                       100.0 * (double)done / (double)total, rate * 1e-6,
                       (double)(total - done) / rate);
    else
        (void)snprintf(line, sizeof line, "%.1f MB read  %.1f MB/s", (double)done * 1e-6,
                       rate * 1e-6);
    (void)fprintf(stderr, "\r%-*s", COLUMNS, line);
    progress->shown = true;
}

static void tell(void *context, uint64_t done, uint64_t total) {
    slot *s = context;
    cli_progress *progress = s->owner;
    if (pthread_mutex_lock(&progress->lock) != 0)
        return;
    s->done = done;
    s->total = total;
    double now = now_s();
    if (now - progress->start_s > SILENT_S && now - progress->shown_s > EVERY_S) {
        show(progress, now - progress->start_s);
        progress->shown_s = now;
    }
    (void)pthread_mutex_unlock(&progress->lock);
}

void cli_progress_attach(cli_progress *progress, size_t index, spw_read_options *read) {
    if (progress == NULL)
        return;
    read->progress = tell;
    read->progress_context = &progress->slots[index];
}

void cli_progress_free(cli_progress *progress) {
    if (progress == NULL)
        return;
    if (progress->shown)
        (void)fprintf(stderr, "\r%*s\r", COLUMNS, "");
    (void)pthread_mutex_destroy(&progress->lock);
    free(progress);
}
