/* The layout of a table: which columns hold values, where the numbers start,
 * what the rows above them say, and which column is the time. */
#include "capture/table/finder.h"

#include <stdlib.h>
#include <string.h>

static bool is_value(spw_table_class class) {
    return class != SPW_CELL_EMPTY && class != SPW_CELL_TEXT;
}

spw_table_class spw_table_find_class(const spw_table_finder *find, const spw_table_cell *cell,
                                     spw_decimal *number) {
    bool time_of_day;
    return spw_table_classify(cell, find->layout->dialect.mark, number, &time_of_day);
}

spw_table_cells spw_table_find_cells(const spw_table_finder *find, const spw_table_row *row) {
    return (spw_table_cells){row->text, row->text + row->length, find->layout->dialect.separator};
}

spw_table_cell spw_table_find_cell(const spw_table_finder *find, const spw_table_row *row,
                                   size_t index) {
    spw_table_cells cells = spw_table_find_cells(find, row);
    spw_table_cell cell = {.text = ""};
    for (size_t k = 0; spw_table_next_cell(&cells, &cell); k++)
        if (k == index)
            return cell;
    return (spw_table_cell){.text = ""};
}

/* ---- columns ---- */

/* The most cells that a quarter of the rows have, or more. */
static spw_status count_columns(spw_table_finder *find) {
    size_t count[SPW_TABLE_TAIL_ROWS];
    for (size_t i = 0; i < find->tail_rows; i++) {
        spw_table_cells cells = spw_table_find_cells(find, &find->tail[i]);
        spw_table_cell cell;
        for (count[i] = 0; spw_table_next_cell(&cells, &cell); count[i]++)
            ;
        if (count[i] > SPW_TABLE_COLUMNS_MAX)
            return spw_error_set(find->error, SPW_ERR_LIMIT,
                                 "the table has more than %zu columns; export fewer channels",
                                 SPW_TABLE_COLUMNS_MAX);
    }
    for (size_t i = 0; i < find->tail_rows; i++) {
        size_t same = 0;
        for (size_t k = 0; k < find->tail_rows; k++)
            same += count[k] == count[i];
        if (same * 4 >= find->tail_rows && count[i] > find->layout->columns)
            find->layout->columns = count[i];
    }
    return SPW_OK;
}

/* A column holds values when most rows of the tail have one there. */
static spw_status find_value_columns(spw_table_finder *find) {
    spw_table_layout *layout = find->layout;
    spw_status status = count_columns(find);
    if (status != SPW_OK)
        return status;
    spw_table_column *column = calloc(layout->columns, sizeof *column);
    struct {
        size_t values, calendars;
    } *held = calloc(layout->columns, sizeof *held);
    if (column == NULL || held == NULL) {
        free(column);
        free(held);
        return spw_error_set(find->error, SPW_ERR_MEMORY, "out of memory");
    }
    layout->column = column;
    for (size_t i = 0; i < find->tail_rows; i++) {
        spw_table_cells cells = spw_table_find_cells(find, &find->tail[i]);
        spw_table_cell cell;
        for (size_t k = 0; k < layout->columns && spw_table_next_cell(&cells, &cell); k++) {
            spw_decimal number;
            spw_table_class class = spw_table_find_class(find, &cell, &number);
            held[k].values += is_value(class);
            held[k].calendars += class == SPW_CELL_CLOCK || class == SPW_CELL_DATE;
            layout->column[k].filled = layout->column[k].filled || cell.length > 0;
        }
    }
    layout->first = SPW_TABLE_NONE;
    for (size_t k = 0; k < layout->columns; k++) {
        layout->column[k].value = held[k].values * 2 > find->tail_rows;
        layout->column[k].calendar = held[k].calendars * 2 > find->tail_rows;
        layout->column[k].factor = 1.0;
        layout->column[k].unit = SPW_UNIT_VOLT;
        layout->column[k].level = SPW_TABLE_NO_LEVEL;
        if (layout->column[k].value && layout->first == SPW_TABLE_NONE)
            layout->first = k;
    }
    free(held);
    return layout->first != SPW_TABLE_NONE
               ? SPW_OK
               : spw_error_set(find->error, SPW_ERR_FORMAT,
                               "no column holds a number in most rows; export the capture with "
                               "one row of numbers a sample or a change");
}

