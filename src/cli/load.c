/* Measuring the captures of a command line. */
#include "cli/load.h"

#include "cli/complain.h"
#include "cli/progress.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

typedef struct work {
    const cli_options *options;
    cli_loaded *loaded;
    cli_progress *progress;
    atomic_size_t next;
} work;

static void load_one(const cli_options *options, cli_progress *progress, size_t i,
                     cli_loaded *item) {
    spw_measure_options measure = options->measure;
    spw_capture *capture;
    cli_progress_attach(progress, i, &measure.read);
    if (options->jobs > 1 && options->n_files > 1) /* the captures share the processors already */
        measure.threads = 1;
    spw_error_clear(&item->error);
    spw_status status = spw_measure(options->files[i], &measure, &capture, &item->error);
    if (status == SPW_OK && options->digest && strcmp(options->files[i], "-") != 0) {
        status = spw_digest_file(options->files[i], item->digest, &item->error);
        if (status != SPW_OK)
            spw_capture_free(capture);
    }
    if (status == SPW_OK) {
        item->capture = capture;
        return;
    }
    item->error.status = status;
    spw_error_file(&item->error, options->files[i]);
}

static void *worker(void *context) {
    work *w = context;
    for (;;) {
        size_t i = atomic_fetch_add(&w->next, 1);
        if (i >= w->options->n_files)
            return NULL;
        load_one(w->options, w->progress, i, &w->loaded[i]);
    }
}

static void load_all(work *w) {
    size_t wanted = w->options->jobs < w->options->n_files ? w->options->jobs : w->options->n_files;
    pthread_t *threads = wanted > 1 ? calloc(wanted - 1, sizeof *threads) : NULL;
    size_t started = 0;
    /* This thread works too; one that cannot be started is only slower. */
    while (threads != NULL && started < wanted - 1 &&
           pthread_create(&threads[started], NULL, worker, w) == 0)
        started++;
    (void)worker(w);
    for (size_t i = 0; i < started; i++)
        (void)pthread_join(threads[i], NULL);
    free(threads);
}

/* On a terminal the text answer shows the warnings; elsewhere stderr does. */
static void warn(const cli_options *options, const spw_capture *capture) {
    if (options->quiet || (!options->json && options->out_path == NULL))
        return;
    for (size_t i = 0; i < capture->summary.warnings.n; i++)
        cli_warn(capture->file, capture->summary.warnings.text[i]);
}

int cli_load(const cli_options *options, cli_loaded **loaded) {
    work w = {.options = options};
    w.loaded = calloc(options->n_files + 1, sizeof *w.loaded);
    if (w.loaded == NULL)
        return cli_complain("out of memory");
    atomic_init(&w.next, 0);
    w.progress = cli_progress_new(options->n_files, options->quiet);
    load_all(&w);
    cli_progress_free(w.progress);
    int status = CLI_DONE;
    for (size_t i = 0; i < options->n_files; i++) {
        if (w.loaded[i].capture != NULL)
            warn(options, w.loaded[i].capture);
        else
            status = cli_complain_error(&w.loaded[i].error);
    }
    *loaded = w.loaded;
    return status;
}

void cli_loaded_free(cli_loaded *loaded, size_t n) {
    for (size_t i = 0; loaded != NULL && i < n; i++)
        spw_capture_free(loaded[i].capture);
    free(loaded);
}
