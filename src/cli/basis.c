/* What a plan and a sheet are measured from: one channel of each capture. */
#include "cli/basis.h"

#include "cli/complain.h"

#include <stdlib.h>
#include <string.h>

#define MOST_NAMED 12 /* channels listed in a complaint */

static bool is_pulses(const spw_channel *channel) {
    return spw_signal_has_pulses(channel->signal);
}

static void put_name(spw_text *text, const spw_channel *channel) {
    char safe[128];
    spw_text_puts(text, spw_text_safe(safe, sizeof safe, channel->name, strlen(channel->name)));
}

/* Names the channels with control pulses, or the others with their reasons. */
static void list_channels(spw_text *text, const spw_capture *capture, bool pulses) {
    size_t listed = 0, left = 0;
    for (size_t i = 0; i < capture->channels; i++) {
        const spw_channel *channel = &capture->channel[i];
        if (is_pulses(channel) != pulses)
            continue;
        if (listed == MOST_NAMED) {
            left++;
            continue;
        }
        spw_text_puts(text, listed++ > 0 ? (pulses ? ", " : "; ") : "");
        put_name(text, channel);
        if (!pulses && channel->reason != NULL)
            spw_text_printf(text, ": %s", channel->reason);
    }
    if (left > 0)
        spw_text_printf(text, " and %zu more", left);
    spw_text_append(text, "", 0);
}

static int complain_channels(const spw_capture *capture, size_t found) {
    char file[256];
    spw_text list = {0};
    list_channels(&list, capture, found > 0);
    spw_text_safe(file, sizeof file, capture->file, strlen(capture->file));
    int status;
    if (spw_text_status(&list) != SPW_OK)
        status = cli_complain("out of memory");
    else if (found > 0)
        status = cli_complain("%s: %zu channels carry control pulses: choose one with --channel "
                              "(%s)",
                              file, found, list.data);
    else if (capture->channels == 0)
        status = cli_complain("%s: the capture holds no channel", file);
    else
        status = cli_complain("%s: no control pulses (%s)", file, list.data);
    spw_text_free(&list);
    return status;
}

/* The one channel with control pulses. */
static int choose(const spw_capture *capture, const spw_channel **chosen) {
    size_t found = 0;
    for (size_t i = 0; i < capture->channels; i++) {
        if (!is_pulses(&capture->channel[i]))
            continue;
        *chosen = &capture->channel[i];
        found++;
    }
    return found == 1 ? CLI_GO : complain_channels(capture, found);
}

int cli_basis_gather(const cli_loaded *loaded, size_t n, cli_basis *from) {
    from->channels = calloc(n + 1, sizeof(void *));
    from->sources = calloc(n + 1, sizeof *from->sources);
    from->captures = calloc(n + 1, sizeof(void *));
    if (from->channels == NULL || from->sources == NULL || from->captures == NULL)
        return cli_complain("out of memory");
    for (size_t i = 0; i < n; i++) {
        int status = choose(loaded[i].capture, &from->channels[i]);
        if (status != CLI_GO)
            return status;
        from->captures[i] = loaded[i].capture;
        from->sources[i] =
            (spw_plan_source){.capture = loaded[i].capture,
                              .channel = from->channels[i],
                              .digest = loaded[i].digest[0] != '\0' ? loaded[i].digest : NULL};
        from->n++;
    }
    return CLI_GO;
}

void cli_basis_free(cli_basis *from) {
    free(from->channels);
    free(from->sources);
    free(from->captures);
    *from = (cli_basis){0};
}
