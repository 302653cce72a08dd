/* A ruler of plain characters: spans on a common axis of microseconds. */
#ifndef SPW_REPORT_TEXT_RULER_H
#define SPW_REPORT_TEXT_RULER_H

#include "spanwright/base.h"

typedef struct spw_ruler_row {
    const char *label; /* at most 9 columns */
    double low_us, high_us;
    double neutral_us; /* marked n; NAN: no mark */
    char fill;
    const char *note; /* behind the bar, at most 12 columns; may be "" */
} spw_ruler_row;

/* Appends the axis and a line a row; rows without both ends are left out. The
 * first row's ends are the servo's and always on the axis; the axis reaches
 * from the lowest end of all to the highest. width: 60 columns at least. */
void spw_ruler_draw(spw_text *out, const spw_ruler_row *rows, size_t n, unsigned width);

#endif
