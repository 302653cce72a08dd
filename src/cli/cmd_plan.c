/* plan: does it cover the servo's range; which remap closes the gap; what will the joint do? */
#include "cli/answer.h"
#include "cli/basis.h"
#include "cli/commands.h"
#include "cli/complain.h"
#include "cli/load.h"

#include <stdlib.h>
#include <string.h>

/* Is the answer yes? The joint as it will be: with the adapter where one is planned. */
static int gate(const spw_plan *plan) {
    const spw_joint_verdict *joint = &plan->joint;
    if (plan->decision == SPW_DECISION_MEASURE_AGAIN || plan->span.wire == SPW_WIRE_INVERTED)
        return CLI_NOT_YES;
    if (!joint->known)
        return CLI_DONE;
    spw_reached reached = plan->has_remap ? joint->after : joint->before;
    if (reached == SPW_REACHED_NO || reached == SPW_REACHED_UNDECIDED)
        return CLI_NOT_YES;
    return joint->beyond_allowed && !plan->has_remap ? CLI_NOT_YES : CLI_DONE;
}

/* The header for --emit-c; a plan without an adapter has none, which is no yes. Integers
 * that no adapter may be built on are refused before anything is written. */
static int make_header(const cli_options *options, const spw_plan *plan, spw_text *header,
                       bool *missing) {
    if (options->emit_path == NULL)
        return CLI_GO;
    spw_error error;
    spw_error_clear(&error);
    if (spw_plan_integers_check(plan, &error) == SPW_ERR_LIMIT)
        return cli_complain("%s: not written: %s", cli_safe(options->emit_path).text,
                            error.message);
    spw_status made = spw_plan_emit_c(plan, header);
    *missing = made == SPW_ERR_EMPTY;
    return made == SPW_OK || *missing ? CLI_GO : cli_complain("%s", spw_status_text(made));
}

/* Why there is no header, and what would make one possible. */
static int warn_missing(const cli_options *options, const spw_plan *plan) {
    spw_text text = {0};
    spw_text_puts(&text, "not written: ");
    if (plan->decision == SPW_DECISION_MEASURE_AGAIN && plan->summary != NULL) {
        for (size_t i = 0; i < plan->advices; i++)
            if (plan->advice[i].what == SPW_DO_MEASURE_AGAIN)
                spw_text_puts(&text, plan->advice[i].why);
    } else
        spw_text_puts(&text, "this plan needs no adapter");
    if (spw_text_status(&text) == SPW_OK)
        cli_warn(options->emit_path, text.data);
    spw_text_free(&text);
    return CLI_NOT_YES;
}

static int answer(const cli_options *options, const spw_plan *plan, const cli_basis *from) {
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
    if (status == CLI_DONE && missing && options->emit_path != NULL)
        return warn_missing(options, plan);
    return status == CLI_DONE && options->gate ? gate(plan) : status;
}

static int make_plan(const cli_options *options, const cli_basis *from) {
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
    cli_basis from = {0};
    if (status != CLI_GO)
        return status;
    if (options->n_files > 0) {
        /* A plan on part of its captures would be another plan. */
        status = cli_load(options, &loaded);
        if (status == CLI_DONE)
            status = cli_basis_gather(loaded, options->n_files, &from);
    }
    if (status == CLI_GO)
        status = make_plan(options, &from);
    cli_basis_free(&from);
    cli_loaded_free(loaded, options->n_files);
    return status;
}
