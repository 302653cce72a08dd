/* Spans drawn to scale with plain characters. */
#include "report/text/ruler.h"

#include "report/fields/fields.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define LEFT 16        /* columns before the axis: where the text of the rows starts */
#define NOTE 14        /* columns behind it */
#define LEAST 60       /* narrowest page */
#define WIDEST 200     /* widest bar */
#define LABEL_ROOM 7.0 /* columns from one tick's number to the next */

typedef struct scale {
    double from_us, to_us, step_us;
    size_t columns; /* the last column is to_us */
} scale;

static bool has_ends(const spw_ruler_row *row) {
    return isfinite(row->low_us) && isfinite(row->high_us) && row->low_us <= row->high_us;
}

/* The smallest of 1, 2, 5 times a power of ten that is at least `least`. */
static double nice_step(double least) {
    double power = pow(10.0, floor(log10(least)));
    static const double parts[] = {1.0, 2.0, 5.0};
    for (size_t i = 0; i < 3; i++)
        if (parts[i] * power >= least * (1.0 - 1e-9))
            return parts[i] * power;
    return 10.0 * power;
}

static bool find_scale(const spw_ruler_row *rows, size_t n, unsigned width, scale *found) {
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        if (!has_ends(&rows[i]))
            continue;
        low = fmin(low, rows[i].low_us);
        high = fmax(high, rows[i].high_us);
    }
    if (!(low <= high))
        return false;
    if (high - low < 1.0) {
        low -= 0.5;
        high += 0.5;
    }
    if (width < LEAST)
        width = LEAST;
    size_t columns = width - LEFT - NOTE;
    found->columns = columns < WIDEST ? columns : WIDEST;
    double least = (high - low) * LABEL_ROOM / (double)(found->columns - 1);
    found->step_us = nice_step(least);
    found->from_us = low;
    found->to_us = high;
    return true;
}

static size_t column_of(const scale *axis, double us) {
    double share = (us - axis->from_us) / (axis->to_us - axis->from_us);
    double column = round(share * (double)(axis->columns - 1));
    if (column < 0.0)
        return 0;
    return column > (double)(axis->columns - 1) ? axis->columns - 1 : (size_t)column;
}

/* A line of `size` blanks, to draw into; returned without trailing blanks. */
static void put_line(spw_text *out, char *line, size_t size) {
    while (size > 0 && line[size - 1] == ' ')
        size--;
    spw_text_append(out, line, size);
    spw_text_puts(out, "\n");
}

static void draw_axis(spw_text *out, const scale *axis) {
    char numbers[LEFT + WIDEST + NOTE], ticks[LEFT + WIDEST + NOTE];
    memset(numbers, ' ', sizeof numbers);
    memset(ticks, ' ', sizeof ticks);
    memcpy(numbers + 2, "us", 2);
    memset(ticks + LEFT, '-', axis->columns);
    double first = ceil(axis->from_us / axis->step_us - 1e-9);
    for (int i = 0; i <= WIDEST; i++) {
        double us = (first + i) * axis->step_us;
        if (us > axis->to_us * (1.0 + 1e-12))
            break;
        size_t column = LEFT + column_of(axis, us);
        int decimals = axis->step_us < 1.0 ? 1 : 0;
        spw_figure number = spw_figure_fixed(us, decimals);
        size_t length = strlen(number.text);
        memcpy(numbers + column - length / 2, number.text, length);
        ticks[column] = '+';
    }
    put_line(out, numbers, sizeof numbers);
    put_line(out, ticks, LEFT + axis->columns);
}

static void draw_row(spw_text *out, const scale *axis, const spw_ruler_row *row) {
    char line[LEFT + WIDEST + NOTE + 1];
    memset(line, ' ', sizeof line);
    size_t label = strlen(row->label);
    memcpy(line + 2, row->label, label < LEFT - 3 ? label : LEFT - 3);
    size_t low = LEFT + column_of(axis, row->low_us), high = LEFT + column_of(axis, row->high_us);
    if (low == high) {
        line[low] = '|';
    } else {
        memset(line + low, row->fill, high - low);
        line[low] = '[';
        line[high] = ']';
        if (isfinite(row->neutral_us)) {
            size_t neutral = LEFT + column_of(axis, row->neutral_us);
            if (neutral > low && neutral < high)
                line[neutral] = 'n';
        }
    }
    size_t note = strlen(row->note), at = LEFT + axis->columns + 1;
    memcpy(line + at, row->note, note < NOTE - 1 ? note : NOTE - 1);
    put_line(out, line, sizeof line);
}

void spw_ruler_draw(spw_text *out, const spw_ruler_row *rows, size_t n, unsigned width) {
    scale axis;
    if (!find_scale(rows, n, width, &axis))
        return;
    draw_axis(out, &axis);
    for (size_t i = 0; i < n; i++)
        if (has_ends(&rows[i]))
            draw_row(out, &axis, &rows[i]);
}