/* ---- where the numbers start ---- */

static bool is_data(const spw_table_finder *find, const spw_table_row *row) {
    const spw_table_layout *layout = find->layout;
    spw_table_cells cells = spw_table_find_cells(find, row);
    spw_table_cell cell;
    size_t wanted = 0, filled = 0, known = 0;
    for (size_t k = 0; k < layout->columns; k++) {
        bool there = spw_table_next_cell(&cells, &cell);
        if (!layout->column[k].value)
            continue;
        wanted++;
        if (!there)
            continue;
        spw_decimal number;
        spw_table_class class = spw_table_find_class(find, &cell, &number);
        if (class == SPW_CELL_TEXT || (k == layout->first && class == SPW_CELL_EMPTY))
            return false;
        filled += class != SPW_CELL_EMPTY;
        known += class != SPW_CELL_EMPTY && class != SPW_CELL_UNKNOWN;
    }
    return known > 0 && filled * 2 >= wanted;
}

/* Numbers in a preamble are followed by other rows than numbers. */
static bool goes_on(const spw_table_finder *find, spw_table_cursor cursor) {
    spw_table_row row;
    while (spw_table_next_row(&cursor, &row))
        if (!spw_table_row_blank(&row))
            return is_data(find, &row) || !row.ended;
    return true;
}

static void remember_above(spw_table_finder *find, const spw_table_row *row) {
    memmove(find->above + 1, find->above, sizeof find->above - sizeof find->above[0]);
    find->above[0] = *row;
    if (find->above_rows < SPW_TABLE_HEADER_ROWS_MAX)
        find->above_rows++;
}

static spw_status find_data(spw_table_finder *find) {
    spw_table_layout *layout = find->layout;
    spw_table_cursor cursor = {.at = find->head,
                               .end = find->head + find->length,
                               .line = 1,
                               .line_end = layout->dialect.line_end,
                               .separator = layout->dialect.separator};
    spw_table_row row;
    spw_table_cursor last_chance = {0};
    spw_table_row last_row = {0};
    while (spw_table_next_row(&cursor, &row)) {
        if (spw_table_row_blank(&row))
            continue;
        if (is_data(find, &row)) {
            if (goes_on(find, cursor) && spw_table_words_beside_data(find, cursor, row)) {
                layout->data_at = (size_t)(row.text - find->head);
                layout->data_line = row.line;
                layout->beside_words = layout->first > 0 &&
                                       spw_table_find_cell(find, &row, 0).length > 0 &&
                                       !layout->column[0].value;
                return SPW_OK;
            }
            last_chance = cursor;
            last_row = row;
        }
        remember_above(find, &row);
    }
    if (last_chance.at == NULL)
        return spw_error_set(find->error, SPW_ERR_FORMAT,
                             "no row holds numbers in all columns; export the capture with one "
                             "row of numbers a sample or a change");
    layout->data_at = (size_t)(last_row.text - find->head);
    layout->data_line = last_row.line;
    find->above_rows = 0;
    return SPW_OK;
}

/* Numbers like pulse widths, whose rows are frames and not samples. */
static bool like_widths(const spw_table_finder *find, size_t column) {
    size_t numbers = 0;
    for (size_t i = 0; i < find->tail_rows; i++) {
        spw_table_cell cell = spw_table_find_cell(find, &find->tail[i], column);
        spw_decimal number;
        if (spw_table_find_class(find, &cell, &number) != SPW_CELL_NUMBER)
            continue;
        double value = spw_decimal_value(&number);
        if (value < SPW_TABLE_WIDTH_LEAST_US || value > SPW_TABLE_WIDTH_MOST_US)
            return false;
        numbers++;
    }
    return numbers * 2 > find->tail_rows;
}

/* The advice of a table without a time. */
static const char *rate_advice(const spw_table_finder *find, char out[96]) {
    const spw_table_layout *layout = find->layout;
    size_t k = layout->columns;
    while (k > 0 && !layout->column[k - 1].value)
        k--;
    if (k > 0 && !(layout->told_rate_hz > 0) && like_widths(find, k - 1))
        return "--rate HZ (if each is the pulse width of a frame, --rate 50)";
    return spw_table_rate_words(layout, out);
}

