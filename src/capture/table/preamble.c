/* Preambles: rows with words and numbers above the samples, or beside the first of them.
 *
 * What they tell of the time from sample to sample is offered to the
 * person as --rate and never taken: a preamble may be that of another recording. */
#include "capture/table/finder.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- where it ends ---- */

/* Does a word stand left of the numbers? Then the row may belong to a preamble
 * ("Block size,10010"), or the preamble stands beside the first rows. */
static bool beside_word(const spw_table_finder *find, const spw_table_row *row) {
    spw_table_cells cells = spw_table_find_cells(find, row);
    spw_table_cell cell;
    for (size_t k = 0; k < find->layout->first && spw_table_next_cell(&cells, &cell); k++)
        if (cell.length > 0)
            return true;
    return false;
}

static double first_number(const spw_table_finder *find, const spw_table_row *row) {
    spw_decimal number;
    spw_table_cell cell = spw_table_find_cell(find, row, find->layout->first);
    if (spw_table_find_class(find, &cell, &number) != SPW_CELL_NUMBER)
        return NAN;
    return spw_decimal_value(&number);
}

/* The next row that is not blank. */
static bool next_filled(spw_table_cursor *cursor, spw_table_row *row) {
    while (spw_table_next_row(cursor, row))
        if (!spw_table_row_blank(row))
            return true;
    return false;
}

bool spw_table_words_beside_data(const spw_table_finder *find, spw_table_cursor cursor,
                                 spw_table_row row) {
    enum { PREAMBLE_ROWS = 64 };
    size_t ahead_rows = 0;
    if (!beside_word(find, &row))
        return true;
    spw_table_cursor ahead = cursor;
    spw_table_row plain, after;
    do
        if (!next_filled(&ahead, &plain) || ahead_rows++ == PREAMBLE_ROWS)
            return true; /* words all the way: a column of them */
    while (beside_word(find, &plain));
    if (!next_filled(&ahead, &after))
        return false;
    double step = first_number(find, &after) - first_number(find, &plain);
    while (row.text != plain.text) {
        double before = first_number(find, &row);
        if (!next_filled(&cursor, &row))
            return false;
        double off = first_number(find, &row) - before;
        if (!(step > 0 && off > 0.5 * step && off < 2 * step))
            return false;
    }
    return true;
}

/* ---- what it tells ---- */

/* Letters and digits alone, in lower case: "H-Resolution" is "hresolution". */
static size_t bare(const char *text, size_t length, char out[32]) {
    size_t n = 0;
    for (size_t i = 0; i < length && n < 31; i++) {
        char c = text[i];
        if (c >= 'A' && c <= 'Z')
            c = (char)(c - 'A' + 'a');
        if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))
            out[n++] = c;
    }
    out[n] = '\0';
    return n;
}

typedef enum told { TOLD_NOTHING, TOLD_STEP, TOLD_RATE } told;

static told what_is_told(const char *text, size_t length) {
    static const char *const steps[] = {"hresolution",    "horizontalresolution",
                                        "sampleinterval", "samplinginterval",
                                        "increment",      "xincrement",
                                        "xincr",          "timeresolution",
                                        "sampleperiod",   "dt",
                                        "timeinterval",   "samplingperiod",
                                        "tinc",           "timestep",
                                        "interval"};
    static const char *const rates[] = {"samplerate",      "samplingrate",      "rate",
                                        "samplefrequency", "samplingfrequency", "samplespersecond"};
    char word[32];
    if (length > 64 || bare(text, length, word) == 0)
        return TOLD_NOTHING;
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++)
        if (strcmp(word, steps[i]) == 0)
            return TOLD_STEP;
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++)
        if (strcmp(word, rates[i]) == 0)
            return TOLD_RATE;
    return TOLD_NOTHING;
}

