/* What a plan and a sheet are measured from: one channel of each capture. */
#ifndef SPW_CLI_BASIS_H
#define SPW_CLI_BASIS_H

#include "cli/load.h"

typedef struct cli_basis {
    const spw_channel **channels;
    spw_plan_source *sources;
    const spw_capture **captures;
    size_t n;
} cli_basis;

/* Takes the one channel with control pulses of each capture; where there are several, or
 * none, complains and lists them. CLI_GO or CLI_WRONG; free in every case. */
int cli_basis_gather(const cli_loaded *loaded, size_t n, cli_basis *from);
void cli_basis_free(cli_basis *from);

#endif
