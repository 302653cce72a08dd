/* The layout of a table: which columns hold values, where the numbers start,
 * what the rows above them say, and which column is the time. */
#include "capture/table_parts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HEADER_ROWS_MAX 3

typedef struct finder {
    const char *head;
    size_t length;
    bool whole;
    const spw_read_options *options;
    spw_table_layout *layout;
    spw_error *error;
    spw_table_row tail[SPW_TABLE_TAIL_ROWS]; /* the last rows of the head */
    size_t tail_rows;
    spw_table_row above[HEADER_ROWS_MAX]; /* above the numbers, the nearest first */
    size_t above_rows;
} finder;

static bool is_value(spw_table_class class) {
    return class != SPW_CELL_EMPTY && class != SPW_CELL_TEXT;
}

static spw_table_class class_of(const finder *find, const spw_table_cell *cell,
                                spw_decimal *number) {
    bool time_of_day;
    return spw_table_classify(cell, find->layout->dialect.mark, number, &time_of_day);
}

static spw_table_cells cells_of(const finder *find, const spw_table_row *row) {
    return (spw_table_cells){row->text, row->text + row->length, find->layout->dialect.separator};
}

/* Cell `index` of a row; an empty one when the row is shorter. */
static spw_table_cell cell_at(const finder *find, const spw_table_row *row, size_t index) {
    spw_table_cells cells = cells_of(find, row);
    spw_table_cell cell = {.text = ""};
    for (size_t k = 0; spw_table_next_cell(&cells, &cell); k++)
        if (k == index)
            return cell;
    return (spw_table_cell){.text = ""};
}

/* ---- columns ---- */

