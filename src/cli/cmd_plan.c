/* plan: does it cover the servo's range; which remap closes the gap; what will the joint do? */
#include "cli/answer.h"
#include "cli/commands.h"
#include "cli/complain.h"
#include "cli/load.h"

#include <stdlib.h>
#include <string.h>

#define MOST_NAMED 12 /* channels listed in a complaint */

/* What the span is measured from. */
typedef struct basis {
    const spw_channel **channels;
    spw_plan_source *sources;
    const spw_capture **captures;
    size_t n;
} basis;

static bool is_pulses(const spw_channel *channel) {
    return channel->signal == SPW_SIGNAL_CONTROL_PULSES;
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

static int gather(const cli_loaded *loaded, size_t n, basis *from) {
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

/* Is the answer yes? The joint as it will be: with the adapter where one is planned. */
static int gate(const spw_plan *plan) {
    const spw_joint_verdict *joint = &plan->joint;
    if (plan->decision == SPW_DECISION_MEASURE_AGAIN)
        return CLI_NOT_YES;
    if (!joint->known)
        return CLI_DONE;
    spw_reached reached = plan->has_remap ? joint->after : joint->before;
    if (reached == SPW_REACHED_NO || reached == SPW_REACHED_UNDECIDED)
        return CLI_NOT_YES;
    return joint->beyond_allowed && !plan->has_remap ? CLI_NOT_YES : CLI_DONE;
}

/* The header for --emit-c; a plan without constants has none, which is no yes. */
static int make_header(const cli_options *options, const spw_plan *plan, spw_text *header,
                       bool *missing) {
    if (options->emit_path == NULL)
        return CLI_GO;
    spw_status made = spw_plan_emit_c(plan, header);
    *missing = made == SPW_ERR_EMPTY;
    return made == SPW_OK || *missing ? CLI_GO : cli_complain("%s", spw_status_text(made));
}

static int answer(const cli_options *options, const spw_plan *plan, const basis *from) {
    spw_text text = {0}, header = {0};
    spw_text_style style = cli_style(options);
    bool missing = options->emit_path == NULL;
    int status = make_header(options, plan, &header, &missing);
    if (status == CLI_GO) {
        spw_status made = options->json
                              ? spw_report_plan_json(plan, from->sources, from->n, &text)
                              : spw_report_plan_text(plan, from->sources, from->n, &style, &text);
        status = made == SPW_OK ? cli_deliver(options, &text, missing ? NULL : &header,
                                              from->captures, from->n)
                                : cli_complain("%s", spw_status_text(made));
    }
    spw_text_free(&text);
    spw_text_free(&header);
    if (status == CLI_DONE && missing && options->emit_path != NULL) {
        cli_warn(options->emit_path, plan->has_remap
                                         ? "not written: no constants fit the adapter's word"
                                         : "not written: this plan needs no adapter");
        return CLI_NOT_YES;
    }
    return status == CLI_DONE && options->gate ? gate(plan) : status;
}

static int make_plan(const cli_options *options, const basis *from) {
    spw_span span;
    spw_plan *plan;
    spw_error error;
    spw_error_clear(&error);
    spw_status status =
        options->has_span
            ? spw_span_given(options->span_low_us, options->span_neutral_us, options->span_high_us,
                             &span)
            : spw_span_build(from->channels, from->n, options->measure.neutral_us, &span);
    if (status != SPW_OK)
        return cli_complain("%s", spw_status_text(status));
    status = spw_plan_make(&span, from->n > 0 ? &from->channels[0]->period_us : NULL,
                           &options->bench, &plan, &error);
    if (status != SPW_OK) {
        error.status = status;
        return cli_complain_error(&error);
    }
    int exit_status = answer(options, plan, from);
    spw_plan_free(plan);
    return exit_status;
}

int cli_plan(const cli_options *options) {
    int status = cli_check_targets(options);
    cli_loaded *loaded = NULL;
    basis from = {0};
    if (status != CLI_GO)
        return status;
    if (options->n_files > 0) {
        /* A plan on part of its captures would be another plan. */
        status = cli_load(options, &loaded);
        if (status == CLI_DONE)
            status = gather(loaded, options->n_files, &from);
    }
    if (status == CLI_GO)
        status = make_plan(options, &from);
    free(from.channels);
    free(from.sources);
    free(from.captures);
    cli_loaded_free(loaded, options->n_files);
    return status;
}
