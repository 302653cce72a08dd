/* What follows from a measurement or a bench file, each part checked. */
#ifndef SPW_FUZZ_JUDGED_H
#define SPW_FUZZ_JUDGED_H

#include "spanwright/spanwright.h"

/* A plan in every form it is written in; read back it is the same. */
void fuzz_check_plan(const spw_plan *plan, const spw_plan_source *sources, size_t n);
/* A measurement in every form; read back it is the same.
 *   text  out, zeroed: the JSON, the caller's to free */
void fuzz_check_measured(const spw_capture *capture, const spw_bench *bench, spw_text *json);
/* Compares two channels; what was found, in every form. NULL when it cannot be told. */
spw_verification *fuzz_check_verify(const spw_channel *before, const spw_channel *after,
                                    const spw_planned *planned, spw_text *json);
/* The sheet of these facts; a refusal says why. */
void fuzz_check_sheet(const spw_sheet_facts *facts);

#endif