static spw_status check_columns(spw_table_finder *find) {
    const spw_table_layout *layout = find->layout;
    size_t values = 0;
    for (size_t k = 0; k < layout->columns; k++)
        values += layout->column[k].value && k != layout->time_column && k != layout->count_column;
    const spw_table_cell *name = &layout->column[layout->first].name;
    char shown[64], rate[96];
    const char *words = rate_advice(find, rate);
    if (layout->time_column == SPW_TABLE_NONE && !find->options->has_rate)
        return spw_error_set(find->error, SPW_ERR_FORMAT,
                             "no column of the table is a time; give the rows a second with %s",
                             words);
    if (layout->count_named && layout->time_column == layout->first && !find->options->has_rate)
        return spw_error_set(
            find->error, SPW_ERR_FORMAT,
            "column %zu (\"%s\") counts rows and no column tells the time; give the rows a second "
            "with %s",
            layout->first + 1, spw_text_safe(shown, sizeof shown, name->text, name->length), words);
    if (values == 0 && layout->time_column != SPW_TABLE_NONE && !find->options->has_rate &&
        !layout->time_named)
        return spw_error_set(find->error, SPW_ERR_FORMAT,
                             "the table has one column of numbers; if they are samples of a line, "
                             "give the rows a second with %s",
                             words);
    if (values == 0)
        return spw_error_set(find->error, SPW_ERR_FORMAT,
                             "the table has a time column and no other column of numbers; export "
                             "the channels with it");
    return SPW_OK;
}

static spw_status no_numbers(spw_table_finder *find) {
    const spw_table_dialect *dialect = &find->layout->dialect;
    if (dialect->lines > 0 && find->whole && memchr(find->head, '\0', find->length) == NULL) {
        spw_table_cursor cursor = {find->head, find->head + find->length, 1, dialect->line_end, 0};
        spw_table_row row;
        size_t rows = 0;
        while (spw_table_next_row(&cursor, &row))
            rows += !spw_table_row_blank(&row);
        if (rows <= SPW_TABLE_HEADER_ROWS_MAX)
            return spw_error_set(find->error, SPW_ERR_EMPTY,
                                 "the table has a header and no row of numbers below it; export "
                                 "the capture again");
    }
    return spw_error_set(find->error, SPW_ERR_FORMAT,
                         "the rows hold no numbers in columns; export the capture with one row of "
                         "numbers a sample or a change");
}

spw_status spw_table_find_layout(const char *head, size_t length, bool whole,
                                 const spw_read_options *options, spw_table_layout *layout,
                                 spw_error *error) {
    spw_table_finder find = {.head = head,
                             .length = length,
                             .whole = whole,
                             .options = options,
                             .layout = layout,
                             .error = error};
    layout->dialect = spw_table_find_dialect(head, length, whole);
    if (layout->dialect.ambiguous)
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "commas could separate the columns or be decimal marks; export with "
                             "semicolons or tabs between the columns, or with decimal points");
    if (layout->dialect.rows + layout->dialect.partly == 0)
        return no_numbers(&find);
    size_t n = spw_table_tail_rows(head, length, whole, layout->dialect.line_end, find.tail);
    memmove(find.tail, find.tail + n / 2, (n - n / 2) * sizeof find.tail[0]);
    find.tail_rows = n - n / 2;
    spw_status status = find_value_columns(&find);
    if (status == SPW_OK)
        status = find_data(&find);
    if (status != SPW_OK)
        return status;
    /* From here on the rows of numbers alone tell how the columns run. */
    n = spw_table_tail_rows(head, length, whole, layout->dialect.line_end, find.tail);
    find.tail_rows = 0;
    for (size_t i = 0; i < n; i++)
        if (find.tail[i].text >= head + layout->data_at)
            find.tail[find.tail_rows++] = find.tail[i];
    if (find.tail_rows == 0) /* a single row without a line end */
        find.tail[find.tail_rows++] =
            (spw_table_row){.text = head + layout->data_at, .length = length - layout->data_at};
    const spw_table_row *names, *units;
    spw_table_find_header(&find, &names, &units);
    spw_table_find_told_rate(&find);
    spw_table_find_time_column(&find);
    spw_table_find_time_unit(&find, names, units);
    return check_columns(&find);
}

void spw_table_layout_free(spw_table_layout *layout) {
    free(layout->column);
    layout->column = NULL;
}
