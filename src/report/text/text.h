/* A page of plain text: sections, labelled rows wrapped with a hanging indent,
 * marked notes, numbered steps. Colour only repeats what the words say. */
#ifndef SPW_REPORT_TEXT_TEXT_H
#define SPW_REPORT_TEXT_TEXT_H

#include "spanwright/report.h"

#include <stdarg.h>

typedef enum spw_tone { SPW_TONE_PLAIN, SPW_TONE_STRONG, SPW_TONE_GOOD, SPW_TONE_BAD } spw_tone;

typedef struct spw_page {
    spw_text *out;
    unsigned width;
    bool colour;
} spw_page;

spw_page spw_page_start(spw_text *out, const spw_text_style *style);
/* A heading at the margin, wrapped. */
void spw_page_title(const spw_page *page, const char *format, ...) SPW_PRINTF(2, 3);
/* An empty line and a heading. */
void spw_page_section(const spw_page *page, const char *name);
/* "  Label         text", the text wrapped under itself. */
void spw_page_row(const spw_page *page, const char *label, const char *format, ...)
    SPW_PRINTF(3, 4);
void spw_page_row_toned(const spw_page *page, spw_tone tone, const char *label, const char *format,
                        ...) SPW_PRINTF(4, 5);
/* "  ! text": a warning or caution. */
void spw_page_warn(const spw_page *page, const char *format, ...) SPW_PRINTF(2, 3);
/* "  1. text" */
void spw_page_step(const spw_page *page, size_t number, const char *format, ...) SPW_PRINTF(3, 4);
/* One line as it is. */
void spw_page_line(const spw_page *page, const char *format, ...) SPW_PRINTF(2, 3);

/* Columns that text takes (characters, not bytes). */
size_t spw_page_columns(const char *text);
/* A name from a capture, safe and at most `columns` wide. */
typedef struct spw_shown {
    char text[256];
} spw_shown;
spw_shown spw_shown_name(const char *name, size_t columns);

#endif
