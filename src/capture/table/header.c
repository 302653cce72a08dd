/* The rows above the numbers: names, units, and the channels' names from them. */
#include "capture/table/finder.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct above_kind {
    size_t words, numbers, units, different;
    bool time_first;
} above_kind;

static above_kind judge_above(const spw_table_finder *find, const spw_table_row *row) {
    const spw_table_layout *layout = find->layout;
    above_kind kind = {0};
    spw_table_cells cells = spw_table_find_cells(find, row);
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
        if (spw_table_find_class(find, &cell, &number) == SPW_CELL_NUMBER)
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

static bool looks_like_header(const spw_table_finder *find, size_t index, size_t wanted,
                              above_kind *kind) {
    if (index >= find->above_rows)
        return false;
    *kind = judge_above(find, &find->above[index]);
    if (kind->words == 0 || (kind->numbers > 0 && !kind->time_first))
        return false;
    return (kind->words + kind->numbers) * 2 >= wanted || kind->units == kind->words;
}

/* Names and units stand in the up to three rows right above the numbers. A row
 * of some units is one of units when another row above it can have the names. */
static void find_rows(spw_table_finder *find, const spw_table_row **names,
                      const spw_table_row **units) {
    spw_table_layout *layout = find->layout;
    size_t wanted = 0, most = 0;
    for (size_t k = 0; k < layout->columns; k++)
        wanted += layout->column[k].value;
    *names = *units = NULL;
    above_kind kind, next;
    for (size_t i = 0; looks_like_header(find, i, wanted, &kind); i++) {
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

/* Up to the last cell that holds something. */
static size_t cells_filled(const spw_table_finder *find, const spw_table_row *row) {
    spw_table_cells cells = spw_table_find_cells(find, row);
    spw_table_cell cell;
    size_t filled = 0;
    for (size_t k = 1; k <= SPW_TABLE_COLUMNS_MAX && spw_table_next_cell(&cells, &cell); k++)
        filled = cell.length > 0 ? k : filled;
    return filled;
}

static void take_names(spw_table_finder *find, const spw_table_row *names,
                       const spw_table_row *units) {
    spw_table_layout *layout = find->layout;
    for (size_t k = 0; k < layout->columns; k++)
        layout->column[k].name = (spw_table_cell){.text = ""};
    for (int pass = 0; pass < 2; pass++) {
        const spw_table_row *row = pass == 0 ? names : units;
        if (row == NULL)
            continue;
        spw_table_cells cells = spw_table_find_cells(find, row);
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

void spw_table_find_header(spw_table_finder *find, const spw_table_row **names,
                           const spw_table_row **units) {
    find_rows(find, names, units);
    spw_table_layout *layout = find->layout;
    layout->named = *names != NULL ? cells_filled(find, *names) : 0;
    for (size_t k = 0; k < layout->columns; k++)
        layout->filled = layout->column[k].filled ? k + 1 : layout->filled;
    take_names(find, *names, *units);
}

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
