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
        if (wrote <= 0)      /* the only thread by now: strerror will do */
            return cli_complain("standard output: cannot write: %s",
                                strerror(wrote < 0 ? errno : ENOSPC));
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
    const char *const read[] = {options->plan_path, options->verified_path, options->earlier_path};
    for (size_t i = 0; i < sizeof read / sizeof read[0]; i++)
        if (read[i] != NULL && same_file(path, read[i]))
            return cli_complain("%s %s would overwrite a file that is read: name another", name,
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
    if (status == CLI_GO && options->emit_path != NULL)
        status = check_target(options, "--emit-c", options->emit_path);
    const char *target[] = {options->out_path, options->pulses_path, options->emit_path};
    static const char *const name[] = {"-o", "--pulses", "--emit-c"};
    for (size_t a = 0; a < 3; a++)
        for (size_t b = a + 1; b < 3 && status == CLI_GO; b++)
            if (target[a] != NULL && target[b] != NULL && same_file(target[a], target[b]))
                status = cli_complain("%s and %s name the same file: name two", name[a], name[b]);
    return status;
}

/* One file, filled and on the disk but not in place yet. */
static spw_status fill(const cli_options *options, const char *path, const spw_text *text,
                       const spw_capture *const *captures, size_t n, spw_output **output,
                       spw_error *error) {
    spw_status status = spw_output_open(path, options->force, output, error);
    if (status == SPW_OK)
        status = text != NULL ? spw_output_write(*output, text->data, text->length, error)
                              : spw_report_pulses_csv(captures, n, *output, error);
    return status == SPW_OK ? spw_output_settle(*output, error) : status;
}

/* What can fail comes first: all is on the disk before anything is printed, and
 * printed before anything is put in place. */
int cli_deliver(const cli_options *options, const spw_text *answer, const spw_text *header,
                const spw_capture *const *captures, size_t n) {
    enum { PULSES, HEADER, ANSWER, FILES };
    spw_output *file[FILES] = {NULL};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_text_status(answer);
    if (status == SPW_OK && options->pulses_path != NULL)
        status = fill(options, options->pulses_path, NULL, captures, n, &file[PULSES], &error);
    if (status == SPW_OK && header != NULL)
        status = fill(options, options->emit_path, header, NULL, 0, &file[HEADER], &error);
    if (status == SPW_OK && options->out_path != NULL)
        status = fill(options, options->out_path, answer, NULL, 0, &file[ANSWER], &error);
    int printed = status == SPW_OK && options->out_path == NULL ? cli_print_text(answer) : CLI_DONE;
    for (size_t k = 0; k < FILES; k++) {
        if (status == SPW_OK && printed == CLI_DONE && file[k] != NULL)
            status = spw_output_commit(file[k], &error);
        else
            spw_output_discard(file[k]);
    }
    error.status = status;
    return status != SPW_OK ? cli_complain_error(&error) : printed;
}
