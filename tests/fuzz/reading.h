/* One reading of a capture, boiled down so that two of them can be compared. */
#ifndef SPW_FUZZ_READING_H
#define SPW_FUZZ_READING_H

#include "capture/reader.h"

typedef struct fuzz_reading {
    spw_status status;
    spw_error error;
    spw_capture_summary summary; /* on SPW_OK */
    size_t channels;
    uint64_t changes;
    uint64_t samples;
    uint64_t content; /* a digest of everything delivered */
} fuzz_reading;

/* Reads from a path, checking what capture.h promises.
 *   stop_after  > 0: the sink ends the reading after so many calls */
void fuzz_read_path(const char *path, const spw_read_options *options, uint64_t stop_after,
                    fuzz_reading *reading);
/* The same from memory, with looks of at most `step` bytes. */
void fuzz_read_memory(const void *bytes, size_t length, size_t step,
                      const spw_read_options *options, fuzz_reading *reading);
/* The same content was delivered, with the same end. */
bool fuzz_same_content(const fuzz_reading *a, const fuzz_reading *b);
/* And the same was said of it. */
bool fuzz_same_words(const fuzz_reading *a, const fuzz_reading *b);
void fuzz_reading_free(fuzz_reading *reading);

#endif
