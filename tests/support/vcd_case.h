/* A dump as a string in, what the reader made of it as a string out. */
#ifndef SPW_VCD_CASE_H
#define SPW_VCD_CASE_H

#include "spanwright/capture.h"

typedef struct vcd_case {
    spw_status status;
    spw_error error;
    bool truncated;
    double duration_s;
    /* "top.a top.b | 0:0=0 10:1=1 20:1=x | 25": channels; changes as
     * time:channel=level; the end. Times in steps of the time unit. */
    char *heard;
    char *notes; /* what was recognised, then the warnings, a line each, with "! " before those */
} vcd_case;

/* Reads it whole and in pieces of 1, 7 and 64 bytes, which must not matter.
 * Free with vcd_case_free. */
vcd_case vcd_case_read(const char *text, size_t length, const spw_read_options *options);
void vcd_case_free(vcd_case *got);

#endif
