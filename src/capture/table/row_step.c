#include "capture/table/row_step.h"

/* The time's digits: from the first, up to their end, so many behind the mark.
 * False when the cell is more than a plain number. */
static bool find_digits(const spw_table_run *run, const char *row, size_t *from, size_t *to,
                        size_t *decimals) {
    size_t at = 0;
    while (at < SPW_TABLE_BEAT_CELL && row[at] == ' ')
        at++;
    *from = at;
    *decimals = 0;
    bool point = false;
    for (; at < SPW_TABLE_BEAT_CELL &&
           ((row[at] >= '0' && row[at] <= '9') || (row[at] == run->mark && !point));
         at++) {
        *decimals += point;
        point = point || row[at] == run->mark;
    }
    *to = at;
    return at < SPW_TABLE_BEAT_CELL && at > *from && row[at] == run->separator &&
           row[at - 1] != run->mark && run->mark != run->separator;
}

/* The step in last places of a time of so many decimals; 0 when it has none. */
static int64_t step_in_places(const spw_table_run *run, size_t decimals) {
    const spw_table_clock *clock = &run->job->clock;
    int shift = -(int)decimals - clock->place;
    int64_t step = (int64_t)clock->step;
    if (shift < 0 || shift > run->shift_max || step <= 0 || step % run->scale[shift] != 0)
        return 0;
    return step / run->scale[shift];
}

/* Fills the window's bytes, the last character first. */
static bool fill(spw_table_beat *beat, const char *row, int64_t step, char mark) {
    beat->state = beat->step = beat->floor = beat->shown = 0;
    for (size_t i = 0; i < beat->width; i++) {
        size_t at = beat->at + beat->width - 1 - i;
        unsigned char c = (unsigned char)row[at];
        uint64_t state, floor, digit = 0;
        if (row[at] == mark) {
            state = floor = 0xff;
        } else {
            floor = 0xf6;
            state = floor + c - '0';
            digit = (uint64_t)(step % 10);
            step /= 10;
        }
        beat->state |= state << 8 * i;
        beat->step |= digit << 8 * i;
        beat->floor |= floor << 8 * i;
        beat->shown |= (state - c) << 8 * i;
    }
    return step == 0;
}

bool spw_table_beat_start(const spw_table_run *run, const char *row, const char *next,
                          spw_table_beat *beat) {
    size_t from, to, decimals;
    if (next - row < 8 || !find_digits(run, row, &from, &to, &decimals))
        return false;
    int64_t step = step_in_places(run, decimals);
    if (step == 0)
        return false;
    /* zeros at the step's end: the last places stand still */
    size_t last = to - 1;
    for (; step % 10 == 0; step /= 10) {
        if (last > from && row[last - 1] == run->mark)
            last--;
        if (last == from)
            return false;
        last--;
    }
    beat->width = last + 1 - from < 8 ? last + 1 - from : 8;
    beat->at = last + 1 - beat->width;
    beat->shift = 8 * (unsigned)(8 - beat->width);
    beat->cell = to + 1;
    memcpy(beat->text, row, beat->cell);
    beat->head_mask = beat->at >= 8 ? UINT64_MAX : (UINT64_C(1) << 8 * beat->at) - 1;
    beat->head = spw_eight_load(row);
    return fill(beat, row, step, run->mark);
}
