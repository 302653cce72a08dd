/* The head's numbers: what kind each column is, and what its levels are. */
#include "capture/table/parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The head's values stand in memory while it is judged: 8 MiB at most. */
#define PROBE_CELLS_MAX ((size_t)1 << 20)
/* Two levels are well apart when their distance is this many times the scatter
 * about them. Uniform noise split in the middle gives 3.5, normal noise 2.6. */
#define LEVELS_APART 6.0

static spw_status allocate(spw_table_probe *probe, const spw_table_layout *layout, size_t room,
                           spw_error *error) {
    size_t n = probe->channels;
    probe->column = calloc(n + 1, sizeof *probe->column);
    probe->time = calloc(room + 1, sizeof *probe->time);
    probe->line = calloc(room + 1, sizeof *probe->line);
    probe->value = calloc(room * n + 1, sizeof *probe->value);
    probe->two_levels = calloc(n, sizeof *probe->two_levels);
    probe->varies = calloc(n, sizeof *probe->varies);
    probe->fractional = calloc(n, sizeof *probe->fractional);
    probe->noisy = calloc(n, sizeof *probe->noisy);
    probe->low = calloc(n, sizeof *probe->low);
    probe->high = calloc(n, sizeof *probe->high);
    if (probe->column == NULL || probe->time == NULL || probe->line == NULL ||
        probe->value == NULL || probe->two_levels == NULL || probe->varies == NULL ||
        probe->fractional == NULL || probe->noisy == NULL || probe->low == NULL ||
        probe->high == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    size_t at = 0;
    for (size_t k = 0; k < layout->columns; k++)
        if (layout->column[k].value && k != layout->time_column && k != layout->count_column)
            if (at < n)
                probe->column[at++] = k;
    return SPW_OK;
}

static size_t channels_of(const spw_table_layout *layout) {
    size_t n = 0;
    for (size_t k = 0; k < layout->columns; k++)
        n += layout->column[k].value && k != layout->time_column && k != layout->count_column;
    return n < SPW_TABLE_CHANNELS_MAX ? n : SPW_TABLE_CHANNELS_MAX;
}

static double level_value(spw_table_class class, const spw_decimal *number) {
    switch (class) {
    case SPW_CELL_NUMBER:
        return spw_decimal_value(number);
    case SPW_CELL_LOW:
        return 0.0;
    case SPW_CELL_HIGH:
        return 1.0;
    default:
        return NAN;
    }
}

/* One row into the probe; false when it has no usable time. */
static bool take_row(const spw_table_layout *layout, const spw_table_row *row,
                     spw_table_probe *probe) {
    size_t at = probe->rows, channel = 0;
    spw_table_cells cells = {row->text, row->text + row->length, layout->dialect.separator};
    bool timed = layout->time_column == SPW_TABLE_NONE;
    for (size_t k = 0; k < layout->columns; k++) {
        spw_table_cell cell = {.text = ""};
        (void)spw_table_next_cell(&cells, &cell);
        spw_decimal number = {0};
        bool time_of_day = false;
        bool wanted = channel < probe->channels && probe->column[channel] == k;
        if (!wanted && k != layout->time_column)
            continue;
        spw_table_class class =
            spw_table_classify(&cell, layout->dialect.mark, &number, &time_of_day);
        if (k == layout->time_column) {
            timed = class == SPW_CELL_NUMBER || class == SPW_CELL_CLOCK;
            probe->time[at] = number;
            probe->time_of_day = probe->time_of_day || time_of_day;
        } else {
            probe->value[at * probe->channels + channel] = level_value(class, &number);
            if (class == SPW_CELL_NUMBER &&
                (memchr(cell.text, layout->dialect.mark, cell.length) || number.exponent != 0))
                probe->fractional[channel] = true;
            channel++;
        }
    }
    probe->line[at] = row->line;
    return timed;
}

static void take_rows(const char *head, size_t length, bool whole, const spw_table_layout *layout,
                      size_t room, spw_table_probe *probe) {
    spw_table_cursor cursor = {.at = head + layout->data_at,
                               .end = head + length,
                               .line = layout->data_line,
                               .line_end = layout->dialect.line_end};
    spw_table_row row, before = {0};
    while (probe->rows < room && spw_table_next_row(&cursor, &row)) {
        if (spw_table_row_blank(&row))
            continue;
        if (!row.ended && (!whole || before.text == NULL ||
                           !spw_table_row_whole(before.text, before.length, row.text, row.length,
                                                layout->dialect.separator, layout->dialect.mark)))
            break;
        if (take_row(layout, &row, probe))
            probe->rows++;
        before = row;
    }
    probe->whole = whole && cursor.at >= cursor.end;
}

/* Means of the values above and below `split`, and their scatter. */
typedef struct halves {
    double mean[2], scatter;
    size_t n[2];
} halves;

static halves split_at(const spw_table_probe *probe, size_t channel, double split) {
    halves h = {0};
    double squares[2] = {0, 0};
    for (size_t i = 0; i < probe->rows; i++) {
        double v = probe->value[i * probe->channels + channel];
        if (isnan(v))
            continue;
        int up = v > split;
        h.n[up]++;
        double step = v - h.mean[up];
        h.mean[up] += step / (double)h.n[up];
        squares[up] += step * (v - h.mean[up]);
    }
    for (int up = 0; up < 2; up++)
        if (h.n[up] > 1 && sqrt(squares[up] / (double)h.n[up]) > h.scatter)
            h.scatter = sqrt(squares[up] / (double)h.n[up]);
    return h;
}

/* Two means, starting halfway between the extremes. */
static void find_levels(spw_table_probe *probe, size_t channel, double least, double most) {
    double split = least / 2 + most / 2;
    halves h = split_at(probe, channel, split);
    for (int i = 0; i < 16; i++) {
        double next = h.mean[0] / 2 + h.mean[1] / 2;
        if (next == split || h.n[0] == 0 || h.n[1] == 0)
            break;
        split = next;
        h = split_at(probe, channel, split);
    }
    size_t few = probe->rows > 8 ? 2 : 1;
    probe->low[channel] = h.mean[0];
    probe->high[channel] = h.mean[1];
    probe->two_levels[channel] = h.n[0] >= few && h.n[1] >= few &&
                                 h.mean[1] - h.mean[0] > LEVELS_APART * h.scatter &&
                                 isfinite(h.mean[1] - h.mean[0]);
    probe->noisy[channel] = h.scatter > 0;
}

static void judge_channel(spw_table_layout *layout, spw_table_probe *probe, size_t channel) {
    double least = INFINITY, most = -INFINITY;
    bool bits = true;
    for (size_t i = 0; i < probe->rows; i++) {
        double v = probe->value[i * probe->channels + channel];
        if (isnan(v))
            continue;
        bits = bits && (v == 0.0 || v == 1.0);
        least = fmin(least, v);
        most = fmax(most, v);
    }
    probe->varies[channel] = least < most;
    spw_table_column *column = &layout->column[probe->column[channel]];
    column->role = bits ? SPW_ROLE_LOGIC : SPW_ROLE_SAMPLES;
    if (bits) {
        probe->low[channel] = 0.0;
        probe->high[channel] = 1.0;
        probe->two_levels[channel] = true;
    } else {
        find_levels(probe, channel, least, most);
    }
}

spw_status spw_table_probe_head(const char *head, size_t length, bool whole,
                                spw_table_layout *layout, spw_table_probe *probe,
                                spw_error *error) {
    probe->channels = channels_of(layout);
    if (probe->channels == 0)
        return spw_error_set(error, SPW_ERR_FORMAT, "no column holds a channel");
    size_t room = PROBE_CELLS_MAX / probe->channels;
    room = room < SPW_TABLE_HEAD_ROWS ? room : SPW_TABLE_HEAD_ROWS;
    spw_status status = allocate(probe, layout, room, error);
    if (status != SPW_OK)
        return status;
    take_rows(head, length, whole, layout, room, probe);
    for (size_t c = 0; c < probe->channels; c++)
        judge_channel(layout, probe, c);
    return SPW_OK;
}

void spw_table_probe_free(spw_table_probe *probe) {
    free(probe->column);
    free(probe->time);
    free(probe->line);
    free(probe->value);
    free(probe->two_levels);
    free(probe->varies);
    free(probe->fractional);
    free(probe->noisy);
    free(probe->low);
    free(probe->high);
    *probe = (spw_table_probe){0};
}

static int level_at(const spw_table_probe *probe, size_t row, size_t channel) {
    double v = probe->value[row * probe->channels + channel];
    return isnan(v) ? -1 : v > probe->low[channel] / 2 + probe->high[channel] / 2;
}

static bool row_changes(const spw_table_probe *probe, size_t row) {
    for (size_t c = 0; c < probe->channels; c++)
        if (level_at(probe, row, c) + level_at(probe, row - 1, c) == 1)
            return true; /* unknown is -1, and no change */
    return false;
}

/* Volts that scatter and mostly stay where they are look like samples, even
 * when another column changes in every row. */
static bool looks_sampled(const spw_table_probe *probe, size_t channel) {
    size_t changing = 0;
    for (size_t i = 1; i < probe->rows; i++)
        changing += level_at(probe, i, channel) + level_at(probe, i - 1, channel) == 1;
    return probe->noisy[channel] && (probe->rows < 16 || changing * 2 < probe->rows);
}

bool spw_table_probe_sampled(const spw_table_probe *probe) {
    for (size_t c = 0; c < probe->channels; c++)
        if (probe->rows >= 16 && probe->varies[c] && probe->two_levels[c] &&
            looks_sampled(probe, c))
            return true;
    return false;
}

double spw_table_probe_changing(const spw_table_probe *probe) {
    size_t changing = 0;
    for (size_t c = 0; c < probe->channels; c++)
        if (probe->varies[c] && (!probe->two_levels[c] || looks_sampled(probe, c)))
            return NAN;
    for (size_t i = 1; i < probe->rows; i++)
        changing += row_changes(probe, i);
    return probe->rows > 1 ? (double)changing / (double)(probe->rows - 1) : NAN;
}

static int compare_doubles(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Ticks from each rise of a channel to the next, or, where nothing has levels, from
 * row to row; n of them. */
static size_t spacings(const spw_table_probe *probe, const spw_table_clock *clock, size_t channel,
                       double *spacing) {
    size_t n = 0;
    int64_t before = 0, tick;
    bool seen = false;
    for (size_t i = 1; i < probe->rows; i++) {
        bool counts = !probe->two_levels[channel] || !probe->varies[channel] ||
                      (level_at(probe, i - 1, channel) == 0 && level_at(probe, i, channel) == 1);
        if (!counts || !spw_table_ticks(clock, &probe->time[i], &tick))
            continue;
        if (seen)
            spacing[n++] = (double)(tick - before);
        before = tick;
        seen = true;
    }
    return n;
}

double spw_table_probe_spacing(const spw_table_probe *probe, const spw_table_clock *clock) {
    double *spacing = malloc((probe->rows + 1) * sizeof *spacing), found = NAN;
    for (size_t c = 0; spacing != NULL && c < probe->channels && isnan(found); c++) {
        size_t n = spacings(probe, clock, c, spacing);
        if (n == 0)
            continue;
        qsort(spacing, n, sizeof *spacing, compare_doubles);
        found = spacing[n / 2] * pow(10, clock->place);
    }
    free(spacing);
    return found;
}

size_t spw_table_probe_idle_repeats(const spw_table_probe *probe, const int64_t *tick,
                                    size_t rows) {
    size_t n = 0;
    for (size_t i = 1; i < rows; i++)
        n += tick[i] == tick[i - 1] && !row_changes(probe, i);
    return n;
}
