/* Which separator and which decimal mark a table uses: the pair under which
 * most rows at the end of the head are numbers throughout. */
#include "capture/table/parts.h"

#include <string.h>

typedef struct row_kinds {
    size_t cells, values, words, numbers;
} row_kinds;

static row_kinds look_at(const spw_table_row *row, char separator, char mark) {
    row_kinds kinds = {0};
    spw_table_cells cells = {row->text, row->text + row->length, separator};
    spw_table_cell cell;
    while (kinds.cells < SPW_TABLE_COLUMNS_MAX && spw_table_next_cell(&cells, &cell)) {
        spw_decimal number;
        bool time_of_day;
        kinds.cells++;
        switch (spw_table_classify(&cell, mark, &number, &time_of_day)) {
        case SPW_CELL_EMPTY:
            break;
        case SPW_CELL_TEXT:
            kinds.words++;
            break;
        case SPW_CELL_NUMBER:
        case SPW_CELL_CLOCK:
        case SPW_CELL_DATE:
            kinds.numbers++;
            kinds.values++;
            break;
        default:
            kinds.values++;
        }
    }
    return kinds;
}

size_t spw_table_tail_rows(const char *head, size_t length, bool whole, char line_end,
                           spw_table_row rows[SPW_TABLE_TAIL_ROWS]) {
    const char *end = head + length;
    if (length > 0 && end[-1] != line_end) {
        /* What stands behind the last line end may be cut: without it when
         * there is enough before it. */
        const char *last = memrchr(head, line_end, length);
        if (last == NULL && !whole)
            return 0;
        if (last != NULL && (!whole || memchr(head, line_end, (size_t)(last - head)) != NULL))
            end = last + 1;
    }
    size_t n = 0;
    while (n < SPW_TABLE_TAIL_ROWS && end > head) {
        const char *stop = end[-1] == line_end ? end - 1 : end;
        const char *before = stop > head ? memrchr(head, line_end, (size_t)(stop - head)) : NULL;
        const char *at = before != NULL ? before + 1 : head;
        spw_table_row row = {.text = at, .length = (size_t)(stop - at), .ended = true};
        if (!spw_table_row_blank(&row))
            rows[n++] = row;
        end = at;
    }
    for (size_t i = 0; i < n / 2; i++) {
        spw_table_row swap = rows[i];
        rows[i] = rows[n - 1 - i];
        rows[n - 1 - i] = swap;
    }
    return n;
}

/* Digits at `row[at]` behind a comma: how a decimal fraction compares. */
static double pair_value(const spw_decimal *whole, const spw_table_cell *cell) {
    double value = 0, place = 0.1;
    for (size_t i = 0; i < cell->length; i++, place /= 10)
        value += place * (cell->text[i] - '0');
    return (double)whole->digits + value;
}

/* Could the commas of these rows be decimal marks? No point anywhere; a first
 * column that mostly does not rise; and a leading zero behind a comma
 * ("0,05"), or two columns that rise when they are read as one number. */
static bool commas_unclear(const spw_table_row *rows, size_t n) {
    bool zero_led = false, pairs_rise = true, falls = false;
    size_t rises = 0, compared = 0;
    double last = 0, last_pair = -1;
    for (size_t i = 0; i < n; i++) {
        spw_decimal first = {0};
        spw_table_cells cells = {rows[i].text, rows[i].text + rows[i].length, ','};
        spw_table_cell cell;
        size_t k = 0;
        bool row_zero_led = false;
        for (; spw_table_next_cell(&cells, &cell); k++) {
            size_t digits = 0;
            while (digits < cell.length && cell.text[digits] >= '0' && cell.text[digits] <= '9')
                digits++;
            if (digits == 0 || digits < cell.length)
                break;
            if (k == 0)
                (void)spw_decimal_scan(cell.text, cell.length, '.', &first);
            else
                row_zero_led = row_zero_led || (cell.length > 1 && cell.text[0] == '0');
            if (k == 1) {
                double pair = pair_value(&first, &cell);
                pairs_rise = pairs_rise && pair > last_pair;
                last_pair = pair;
            }
        }
        if (cells.at != NULL || (k > 0 && cell.length == 0 && k == 1))
            continue; /* words, points, signs */
        zero_led = zero_led || row_zero_led;
        if (compared++ > 0) {
            rises += (double)first.digits > last;
            falls = falls || (double)first.digits < last;
        }
        last = (double)first.digits;
        pairs_rise = pairs_rise && k % 2 == 0;
    }
    return compared * 2 > n && compared > 1 && (falls || rises * 2 < compared - 1) &&
           (zero_led || pairs_rise);
}

spw_table_dialect spw_table_find_dialect(const char *head, size_t length, bool whole) {
    static const struct {
        char separator, mark;
    } pairs[] = {{'\t', '.'}, {';', '.'}, {',', '.'}, {'\t', ','},
                 {';', ','},  {',', ','}, {' ', '.'}, {' ', ','}};
    spw_table_dialect best = {.separator = ',', .mark = '.', .line_end = '\n'};
    if (length > 0 && memchr(head, '\n', length) == NULL && memchr(head, '\r', length) != NULL)
        best.line_end = '\r';
    spw_table_row rows[SPW_TABLE_TAIL_ROWS];
    size_t n = spw_table_tail_rows(head, length, whole, best.line_end, rows);
    /* Preamble stands at the top: the lower half decides. */
    size_t from = n / 2, best_cells = 0;
    best.lines = n - from;
    for (size_t p = 0; p < sizeof pairs / sizeof pairs[0]; p++) {
        if (pairs[p].separator == ' ' && best.separator != ' ' &&
            (best.rows + best.partly) * 2 > best.lines)
            break; /* blanks are the last resort */
        size_t strict = 0, partly = 0, values = 0;
        for (size_t i = from; i < n; i++) {
            row_kinds kinds = look_at(&rows[i], pairs[p].separator, pairs[p].mark);
            bool blanks = pairs[p].separator == ' '; /* prose has them, too */
            if (kinds.numbers > blanks && kinds.words == 0)
                strict++;
            else if (!blanks && kinds.numbers >= 2 && kinds.values >= kinds.words)
                partly++;
            else
                continue;
            values += kinds.values;
        }
        size_t score = 10 * strict + 4 * partly, best_score = 10 * best.rows + 4 * best.partly;
        if (score > best_score || (score == best_score && score > 0 && values > best_cells)) {
            best.separator = pairs[p].separator;
            best.mark = pairs[p].mark;
            best.rows = strict;
            best.partly = partly;
            best_cells = values;
        }
    }
    best.ambiguous =
        best.separator == ',' && best.mark == '.' && best.rows > 0 && commas_unclear(rows, n);
    return best;
}
