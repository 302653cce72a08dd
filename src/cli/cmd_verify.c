/* verify: does the fitted adapter do what was planned? */
#include "cli/answer.h"
#include "cli/commands.h"
#include "cli/complain.h"
#include "cli/load.h"

#include <stdlib.h>
#include <string.h>

/* Is this the channel that was asked for: its name, or the end of it after a '.'? */
static bool is_named(const spw_channel *channel, const char *name) {
    size_t length = strlen(channel->name), wanted = strlen(name);
    if (length == wanted)
        return strcmp(channel->name, name) == 0;
    return length > wanted && channel->name[length - wanted - 1] == '.' &&
           strcmp(channel->name + length - wanted, name) == 0;
}

/* "left", "right", "1", "2" of a sound recording whose names say nothing else. */
static const spw_channel *at_side(const spw_capture *capture, const char *name) {
    size_t side = spw_sound_side(name);
    bool sound = capture->summary.format == SPW_FORMAT_AUDIO;
    return sound && side < capture->channels ? &capture->channel[side] : NULL;
}

/* The channel named, or the only one with control pulses. */
static int choose(const spw_capture *capture, const char *name, const char *option,
                  const spw_channel **chosen) {
    size_t found = 0;
    for (size_t i = 0; i < capture->channels; i++) {
        const spw_channel *channel = &capture->channel[i];
        if (name != NULL ? !is_named(channel, name) : !spw_signal_has_pulses(channel->signal))
            continue;
        *chosen = channel;
        found++;
    }
    if (found == 0 && name != NULL && at_side(capture, name) != NULL) {
        *chosen = at_side(capture, name);
        found = 1;
    }
    if (found == 1)
        return CLI_GO;
    char file[256];
    spw_text_safe(file, sizeof file, capture->file, strlen(capture->file));
    if (name != NULL)
        return cli_complain("%s: %s %s names %s channel (spanwright measure lists them)", file,
                            option, cli_safe(name).text, found == 0 ? "no" : "more than one");
    if (found == 0)
        return cli_complain("%s: no channel carries control pulses (spanwright measure says why)",
                            file);
    return cli_complain("%s: %zu channels carry control pulses: choose one with %s CHANNEL", file,
                        found, option);
}

static int answer(const cli_options *options, const spw_verification *v, const spw_channel *before,
                  const spw_channel *after, const spw_capture *const *captures, size_t n) {
    spw_text text = {0};
    spw_text_style style = cli_style(options);
    spw_status made = options->json
                          ? spw_report_verify_json(v, &text)
                          : spw_report_verify_text(v, before->name, after->name, &style, &text);
    int status = made == SPW_OK ? cli_deliver(options, &text, NULL, captures, n)
                                : cli_complain("%s", spw_status_text(made));
    spw_text_free(&text);
    return status == CLI_DONE && v->pass != 1 ? CLI_NOT_YES : status;
}

static int compare(const cli_options *options, const cli_loaded *loaded,
                   const spw_planned *planned) {
    size_t n = options->n_files;
    const spw_capture *captures[2] = {loaded[0].capture, loaded[n - 1].capture};
    const spw_channel *before = NULL, *after = NULL;
    int status = choose(captures[0], options->before, "--before", &before);
    if (status == CLI_GO)
        status = choose(captures[1], options->after, "--after", &after);
    if (status != CLI_GO || before == NULL || after == NULL)
        return status;
    if (before == after)
        return cli_complain("--before and --after name the same channel");
    spw_verification *v = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status done = spw_verify(before, after, n == 1, planned, &v, &error);
    if (done != SPW_OK) {
        spw_error_file(&error, options->files[n - 1]);
        return cli_complain_error(&error);
    }
    status = answer(options, v, before, after, captures, n);
    spw_verification_free(v);
    return status;
}

int cli_verify(const cli_options *options) {
    int status = cli_check_targets(options);
    if (status != CLI_GO)
        return status;
    spw_planned planned = spw_planned_none();
    spw_error error;
    spw_error_clear(&error);
    if (options->plan_path != NULL &&
        spw_planned_read(options->plan_path, &planned, &error) != SPW_OK) {
        spw_error_file(&error, options->plan_path);
        return cli_complain_error(&error);
    }
    cli_loaded *loaded = NULL;
    status = cli_load(options, &loaded);
    if (status == CLI_DONE)
        status = compare(options, loaded, &planned);
    cli_loaded_free(loaded, options->n_files);
    return status;
}
