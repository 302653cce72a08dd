/* Where answers go: standard output, -o FILE, --pulses FILE, --emit-c FILE. */
#ifndef SPW_CLI_ANSWER_H
#define SPW_CLI_ANSWER_H

#include "cli/options.h"

/* Writes to standard output; a reader that has gone away is no failure.
 * CLI_DONE, or CLI_WRONG after a complaint. */
int cli_print(const char *bytes, size_t length);
int cli_print_text(const spw_text *text);

/* Before the work: are -o, --pulses and --emit-c writable, and no capture that is read?
 * CLI_GO or CLI_WRONG after a complaint. */
int cli_check_targets(const cli_options *options);

/* After the work: writes the pulses, the C header and the answer, files whole or not at all.
 *   header   for --emit-c, or NULL
 * CLI_DONE, or CLI_WRONG after a complaint. */
int cli_deliver(const cli_options *options, const spw_text *answer, const spw_text *header,
                const spw_capture *const *captures, size_t n);

/* Colour on a terminal, unless NO_COLOR or -o say otherwise. */
spw_text_style cli_style(const cli_options *options);

#endif
