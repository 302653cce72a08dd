/* The text of a time that goes on by an even step, foretold digit by digit:
 * its lowest eight characters are counted up as one number, so that the time
 * of the next row is compared and need not be read. */
#ifndef SPW_CAPTURE_TABLE_ROW_STEP_H
#define SPW_CAPTURE_TABLE_ROW_STEP_H

#include "base/digits.h"
#include "capture/table/rows.h"

#define SPW_TABLE_BEAT_CELL 64 /* longer time cells are not foretold */

/* The window is the last eight characters that move, its lowest byte the last
 * one; digits before it stand still until it overflows. In `state` a digit d is
 * 0xf6 + d, so that a sum of two digits past 9 carries into the next byte; the
 * decimal mark is 0xff, which a carry passes through. A byte that has overflowed
 * is below 0x80 and gets its `floor` back. Bytes above a narrower window are 0. */
typedef struct spw_table_beat {
    uint64_t state, step, floor, shown; /* the text is state - shown */
    size_t at, width;                   /* the window, from the row's start */
    unsigned shift;                     /* bits of a window of less than eight */
    size_t cell;                        /* bytes up to and with the separator */
    char text[SPW_TABLE_BEAT_CELL];     /* the cell as it began */
    uint64_t head_mask, head;           /* its first characters, up to eight */
} spw_table_beat;

/* Starts from the row at `row`, which was just taken; at least as much as it
 * takes follows it. False when its time cannot be foretold. */
bool spw_table_beat_start(const spw_table_run *run, const char *row, const char *next,
                          spw_table_beat *beat);

/* The window of a row, as a number; eight bytes are read from `at` on. */
static inline uint64_t spw_table_beat_window(const spw_table_beat *beat, const char *row) {
    return __builtin_bswap64(spw_eight_load(row + beat->at) << beat->shift);
}

/* The window's text one step on. False when it overflows: what stands before
 * it would have to move. */
static inline bool spw_table_beat_next(spw_table_beat *beat, uint64_t *text) {
    uint64_t sum;
    if (__builtin_add_overflow(beat->state, beat->step, &sum))
        return false;
    uint64_t past = (~sum >> 7) & SPW_EIGHT(1);
    beat->state = sum + (((past << 8) - past) & beat->floor);
    *text = beat->state - beat->shown;
    return true;
}

/* Does the row's time stand one step on? Sixteen bytes at `row` and eight at
 * its window are read. */
static inline bool spw_table_beat_holds(spw_table_beat *beat, const char *row) {
    uint64_t text, head = (spw_eight_load(row) ^ beat->head) & beat->head_mask;
    if (!spw_table_beat_next(beat, &text) ||
        ((spw_table_beat_window(beat, row) ^ text) | head) != 0)
        return false;
    if (beat->at > 8 && memcmp(row + 8, beat->text + 8, beat->at - 8) != 0)
        return false;
    for (size_t i = beat->at + beat->width; i < beat->cell; i++)
        if (row[i] != beat->text[i])
            return false;
    return true;
}

#endif
