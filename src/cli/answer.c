/* Where answers go. */
#include "cli/answer.h"

#include "cli/complain.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

int cli_print(const char *bytes, size_t length) {
    while (length > 0) {
        ssize_t wrote = write(STDOUT_FILENO, bytes, length);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote < 0 && errno == EPIPE)
            return CLI_DONE; /* the reader has what it wanted */
        if (wrote <= 0) {
            char why[128];
            return cli_complain("standard output: cannot write: %s",
                                strerror_r(wrote < 0 ? errno : ENOSPC, why, sizeof why));
        }
        bytes += wrote;
        length -= (size_t)wrote;
    }
    return CLI_DONE;
}

int cli_print_text(const spw_text *text) {
    if (spw_text_status(text) != SPW_OK)
        return cli_complain("out of memory");
    return cli_print(text->data, text->length);
}

spw_text_style cli_style(const cli_options *options) {
    const char *plain = getenv("NO_COLOR"), *terminal = getenv("TERM");
    bool wanted =
        (plain == NULL || plain[0] == '\0') && (terminal == NULL || strcmp(terminal, "dumb") != 0);
    return (spw_text_style){
        .colour = wanted && options->out_path == NULL && isatty(STDOUT_FILENO) == 1, .width = 80};
}

static bool same_file(const char *a, const char *b) {
    struct stat of_a, of_b;
    if (stat(a, &of_a) != 0 || stat(b, &of_b) != 0)
        return strcmp(a, b) == 0;
    return of_a.st_dev == of_b.st_dev && of_a.st_ino == of_b.st_ino;
}

/* The file may not be one that is read; it must be writable now. */
static int check_target(const cli_options *options, const char *name, const char *path) {
    for (size_t i = 0; i < options->n_files; i++)
        if (same_file(path, options->files[i]))
            return cli_complain("%s %s would overwrite the capture: name another file", name,
                                cli_safe(path).text);
    if (options->bench_path != NULL && same_file(path, options->bench_path))
        return cli_complain("%s %s would overwrite the bench file: name another file", name,
                            cli_safe(path).text);
    spw_output *output;
    spw_error error;
    spw_error_clear(&error);
    if (spw_output_open(path, options->force, &output, &error) != SPW_OK)
        return cli_complain_error(&error);
    spw_output_discard(output);
    return CLI_GO;
}

int cli_check_targets(const cli_options *options) {
    int status = CLI_GO;
    if (options->out_path != NULL)
        status = check_target(options, "-o", options->out_path);
    if (status == CLI_GO && options->pulses_path != NULL)
        status = check_target(options, "--pulses", options->pulses_path);
    if (status == CLI_GO && options->pulses_path != NULL && options->out_path != NULL &&
        same_file(options->pulses_path, options->out_path))
        return cli_complain("-o and --pulses name the same file: name two");
    return status;
}

/* Opens and fills one file without putting it in place yet. */
static spw_status fill_pulses(const cli_options *options, const spw_capture *const *captures,
                              size_t n, spw_output **output, spw_error *error) {
    spw_status status = spw_output_open(options->pulses_path, options->force, output, error);
    if (status != SPW_OK)
        return status;
    status = spw_report_pulses_csv(captures, n, *output, error);
    if (status != SPW_OK) {
        spw_output_discard(*output);
        *output = NULL;
    }
    return status;
}

static spw_status fill_answer(const cli_options *options, const spw_text *answer,
                              spw_output **output, spw_error *error) {
    spw_status status = spw_output_open(options->out_path, options->force, output, error);
    if (status != SPW_OK)
        return status;
    status = spw_output_write(*output, answer->data, answer->length, error);
    if (status != SPW_OK) {
        spw_output_discard(*output);
        *output = NULL;
    }
    return status;
}

int cli_deliver(const cli_options *options, const spw_text *answer,
                const spw_capture *const *captures, size_t n) {
    spw_output *pulses = NULL, *file = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = SPW_OK;
    if (options->pulses_path != NULL)
        status = fill_pulses(options, captures, n, &pulses, &error);
    if (status == SPW_OK && options->out_path != NULL)
        status = fill_answer(options, answer, &file, &error);
    if (status == SPW_OK && pulses != NULL) {
        status = spw_output_commit(pulses, &error);
        pulses = NULL;
    }
    if (status == SPW_OK && file != NULL) {
        status = spw_output_commit(file, &error);
        file = NULL;
    }
    spw_output_discard(pulses);
    spw_output_discard(file);
    if (status != SPW_OK)
        return cli_complain_error(&error);
    return options->out_path != NULL ? CLI_DONE : cli_print_text(answer);
}
