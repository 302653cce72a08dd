/* Which column of a table is the time, and in which unit. */
#include "capture/table/finder.h"

/* How one column of the tail runs. */
typedef struct run_kind {
    size_t numbers, different, clocks, days;
    size_t fallen;
    bool falls, counts, bits;
} run_kind;

static run_kind judge_run(const spw_table_finder *find, size_t column) {
    run_kind kind = {.counts = true, .bits = true};
    double last = 0;
    for (size_t i = 0; i < find->tail_rows; i++) {
        spw_table_cell cell = spw_table_find_cell(find, &find->tail[i], column);
        spw_decimal number;
        spw_table_class class = spw_table_find_class(find, &cell, &number);
        kind.clocks += class == SPW_CELL_CLOCK;
        kind.days += class == SPW_CELL_DATE;
        if (class != SPW_CELL_NUMBER)
            continue;
        double value = spw_decimal_value(&number);
        if (number.digits > 1 || (number.exponent != 0 && number.digits != 0))
            kind.bits = kind.bits && (value == 0.0 || value == 1.0);
        if (kind.numbers > 0) {
            kind.fallen += value < last;
            kind.counts = kind.counts && value == last + 1 && number.exponent == 0;
            kind.different += value != last;
        }
        last = value;
        kind.numbers++;
    }
    kind.falls = kind.fallen > 0;
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

/* Numbers that fall this often are volts, not a time with a fault in it. */
static bool plainly_no_time(const run_kind *kind) {
    return kind->numbers >= 8 && !kind->bits && kind->fallen * 10 > kind->numbers;
}

/* The first column that the header calls a time; one of numbers before one of
 * calendar times, which seldom tell less than a second. */
static size_t named_time(const spw_table_finder *find) {
    const spw_table_layout *layout = find->layout;
    size_t calendar = SPW_TABLE_NONE;
    for (size_t k = layout->first; k < layout->columns; k++) {
        const spw_table_cell *name = &layout->column[k].name;
        if (!layout->column[k].value || name->length == 0 ||
            !spw_table_names_time(name->text, name->length))
            continue;
        if (!layout->column[k].calendar)
            return k;
        if (calendar == SPW_TABLE_NONE)
            calendar = k;
    }
    return calendar;
}

/* Calendar times beside the time column are no channel. */
static void leave_calendars(spw_table_layout *layout) {
    for (size_t k = layout->first; k < layout->columns; k++) {
        spw_table_column *column = &layout->column[k];
        column->calendar = column->calendar && column->value && k != layout->time_column &&
                           k != layout->count_column;
        column->value = column->value && !column->calendar;
    }
}

void spw_table_find_time_column(spw_table_finder *find) {
    spw_table_layout *layout = find->layout;
    layout->count_column = SPW_TABLE_NONE;
    layout->time_column = named_time(find);
    layout->time_named = layout->time_column != SPW_TABLE_NONE;
    size_t first = layout->first;
    const spw_table_cell *name = &layout->column[first].name;
    run_kind run = judge_run(find, first);
    layout->count_named = name->length > 0 && spw_table_names_count(name->text, name->length);
    if (layout->time_column == first)
        ; /* said so */
    else if (layout->time_column != SPW_TABLE_NONE) {
        if (run.counts || layout->column[first].calendar || layout->count_named)
            layout->count_column = first;
    } else {
        size_t second = next_value_column(layout, first);
        run_kind next = second != SPW_TABLE_NONE ? judge_run(find, second) : (run_kind){0};
        bool day_first = next.clocks > 0 && run.clocks == 0;
        if (day_first || ((run.counts || layout->count_named) && rises(&next))) {
            layout->time_column = second;
            layout->count_column = first;
        } else if (find->options->has_rate) {
            if (layout->count_named || run.counts)
                layout->count_column = first;
            else if ((rises(&run) || run.clocks > 0) && second != SPW_TABLE_NONE)
                layout->time_column = first;
        } else if (run.counts && layout->told_rate_hz > 0) {
            layout->count_column = first; /* the step of samples is told, and this is none */
        } else if (!plainly_no_time(&run)) {
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
    leave_calendars(layout);
}

static void unit_of_row(spw_table_finder *find, const spw_table_row *row) {
    spw_table_layout *layout = find->layout;
    size_t name_length;
    if (row == NULL || layout->unit_source == SPW_UNIT_BY_HEADER)
        return;
    spw_table_cell cell = spw_table_find_cell(find, row, layout->time_column);
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

void spw_table_find_time_unit(spw_table_finder *find, const spw_table_row *names,
                              const spw_table_row *units) {
    spw_table_layout *layout = find->layout;
    static const int option_exponent[] = {0, 0, -3, -6, -9};
    if (layout->time_column == SPW_TABLE_NONE)
        return;
    spw_table_cell cell =
        spw_table_find_cell(find, &find->tail[find->tail_rows - 1], layout->time_column);
    spw_decimal number = {0};
    spw_table_class class = spw_table_find_class(find, &cell, &number);
    if (class == SPW_CELL_CLOCK) {
        layout->unit_source = SPW_UNIT_BY_CALENDAR;
        return;
    }
    unit_of_row(find, units);
    unit_of_row(find, names);
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
