/* Writing the sheet's HTML: escaped text, values that name their JSON field, tables. */
#ifndef SPW_REPORT_SHEET_HTML_H
#define SPW_REPORT_SHEET_HTML_H

#include "report/draw/draw.h"
#include "report/fields/fields.h"
#include "spanwright/report.h"

#define SPW_MICRO "\xc2\xb5s" /* the unit */
#define SPW_NARROW_PX 336.0   /* a phone's column; half a printed page */
#define SPW_WIDE_PX 720.0

typedef struct spw_sheet spw_sheet;

/* Markup as it is. */
void spw_sheet_put(spw_sheet *sheet, const char *markup);
void spw_sheet_printf(spw_sheet *sheet, const char *format, ...) SPW_PRINTF(2, 3);
/* Text of any bytes, escaped. */
void spw_sheet_text(spw_sheet *sheet, const char *text);
/* A name that may be hostile or very long: cut, and said to be cut. */
void spw_sheet_name(spw_sheet *sheet, const char *name);
/* A sentence of ours, escaped; "us" behind a number becomes the sign of the unit. */
void spw_sheet_prose(spw_sheet *sheet, const char *sentence);

/* A figure that says which JSON field it shows ("plan" or "measure", a path with dots). Without
 * digits it is shown as a dash. `u_path` is the field of what follows the plus-minus sign. */
void spw_sheet_value(spw_sheet *sheet, spw_figure figure, const char *path, const char *u_path);
/* The path of a field of source i: "captures.I.channels.K." and the rest. */
typedef struct spw_field {
    char path[96];
} spw_field;
spw_field spw_sheet_field(const spw_sheet *sheet, size_t source, const char *format, ...)
    SPW_PRINTF(3, 4);

/* "<section><h2>title</h2>" */
void spw_sheet_section(spw_sheet *sheet, const char *class_name, const char *title);
void spw_sheet_section_end(spw_sheet *sheet);
/* The heads are separated by '|'. */
void spw_sheet_table(spw_sheet *sheet, const char *class_name, const char *caption,
                     const char *heads);
void spw_sheet_table_end(spw_sheet *sheet);

/* A figure with its caption; pictures go in between. */
void spw_sheet_figure(spw_sheet *sheet, const char *caption);
void spw_sheet_figure_end(spw_sheet *sheet);

#endif
