/* What recordings in doubt leave of a verification. */
#ifndef SPW_ADAPTER_VERIFY_DOUBT_H
#define SPW_ADAPTER_VERIFY_DOUBT_H

#include "spanwright/adapter.h"

/* Checks whose answer widths off by as much as the doubt's bound could turn are not told; all
 * that judge widths where no bound is known. Their `why` says what to do. */
void spw_verify_doubt(spw_verification *v, const spw_channel *before, const spw_channel *after);

#endif
