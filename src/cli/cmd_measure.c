/* measure: what does this controller send? */
#include "cli/answer.h"
#include "cli/commands.h"
#include "cli/complain.h"
#include "cli/load.h"

#include <stdlib.h>

/* The captures that could be measured, in order. */
typedef struct good {
    const spw_capture **captures;
    const char **digests;
    size_t n;
} good;

static bool gather(const cli_loaded *loaded, size_t n, good *found) {
    found->captures = calloc(n + 1, sizeof(void *));
    found->digests = calloc(n + 1, sizeof(void *));
    if (found->captures == NULL || found->digests == NULL)
        return false;
    for (size_t i = 0; i < n; i++) {
        if (loaded[i].capture == NULL)
            continue;
        found->digests[found->n] = loaded[i].digest[0] != '\0' ? loaded[i].digest : NULL;
        found->captures[found->n++] = loaded[i].capture;
    }
    return true;
}

static int answer(const cli_options *options, const good *found, bool complete) {
    spw_text text = {0};
    spw_text_style style = cli_style(options);
    spw_status made = options->json
                          ? spw_report_measure_json(found->captures, found->n, found->digests,
                                                    options->measure.neutral_us, &text)
                          : spw_report_measure_text(found->captures, found->n, found->digests,
                                                    &options->bench, &style, &text);
    int status;
    if (made != SPW_OK)
        status = cli_complain("%s", spw_status_text(made));
    else if (complete)
        status = cli_deliver(options, &text, NULL, found->captures, found->n);
    else /* files are for whole answers; the good captures are still shown */
        status = options->out_path == NULL ? cli_print_text(&text) : CLI_WRONG;
    spw_text_free(&text);
    return status;
}

int cli_measure(const cli_options *options) {
    int ready = cli_check_targets(options);
    if (ready != CLI_GO)
        return ready;
    cli_loaded *loaded = NULL;
    good found = {0};
    int status = cli_load(options, &loaded);
    if (loaded == NULL)
        return status;
    if (!gather(loaded, options->n_files, &found)) {
        status = cli_complain("out of memory");
    } else if (found.n > 0) {
        int delivered = answer(options, &found, status == CLI_DONE);
        status = status == CLI_DONE ? delivered : status;
    }
    free(found.captures);
    free(found.digests);
    cli_loaded_free(loaded, options->n_files);
    return status;
}
