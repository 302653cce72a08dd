/* bench: a bench file to start from. */
#include "cli/answer.h"
#include "cli/commands.h"
#include "cli/complain.h"

int cli_bench(const cli_options *options) {
    int status = cli_check_targets(options);
    if (status != CLI_GO)
        return status;
    spw_text text = {0};
    spw_status made = spw_bench_template(&text);
    status = made == SPW_OK ? cli_deliver(options, &text, NULL, NULL, 0)
                            : cli_complain("%s", spw_status_text(made));
    spw_text_free(&text);
    return status;
}
