/* What span.c puts together. */
#ifndef SPW_SPAN_PARTS_H
#define SPW_SPAN_PARTS_H

#include "span/levels.h"

/* Tries the widths' extremes as the ends: fills basis, low and high and sets
 * known when the widths sweep; else leaves the span as it is. */
spw_status spw_span_extremes(const spw_channel *const *channels, size_t n,
                             spw_span *span) SPW_CHECKED;

/* Looks for a staircase that runs into a plateau at an end of the span. */
void spw_span_saturation(const spw_channel *const *channels, size_t n, spw_span *span);

#endif
