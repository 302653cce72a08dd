/* One reading of a table, from the head to the last row, and what is said of it. */
#ifndef SPW_CAPTURE_TABLE_READING_H
#define SPW_CAPTURE_TABLE_READING_H

#include "capture/table/rows.h"

typedef struct table_reading {
    spw_source *source;
    const spw_read_options *options;
    spw_emitter *emitter;
    spw_capture_summary *summary;
    spw_error *error;
    const char *head;
    size_t length;
    size_t mark; /* bytes of a byte-order mark before it */
    bool whole;
    spw_table_layout layout;
    spw_table_probe probe;
    spw_table_fit fit;
    spw_table_clock clock;
    char **names; /* of the channels, as many as `channels` */
    uint32_t channels;
    size_t sampled;
    size_t widths;    /* channels of pulse widths */
    double row_apart; /* usual distance of rows, in numbers of the time column */
} table_reading;

#define SAY(...) spw_notes_add(&reading->summary->recognised, __VA_ARGS__)
#define WARN(...) spw_notes_add(&reading->summary->warnings, __VA_ARGS__)

/* Decides on the clock (table_timing.c); refuses what cannot be told. */
spw_status spw_table_find_clock(table_reading *reading) SPW_CHECKED;
/* Tells columns of pulse widths, and of degrees, from volts (table_widths.c). */
spw_status spw_table_find_widths(table_reading *reading) SPW_CHECKED;
/* The unit that makes numbers `apart` frames of control pulses where seconds do not;
 * NULL when none does (table_say.c). */
const char *spw_table_unit_that_fits(double apart);
/* Announces the channels (table_channels.c). */
spw_status spw_table_announce(table_reading *reading) SPW_CHECKED;

/* What was recognised, and what is to be warned of (table_say.c). */
spw_status spw_table_say_dialect(table_reading *reading) SPW_CHECKED;
spw_status spw_table_say_unit(table_reading *reading) SPW_CHECKED;
spw_status spw_table_say_clock(table_reading *reading) SPW_CHECKED;
spw_status spw_table_say_count_column(table_reading *reading) SPW_CHECKED;
spw_status spw_table_say_left_out(table_reading *reading) SPW_CHECKED;
spw_status spw_table_warn_cells(table_reading *reading) SPW_CHECKED;
spw_status spw_table_warn_rows(table_reading *reading, const spw_table_run *run) SPW_CHECKED;

#endif
