/* A sink that checks what spanwright/capture.h promises (a breach aborts with
 * a sentence) and, if wanted, keeps what it got. */
#ifndef SPW_KEPT_H
#define SPW_KEPT_H

#include "spanwright/capture.h"

typedef struct kept_channel {
    char name[256];
    spw_channel_info info; /* its name points to `name` */
    uint64_t n_samples;
    float *samples; /* n_kept of them */
    size_t n_kept, room;
} kept_channel;

typedef struct kept_reading {
    uint32_t channel;
    spw_reading of;
} kept_reading;

typedef struct kept {
    size_t keep; /* how many changes, and samples a channel, to keep */
    size_t n_channels, channel_room;
    kept_channel *channels;
    uint64_t n_changes;
    double last_s;
    spw_change *changes; /* n_kept of them */
    size_t n_kept, room;
    kept_reading *readings; /* n_readings of them */
    size_t n_readings, reading_room;
    uint64_t stop_after; /* calls of changes or samples, then stop_status; 0: never */
    uint64_t calls;
    spw_status stop_status;
    /* the place lent for the next samples, or NULL; each third time that one is asked for there
     * is none */
    float *lent;
    uint32_t lent_for;
    size_t lent_n, asked;
} kept;

spw_sink kept_sink(kept *into);
/* What the summary of a successful reading promises. */
void kept_check_summary(const kept *got, const spw_capture_summary *summary);
void kept_free(kept *got);

#endif