/* Powers of ten of "us", "kHz", "MSa/s"; false when it is none. */
static bool unit_of(const char *text, size_t length, told what, int *exponent) {
    size_t name_length;
    while (length > 0 && memchr(" ([", *text, 3) != NULL)
        text++, length--;
    while (length > 0 && memchr(" )]", text[length - 1], 3) != NULL)
        length--;
    *exponent = 0;
    if (length == 0)
        return true;
    if (what == TOLD_STEP)
        return spw_table_time_unit(text, length, &name_length, exponent) && name_length == 0;
    static const struct {
        char letter;
        int exponent;
    } prefixes[] = {{'k', 3}, {'K', 3}, {'M', 6}, {'G', 9}};
    for (size_t i = 0; i < sizeof prefixes / sizeof prefixes[0]; i++)
        if (*text == prefixes[i].letter) {
            *exponent = prefixes[i].exponent;
            text++, length--;
            break;
        }
    char word[32];
    (void)bare(text, length, word);
    return strcmp(word, "hz") == 0 || strcmp(word, "sas") == 0 || strcmp(word, "ss") == 0 ||
           strcmp(word, "sps") == 0;
}

/* "4.0E-06", "4 us", "250kHz" as rows a second; NAN when it is no such thing.
 *   unit   the next cell, which may hold the unit */
static double rate_in(const spw_table_finder *find, const char *text, size_t length,
                      const spw_table_cell *unit, told what) {
    spw_decimal number;
    int exponent;
    size_t taken = spw_decimal_scan(text, length, find->layout->dialect.mark, &number);
    if (taken == 0 || !unit_of(text + taken, length - taken, what, &exponent))
        return NAN;
    if (taken == length && unit->length > 0 && !unit_of(unit->text, unit->length, what, &exponent))
        exponent = 0;
    double value = spw_decimal_value(&number) * pow(10, exponent);
    double rate = what == TOLD_STEP ? 1 / value : value;
    return rate > 0 && rate < 1e15 ? rate : (double)NAN;
}

/* The value of a cell that names one: behind '=' or ':' in it, beside it or below it. */
static double rate_told(const spw_table_finder *find, const spw_table_row *row, size_t k,
                        const spw_table_row *below) {
    spw_table_cell cell = spw_table_find_cell(find, row, k);
    spw_table_cell beside = spw_table_find_cell(find, row, k + 1);
    size_t name = 0;
    while (name < cell.length && cell.text[name] != '=' && cell.text[name] != ':')
        name++;
    told what = what_is_told(cell.text, name);
    if (what == TOLD_NOTHING)
        return NAN;
    if (name + 1 < cell.length) {
        const char *at = cell.text + name + 1, *end = cell.text + cell.length;
        while (at < end && *at == ' ')
            at++;
        return rate_in(find, at, (size_t)(end - at), &(spw_table_cell){.text = ""}, what);
    }
    spw_table_cell next = spw_table_find_cell(find, row, k + 2);
    double rate = rate_in(find, beside.text, beside.length, &next, what);
    if (!isnan(rate) || below == NULL)
        return rate;
    cell = spw_table_find_cell(find, below, k);
    return rate_in(find, cell.text, cell.length, &(spw_table_cell){.text = ""}, what);
}

void spw_table_find_told_rate(const spw_table_finder *find) {
    enum { CELLS_LOOKED_AT = 64 };
    spw_table_layout *layout = find->layout;
    spw_table_cursor cursor = {find->head, find->head + layout->data_at, 1,
                               layout->dialect.line_end, layout->dialect.separator};
    spw_table_row row, below;
    bool has = spw_table_next_row(&cursor, &row);
    layout->told_rate_hz = NAN;
    while (has && isnan(layout->told_rate_hz)) {
        bool more = spw_table_next_row(&cursor, &below);
        spw_table_cells cells = spw_table_find_cells(find, &row);
        spw_table_cell cell;
        for (size_t k = 0; k < CELLS_LOOKED_AT && spw_table_next_cell(&cells, &cell) &&
                           isnan(layout->told_rate_hz);
             k++)
            layout->told_rate_hz = rate_told(find, &row, k, more ? &below : NULL);
        layout->told_line = row.line;
        row = below;
        has = more;
    }
}

const char *spw_table_rate_words(const spw_table_layout *layout, char out[96]) {
    if (!(layout->told_rate_hz > 0))
        return "--rate HZ";
    spw_text text = {0};
    spw_text_printf(&text, "--rate %.9g (line %llu tells this step)", layout->told_rate_hz,
                    (unsigned long long)layout->told_line);
    (void)snprintf(out, 96, "%s", text.data != NULL ? text.data : "--rate HZ");
    spw_text_free(&text);
    return out;
}
