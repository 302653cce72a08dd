/* Finding the layout of a table: what its parts hand to each other. */
#ifndef SPW_CAPTURE_TABLE_FINDER_H
#define SPW_CAPTURE_TABLE_FINDER_H

#include "capture/table/parts.h"

#define SPW_TABLE_HEADER_ROWS_MAX 3

typedef struct spw_table_finder {
    const char *head;
    size_t length;
    bool whole;
    const spw_read_options *options;
    spw_table_layout *layout;
    spw_error *error;
    spw_table_row tail[SPW_TABLE_TAIL_ROWS]; /* the last rows of the head */
    size_t tail_rows;
    spw_table_row above[SPW_TABLE_HEADER_ROWS_MAX]; /* above the numbers, the nearest first */
    size_t above_rows;
} spw_table_finder;

spw_table_class spw_table_find_class(const spw_table_finder *find, const spw_table_cell *cell,
                                     spw_decimal *number);
spw_table_cells spw_table_find_cells(const spw_table_finder *find, const spw_table_row *row);
/* Cell `index` of a row; an empty one when the row is shorter. */
spw_table_cell spw_table_find_cell(const spw_table_finder *find, const spw_table_row *row,
                                   size_t index);
/* From `row` on, which `cursor` stands behind: do rows with words beside them keep the step that
 * the rows without have? Rows of a preamble tell sizes and offsets and keep none. */
bool spw_table_words_beside_data(const spw_table_finder *find, spw_table_cursor cursor,
                                 spw_table_row row);
/* The step or rate that a row above the numbers tells, into the layout (table_preamble.c). */
void spw_table_find_told_rate(const spw_table_finder *find);
/* Rows of names and of units among those above the numbers (table_header.c). */
void spw_table_find_header(spw_table_finder *find, const spw_table_row **names,
                           const spw_table_row **units);
/* Which column is the time, and its unit (table_time_column.c). */
void spw_table_find_time_column(spw_table_finder *find);
void spw_table_find_time_unit(spw_table_finder *find, const spw_table_row *names,
                              const spw_table_row *units);

#endif
