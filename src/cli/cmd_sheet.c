/* sheet: write the inspection sheet. */
#include "cli/answer.h"
#include "cli/basis.h"
#include "cli/commands.h"
#include "cli/complain.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define DAY_CHARS 40

/* --date, then the bench file's, then SOURCE_DATE_EPOCH (reproducible-builds.org), else none:
 * the clock of the machine would make every sheet another one. */
static const char *date_of(const cli_options *options, char buffer[DAY_CHARS]) {
    const char *epoch = getenv("SOURCE_DATE_EPOCH");
    double seconds;
    struct tm day;
    if (options->date != NULL)
        return options->date;
    if (options->bench.inspection.date[0] != '\0')
        return options->bench.inspection.date;
    if (epoch == NULL || spw_parse_number(epoch, &seconds) != SPW_OK ||
        !(seconds >= 0.0 && seconds < 253402300800.0)) /* the year 10000 */
        return NULL;
    time_t when = (time_t)seconds;
    if (gmtime_r(&when, &day) == NULL)
        return NULL;
    (void)snprintf(buffer, DAY_CHARS, "%04d-%02d-%02d", day.tm_year + 1900, day.tm_mon + 1,
                   day.tm_mday);
    return buffer;
}

static int write_sheet(const cli_options *options, const cli_basis *from, const spw_plan *plan) {
    char buffer[DAY_CHARS];
    spw_text page = {0};
    spw_error error;
    spw_error_clear(&error);
    spw_sheet_facts facts = {.plan = plan,
                             .sources = from->sources,
                             .n = from->n,
                             .bench = &options->bench,
                             .options = &options->measure,
                             .command = options->command_line.data,
                             .date = date_of(options, buffer),
                             .plan_file = options->plan_path,
                             .verified_file = options->verified_path,
                             .earlier_file = options->earlier_path};
    spw_status made = spw_report_sheet(&facts, &page, &error);
    int status;
    if (made == SPW_OK) {
        status = cli_deliver(options, &page, NULL, from->captures, from->n);
    } else {
        error.status = made;
        status = cli_complain_error(&error);
    }
    spw_text_free(&page);
    return status;
}

static int plan_and_write(const cli_options *options, const cli_basis *from) {
    spw_span span;
    spw_plan *plan;
    spw_error error;
    spw_error_clear(&error);
    if (from->n == 0)
        return cli_complain("sheet needs a capture");
    spw_status made = spw_span_build(from->channels, from->n, options->measure.neutral_us, &span);
    if (made != SPW_OK)
        return cli_complain("%s", spw_status_text(made));
    made = spw_plan_make(&span, &from->channels[0]->period_us, &options->bench, &plan, &error);
    if (made != SPW_OK) {
        error.status = made;
        return cli_complain_error(&error);
    }
    int status = write_sheet(options, from, plan);
    spw_plan_free(plan);
    return status;
}

int cli_sheet(const cli_options *options) {
    int status = cli_check_targets(options);
    cli_loaded *loaded = NULL;
    cli_basis from = {0};
    if (status != CLI_GO)
        return status;
    status = cli_load(options, &loaded);
    if (status == CLI_DONE)
        status = cli_basis_gather(loaded, options->n_files, &from);
    if (status == CLI_GO)
        status = plan_and_write(options, &from);
    cli_basis_free(&from);
    cli_loaded_free(loaded, options->n_files);
    return status;
}
