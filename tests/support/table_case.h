/* A table read from memory, and what came of it as one text. */
#ifndef SPW_TABLE_CASE_H
#define SPW_TABLE_CASE_H

#include "spanwright/capture.h"
#include "support/kept.h"

typedef struct table_case {
    spw_status status;
    spw_error error;
    spw_capture_summary summary;
    kept got;
    spw_text text; /* "claw 1e-06: 0=0 0.0015=1; lid 1000Hz: 0.5 nan 3.3;
                      servo us 0.001: 0=1500 0.02=1496" */
} table_case;

/*   step  bytes a look gives at most; 0: all. Reads through the table reader
 *         itself, without recognition. */
table_case table_case_read(const char *bytes, size_t length, const spw_read_options *options,
                           size_t step);
void table_case_free(table_case *read);
/* Is there a sentence with these words? */
bool table_case_says(const spw_notes *notes, const char *words);

#endif
