/* Ranges as bars over one axis. */
#ifndef SPW_REPORT_SHEET_BARS_H
#define SPW_REPORT_SHEET_BARS_H

#include "report/sheet/sheet.h"

typedef struct spw_bar {
    const char *label, *value; /* what it is; its figures */
    const char *more;          /* figures that a narrow picture puts beside the label, or "" */
    const char *class_name;    /* "want" "sent" "after" */
    double low, high;          /* a bar without both is left out */
    double mark;               /* NAN: none */
} spw_bar;
#define SPW_BARS_MAX 6

/* Draws the picture twice: wide and narrow. `id` is made unique by a letter. */
void spw_sheet_bars(spw_sheet *sheet, const char *id, const char *title, const spw_bar *bars,
                    size_t n, const char *unit);

#endif
