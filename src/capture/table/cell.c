/* Cells and rows of a table (RFC 4180 quotes, blanks beside a cell dropped). */
#include "capture/table/parts.h"

#include <string.h>

/* Longer text is no number: a raw dump of '0' and '1' bytes is no table. */
#define NUMBER_LENGTH_MAX 64
/* A quoted cell of a header may run over lines, but not over a whole file. */
#define QUOTED_MAX ((size_t)4096)

static const char *closing_quote(const char *at, const char *end) {
    while (at < end) {
        const char *quote = memchr(at, '"', (size_t)(end - at));
        if (quote == NULL)
            return NULL;
        if (quote + 1 < end && quote[1] == '"') {
            at = quote + 2;
            continue;
        }
        return quote;
    }
    return NULL;
}

static bool is_blank(char c, char separator) {
    return c == ' ' || c == '\r' || (c == '\t' && separator != '\t');
}

/* Columns set apart by blanks: as many blanks as there are make one separator, and
 * a unit in brackets belongs to the name before it ("Time (s)"). */
static bool next_of_blanks(spw_table_cells *cells, spw_table_cell *cell) {
    const char *at = cells->at, *end = cells->end;
    while (at < end && is_blank(*at, '\0'))
        at++;
    cells->at = NULL;
    if (at == end)
        return false;
    const char *from = at, *next = at;
    do {
        at = next;
        char close = *at == '(' ? ')' : *at == '[' ? ']' : '\0';
        const char *closed = close != '\0' ? memchr(at, close, (size_t)(end - at)) : NULL;
        at = closed != NULL ? closed + 1 : at;
        while (at < end && !is_blank(*at, '\0'))
            at++;
        next = at;
        while (next < end && is_blank(*next, '\0'))
            next++;
    } while (next < end && (*next == '(' || *next == '['));
    cells->at = next < end ? next : NULL;
    *cell = (spw_table_cell){.text = from, .length = (size_t)(at - from)};
    return true;
}

bool spw_table_next_cell(spw_table_cells *cells, spw_table_cell *cell) {
    if (cells->at == NULL)
        return false;
    if (cells->separator == ' ')
        return next_of_blanks(cells, cell);
    const char *at = cells->at, *end = cells->end;
    char separator = cells->separator;
    while (at < end && is_blank(*at, separator))
        at++;
    const char *from = at, *to = NULL;
    if (at < end && *at == '"') {
        const char *close = closing_quote(at + 1, end);
        if (close != NULL) {
            from = at + 1;
            to = close;
            at = close + 1;
        }
    }
    const char *stop = at < end ? memchr(at, separator, (size_t)(end - at)) : NULL;
    cells->at = stop != NULL ? stop + 1 : NULL;
    cell->quoted = to != NULL;
    if (to == NULL)
        to = stop != NULL ? stop : end;
    while (from < to && is_blank(*from, separator))
        from++;
    while (to > from && is_blank(to[-1], separator))
        to--;
    cell->text = from;
    cell->length = (size_t)(to - from);
    return true;
}

spw_table_class spw_table_classify(const spw_table_cell *cell, char mark, spw_decimal *number,
                                   bool *time_of_day) {
    if (cell->length == 0)
        return SPW_CELL_EMPTY;
    if (cell->length > NUMBER_LENGTH_MAX)
        return SPW_CELL_TEXT;
    if (spw_decimal_scan(cell->text, cell->length, mark, number) == cell->length)
        return SPW_CELL_NUMBER;
    spw_table_class word = spw_table_word(cell->text, cell->length);
    if (word != SPW_CELL_TEXT)
        return word;
    return spw_table_calendar(cell->text, cell->length, mark, number, time_of_day);
}

/* Where the row that starts at `at` ends: the first line end outside quotes
 * that start a cell and are closed soon. */
static const char *row_end(const char *at, const char *end, char line_end, char separator) {
    bool start = true;
    for (const char *p = at; p < end; p++) {
        if (*p == line_end)
            return p;
        if (start && *p == '"') {
            size_t reach = (size_t)(end - p) < QUOTED_MAX ? (size_t)(end - p) : QUOTED_MAX;
            const char *close = closing_quote(p + 1, p + reach);
            if (close != NULL)
                p = close;
            start = false;
        } else if (*p == separator) {
            start = true;
        } else if (*p != ' ') {
            start = false;
        }
    }
    return NULL;
}

bool spw_table_next_row(spw_table_cursor *cursor, spw_table_row *row) {
    if (cursor->at >= cursor->end)
        return false;
    const char *at = cursor->at;
    const char *stop = cursor->separator != 0
                           ? row_end(at, cursor->end, cursor->line_end, cursor->separator)
                           : memchr(at, cursor->line_end, (size_t)(cursor->end - at));
    *row = (spw_table_row){.text = at, .line = cursor->line, .ended = stop != NULL};
    const char *to = stop != NULL ? stop : cursor->end;
    cursor->at = stop != NULL ? stop + 1 : cursor->end;
    cursor->line++;
    if (cursor->separator != 0)
        for (const char *p = at; p < to; p++)
            cursor->line += *p == cursor->line_end;
    while (to > at && to[-1] == '\r')
        to--;
    row->length = (size_t)(to - at);
    return true;
}

bool spw_table_row_blank(const spw_table_row *row) {
    for (size_t i = 0; i < row->length; i++)
        if (row->text[i] != ' ' && row->text[i] != '\t' && row->text[i] != '\r')
            return false;
    return true;
}

static size_t last_cell(const char *text, size_t length, char separator, spw_table_cell *cell) {
    spw_table_cells cells = {text, text + length, separator};
    size_t n = 0;
    while (spw_table_next_cell(&cells, cell))
        n++;
    return n;
}

/* Characters behind the mark, or all of them when there is none. */
static size_t decimals(const spw_table_cell *cell, char mark) {
    const char *at = memchr(cell->text, mark, cell->length);
    return at == NULL ? cell->length : (size_t)(cell->text + cell->length - at - 1);
}

bool spw_table_row_whole(const char *before, size_t before_length, const char *last,
                         size_t last_length, char separator, char mark) {
    spw_table_cell a = {.text = ""}, b = {.text = ""};
    if (last_cell(before, before_length, separator, &a) !=
        last_cell(last, last_length, separator, &b))
        return false;
    if (a.quoted != b.quoted)
        return false;
    if (b.quoted)
        return true;
    if ((memchr(a.text, mark, a.length) == NULL) != (memchr(b.text, mark, b.length) == NULL))
        return false;
    return decimals(&b, mark) >= decimals(&a, mark);
}
