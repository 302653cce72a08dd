/* One small capture of each kind, of the same two lines: a controller's, and what
 * an adapter makes of it a frame later. */
#ifndef TEST_SMALL_CAPTURES_H
#define TEST_SMALL_CAPTURES_H

#include "spanwright/capture.h"

typedef struct small_capture {
    const char *kind;
    char path[160];
    size_t length; /* of the file */
    spw_read_options read;
} small_capture;

enum {
    SMALL_VCD,
    SMALL_LOGIC,
    SMALL_VOLTS,
    SMALL_RAW,
    SMALL_WAV,
    SMALL_FLAC,
    SMALL_GZIP,
    SMALL_WIDTHS,
    SMALL_N
};

/* Writes them to the scratch folder. */
void small_captures_write(small_capture capture[SMALL_N]);

#endif
