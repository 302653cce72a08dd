/* Places where a recorder's samples do not follow each other: a run of one value where the
 * samples have noise, samples that come twice, a step of the background between transitions.
 *
 * Runs are looked for everywhere, by the ranges of the chunks; the other two only where
 * transitions of one direction are not as far apart as the others are: samples lost or
 * repeated shift all that follows. */
#ifndef SPW_SPLICE_H
#define SPW_SPLICE_H

#include "edges/trace.h"

/* Looks at the stretch and adds what it finds to the report.
 *   marks     n transitions, timed
 *   from, to  samples not looked at before: [from, to), from <= to
 *   lossy     the samples come out of a codec
 *   start_s   instant of the stretch's first sample */
spw_status spw_splices_find(const spw_trace *trace, const spw_mark *marks, size_t n, size_t from,
                            size_t to, bool lossy, double start_s,
                            spw_edge_report *report) SPW_CHECKED;

#endif