/* The most cells that a quarter of the rows have, or more. */
static spw_status count_columns(finder *find) {
    size_t count[SPW_TABLE_TAIL_ROWS];
    for (size_t i = 0; i < find->tail_rows; i++) {
        spw_table_cells cells = cells_of(find, &find->tail[i]);
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
static spw_status find_value_columns(finder *find) {
    spw_table_layout *layout = find->layout;
    spw_status status = count_columns(find);
    if (status != SPW_OK)
        return status;
    layout->column = calloc(layout->columns, sizeof *layout->column);
    size_t *values = calloc(layout->columns, sizeof *values);
    if (layout->column == NULL || values == NULL) {
        free(values);
        return spw_error_set(find->error, SPW_ERR_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < find->tail_rows; i++) {
        spw_table_cells cells = cells_of(find, &find->tail[i]);
        spw_table_cell cell;
        for (size_t k = 0; k < layout->columns && spw_table_next_cell(&cells, &cell); k++) {
            spw_decimal number;
            values[k] += is_value(class_of(find, &cell, &number));
            layout->column[k].filled = layout->column[k].filled || cell.length > 0;
        }
    }
    layout->first = SPW_TABLE_NONE;
    for (size_t k = 0; k < layout->columns; k++) {
        layout->column[k].value = values[k] * 2 > find->tail_rows;
        layout->column[k].factor = 1.0;
        layout->column[k].unit = SPW_UNIT_VOLT;
        layout->column[k].level = SPW_TABLE_NO_LEVEL;
        if (layout->column[k].value && layout->first == SPW_TABLE_NONE)
            layout->first = k;
    }
    free(values);
    return layout->first != SPW_TABLE_NONE
               ? SPW_OK
               : spw_error_set(find->error, SPW_ERR_FORMAT,
                               "no column holds a number in most rows; export the capture with "
                               "one row of numbers a sample or a change");
}

/* ---- where the numbers start ---- */

static bool is_data(const finder *find, const spw_table_row *row) {
    const spw_table_layout *layout = find->layout;
    spw_table_cells cells = cells_of(find, row);
    spw_table_cell cell;
    size_t wanted = 0, filled = 0;
    for (size_t k = 0; k < layout->columns; k++) {
        bool there = spw_table_next_cell(&cells, &cell);
        if (!layout->column[k].value)
            continue;
        wanted++;
        if (!there)
            continue;
        spw_decimal number;
        spw_table_class class = class_of(find, &cell, &number);
        if (class == SPW_CELL_TEXT || (k == layout->first && class == SPW_CELL_EMPTY))
            return false;
        filled += class != SPW_CELL_EMPTY;
    }
    return filled * 2 >= wanted;
}

/* Numbers in a preamble are followed by other rows than numbers. */
static bool goes_on(const finder *find, spw_table_cursor cursor) {
    spw_table_row row;
    while (spw_table_next_row(&cursor, &row))
        if (!spw_table_row_blank(&row))
            return is_data(find, &row) || !row.ended;
    return true;
}

static void remember_above(finder *find, const spw_table_row *row) {
    memmove(find->above + 1, find->above, sizeof find->above - sizeof find->above[0]);
    find->above[0] = *row;
    if (find->above_rows < HEADER_ROWS_MAX)
        find->above_rows++;
}

static spw_status find_data(finder *find) {
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
            if (goes_on(find, cursor)) {
                layout->data_at = (size_t)(row.text - find->head);
                layout->data_line = row.line;
                layout->beside_words = layout->first > 0 && cell_at(find, &row, 0).length > 0 &&
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

/* ---- the rows above ---- */

typedef struct above_kind {
    size_t words, numbers, units, different;
    bool time_first;
} above_kind;

static above_kind judge_above(const finder *find, const spw_table_row *row) {
    const spw_table_layout *layout = find->layout;
    above_kind kind = {0};
    spw_table_cells cells = cells_of(find, row);
    spw_table_cell cell, before = {.text = ""};
    for (size_t k = 0; k < layout->columns && spw_table_next_cell(&cells, &cell); k++) {
        if (!layout->column[k].value || cell.length == 0)
            continue;
        spw_decimal number;
        size_t name_length = 1;
        int exponent;
        double factor;
        if (k == layout->first)
            kind.time_first = spw_table_names_time(cell.text, cell.length);
        if (class_of(find, &cell, &number) == SPW_CELL_NUMBER)
            kind.numbers++;
        else
            kind.words++;
        if ((spw_table_time_unit(cell.text, cell.length, &name_length, &exponent) ||
             spw_table_volt_unit(cell.text, cell.length, &name_length, &factor)) &&
            name_length == 0)
            kind.units++;
        if (cell.length != before.length || memcmp(cell.text, before.text, cell.length) != 0)
            kind.different++;
        before = cell;
    }
    return kind;
}

static bool looks_like_header(const finder *find, size_t index, size_t wanted, above_kind *kind) {
    if (index >= find->above_rows)
        return false;
    *kind = judge_above(find, &find->above[index]);
    if (kind->words == 0 || (kind->numbers > 0 && !kind->time_first))
        return false;
    return (kind->words + kind->numbers) * 2 >= wanted || kind->units == kind->words;
}

/* Names and units stand in the up to three rows right above the numbers. A row
 * of some units is one of units when another row above it can have the names. */
static void find_header(finder *find, const spw_table_row **names, const spw_table_row **units) {
    spw_table_layout *layout = find->layout;
    size_t wanted = 0, most = 0;
    for (size_t k = 0; k < layout->columns; k++)
        wanted += layout->column[k].value;
    *names = *units = NULL;
    above_kind kind, next;
    for (size_t i = 0; looks_like_header(find, i, wanted, &kind); i++) {
        layout->header_rows++;
        bool has_units = kind.units > 0 && kind.units * 2 >= kind.words;
        if (has_units && *units == NULL && *names == NULL &&
            (kind.units == kind.words || looks_like_header(find, i + 1, wanted, &next))) {
            *units = &find->above[i];
        } else if (kind.different > most) {
            *names = &find->above[i];
            most = kind.different;
        }
    }
    if (*names != NULL)
        layout->names_line = (*names)->line;
}

static void take_names(finder *find, const spw_table_row *names, const spw_table_row *units) {
    spw_table_layout *layout = find->layout;
    for (size_t k = 0; k < layout->columns; k++)
        layout->column[k].name = (spw_table_cell){.text = ""};
    for (int pass = 0; pass < 2; pass++) {
        const spw_table_row *row = pass == 0 ? names : units;
        if (row == NULL)
            continue;
        spw_table_cells cells = cells_of(find, row);
        spw_table_cell cell;
        for (size_t k = 0; k < layout->columns && spw_table_next_cell(&cells, &cell); k++) {
            spw_table_column *column = &layout->column[k];
            size_t name_length;
            double factor;
            if (pass == 0)
                column->name = cell;
            if (!spw_table_volt_unit(cell.text, cell.length, &name_length, &factor))
                continue;
            column->factor = factor;
            column->named_volts = true;
            if (pass == 0 && name_length > 0)
                column->name.length = name_length;
        }
    }
}

/* ---- time ---- */

/* How one column of the tail runs. */
typedef struct run_kind {
    size_t numbers, different, clocks, days;
    bool falls, counts, bits;
} run_kind;

static run_kind judge_run(const finder *find, size_t column) {
    run_kind kind = {.counts = true, .bits = true};
    double last = 0;
    for (size_t i = 0; i < find->tail_rows; i++) {
        spw_table_cell cell = cell_at(find, &find->tail[i], column);
        spw_decimal number;
        spw_table_class class = class_of(find, &cell, &number);
        kind.clocks += class == SPW_CELL_CLOCK;
        kind.days += class == SPW_CELL_DATE;
        if (class != SPW_CELL_NUMBER)
            continue;
        double value = spw_decimal_value(&number);
        if (number.digits > 1 || (number.exponent != 0 && number.digits != 0))
            kind.bits = kind.bits && (value == 0.0 || value == 1.0);
        if (kind.numbers > 0) {
            kind.falls = kind.falls || value < last;
            kind.counts = kind.counts && value == last + 1 && number.exponent == 0;
            kind.different += value != last;
        }
        last = value;
        kind.numbers++;
    }
    kind.counts = kind.counts && kind.numbers >= 3;
    return kind;
}

static bool rises(const run_kind *kind) {
    return kind->numbers >= 3 && !kind->falls && !kind->bits && kind->different >= 2;
}

static size_t next_value_column(const spw_table_layout *layout, size_t column) {
    for (size_t k = column + 1; k < layout->columns; k++)
        if (layout->column[k].value)
            return k;
    return SPW_TABLE_NONE;
}

static void choose_time_column(finder *find) {
    spw_table_layout *layout = find->layout;
    layout->time_column = layout->count_column = SPW_TABLE_NONE;
    for (size_t k = layout->first; k < layout->columns; k++) {
        const spw_table_cell *name = &layout->column[k].name;
        if (layout->column[k].value && name->length > 0 &&
            spw_table_names_time(name->text, name->length)) {
            layout->time_column = k;
            layout->time_named = true;
            break;
        }
    }
    size_t first = layout->first;
    const spw_table_cell *name = &layout->column[first].name;
    run_kind run = judge_run(find, first);
    layout->count_named = name->length > 0 && spw_table_names_count(name->text, name->length);
    if (layout->time_column == first)
        ; /* said so */
    else if (layout->time_column != SPW_TABLE_NONE) {
        if (run.counts || run.days > 0 || layout->count_named)
            layout->count_column = first;
    } else {
        size_t second = next_value_column(layout, first);
        run_kind next = second != SPW_TABLE_NONE ? judge_run(find, second) : (run_kind){0};
        if (next.clocks > 0 && run.clocks == 0) {
            layout->time_column = second; /* behind a day, or a count */
            layout->count_column = first;
        } else if ((run.counts || layout->count_named) && rises(&next)) {
            layout->time_column = second;
            layout->count_column = first;
        } else if (find->options->has_rate) {
            if (layout->count_named || run.counts)
                layout->count_column = first;
            else if ((rises(&run) || run.clocks > 0) && second != SPW_TABLE_NONE)
                layout->time_column = first;
        } else {
            layout->time_column = first;
        }
    }
    /* A column of days alone, named or not, goes with the time of day beside it. */
    size_t second = next_value_column(layout, first);
    if (layout->time_column == first && run.days > 0 && second != SPW_TABLE_NONE &&
        judge_run(find, second).clocks > 0) {
        layout->time_column = second;
        layout->count_column = first;
    }
}

static void unit_of_row(finder *find, const spw_table_row *row) {
    spw_table_layout *layout = find->layout;
    size_t name_length;
    if (row == NULL || layout->unit_source == SPW_UNIT_BY_HEADER)
        return;
    spw_table_cell cell = cell_at(find, row, layout->time_column);
    if (spw_table_time_unit(cell.text, cell.length, &name_length, &layout->time_exponent))
        layout->unit_source = SPW_UNIT_BY_HEADER;
}

/* Whole numbers so large that, as this unit, they count from 1970 and lie
 * between 2000 and 2100. */
static bool since_1970(uint64_t value, int exponent) {
    double seconds = (double)value;
    for (int i = exponent; i < 0; i++)
        seconds /= 10;
    return seconds > 946684800.0 && seconds < 4102444800.0;
}

static void find_unit(finder *find, const spw_table_row *names, const spw_table_row *units) {
    spw_table_layout *layout = find->layout;
    static const int option_exponent[] = {0, 0, -3, -6, -9};
    if (layout->time_column == SPW_TABLE_NONE)
        return;
    spw_table_cell cell = cell_at(find, &find->tail[find->tail_rows - 1], layout->time_column);
    spw_decimal number = {0};
    spw_table_class class = class_of(find, &cell, &number);
    if (class == SPW_CELL_CLOCK) {
        layout->unit_source = SPW_UNIT_BY_CALENDAR;
        return;
    }
    unit_of_row(find, units);
    unit_of_row(find, names);
    for (size_t i = 0; i < layout->header_rows; i++)
        unit_of_row(find, &find->above[i]);
    if (layout->unit_source == SPW_UNIT_BY_HEADER)
        return;
    if (find->options->time_unit != SPW_TIME_AUTO) {
        layout->time_exponent = option_exponent[find->options->time_unit];
        layout->unit_source = SPW_UNIT_BY_OPTION;
        return;
    }
    for (int exponent = -9; exponent <= -3; exponent += 3)
        if (class == SPW_CELL_NUMBER && number.exponent == 0 && !number.negative &&
            since_1970(number.digits, exponent)) {
            layout->time_exponent = exponent;
            layout->unit_source = SPW_UNIT_BY_SIZE;
        }
}

static spw_status check_columns(finder *find) {
    const spw_table_layout *layout = find->layout;
    size_t values = 0;
    for (size_t k = 0; k < layout->columns; k++)
        values += layout->column[k].value && k != layout->time_column && k != layout->count_column;
    const spw_table_cell *name = &layout->column[layout->first].name;
    char shown[64];
    if (layout->time_column == SPW_TABLE_NONE && !find->options->has_rate)
        return spw_error_set(find->error, SPW_ERR_FORMAT,
                             "no column of the table is a time; give the rows a second with "
                             "--rate HZ");
    if (layout->count_named && layout->time_column == layout->first && !find->options->has_rate)
        return spw_error_set(
            find->error, SPW_ERR_FORMAT,
            "column %zu (\"%s\") counts rows and no column tells the time; give the rows a second "
            "with --rate HZ",
            layout->first + 1, spw_text_safe(shown, sizeof shown, name->text, name->length));
    if (values == 0 && layout->time_column != SPW_TABLE_NONE && !find->options->has_rate &&
        !layout->time_named)
        return spw_error_set(find->error, SPW_ERR_FORMAT,
                             "the table has one column of numbers; if they are samples of a line, "
                             "give the rows a second with --rate HZ");
    if (values == 0)
        return spw_error_set(find->error, SPW_ERR_FORMAT,
                             "the table has a time column and no other column of numbers; export "
                             "the channels with it");
    return SPW_OK;
}

static spw_status no_numbers(finder *find) {
    const spw_table_dialect *dialect = &find->layout->dialect;
    if (dialect->lines > 0 && find->whole && memchr(find->head, '\0', find->length) == NULL) {
        spw_table_cursor cursor = {find->head, find->head + find->length, 1, dialect->line_end, 0};
        spw_table_row row;
        size_t rows = 0;
        while (spw_table_next_row(&cursor, &row))
            rows += !spw_table_row_blank(&row);
        if (rows <= HEADER_ROWS_MAX)
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
    finder find = {.head = head,
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
    find_header(&find, &names, &units);
    take_names(&find, names, units);
    choose_time_column(&find);
    find_unit(&find, names, units);
    return check_columns(&find);
}

void spw_table_layout_free(spw_table_layout *layout) {
    free(layout->column);
    layout->column = NULL;
}

/* ---- names ---- */

static bool taken(const char *name, char *const *names, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (strcmp(names[i], name) == 0)
            return true;
    return false;
}

char *spw_table_channel_name(const spw_table_layout *layout, size_t column, char *const *names,
                             size_t n) {
    const spw_table_cell *cell = &layout->column[column].name;
    size_t room = cell->length + 32, length = 0;
    char *name = malloc(room);
    if (name == NULL)
        return NULL;
    for (size_t i = 0; i < cell->length; i++) {
        name[length++] = cell->text[i];
        if (cell->quoted && cell->text[i] == '"' && i + 1 < cell->length &&
            cell->text[i + 1] == '"')
            i++;
    }
    name[length] = '\0';
    if (length == 0 || strlen(name) != length) {
        size_t from = layout->time_column != SPW_TABLE_NONE && layout->time_column < column
                          ? layout->time_column + 1
                          : layout->first;
        length = (size_t)snprintf(name, room, "ch%zu", column - from);
    }
    for (unsigned k = 2; taken(name, names, n); k++)
        (void)snprintf(name + length, room - length, "~%u", k);
    return name;
}
