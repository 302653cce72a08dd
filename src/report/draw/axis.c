/* Axes: a range of values over a range of px, with ticks at round numbers. */
#include "report/draw/draw.h"
#include "report/fields/fields.h"

#include <math.h>
#include <stdio.h>

#define MOST_TICKS 24
#define TICK_PX 4.0
#define X_NUMBER_DROP 15.0 /* from the axis to the base line of its numbers */
#define NUMBER_GAP_PX 3.0
#define Y_NUMBER_GAP 7.0
#define Y_NUMBER_SINK 3.8 /* centres a number on its tick */
#define UNIT_RISE 9.0     /* a vertical axis's unit above its top */
#define FAR 1e15          /* beyond: no value of a picture */
#define WIDEN 1e-9        /* share of a value below which a range has no width */

/* The smallest of 1, 2, 5 times a power of ten that is at least `least`. */
static double nice_step(double least, int *decimals) {
    static const double parts[] = {1.0, 2.0, 5.0, 10.0};
    int exponent = (int)floor(log10(least));
    double power = pow(10.0, exponent);
    size_t i = 0;
    while (i < 3 && parts[i] * power < least * (1.0 - 1e-9))
        i++;
    if (i == 3)
        exponent++;
    *decimals = exponent < 0 ? (exponent < -9 ? 9 : -exponent) : 0;
    return parts[i] * power;
}

spw_axis spw_axis_make(double from, double to, double at, double end, double room_px,
                       bool whole_ticks) {
    if (!(fabs(from) < FAR) || !(fabs(to) < FAR)) {
        from = 0.0;
        to = 1.0;
    }
    if (to < from) {
        double swap = from;
        from = to;
        to = swap;
    }
    double least = fmax(WIDEN * fmax(fabs(from), fabs(to)), 1e-12);
    if (to - from < least) {
        double middle = 0.5 * (from + to), half = fmax(0.5, least);
        from = middle - half;
        to = middle + half;
    }
    spw_axis axis = {.from = from, .to = to, .at = at, .end = end};
    double room = fmax(room_px, fabs(end - at) / MOST_TICKS);
    axis.step = nice_step((to - from) * room / fmax(fabs(end - at), 1.0), &axis.decimals);
    if (whole_ticks) {
        axis.from = floor(from / axis.step + 1e-9) * axis.step;
        axis.to = ceil(to / axis.step - 1e-9) * axis.step;
    }
    return axis;
}

double spw_axis_px(const spw_axis *axis, double value) {
    double share = (value - axis->from) / (axis->to - axis->from);
    if (!isfinite(share))
        return NAN;
    return axis->at + fmin(fmax(share, 0.0), 1.0) * (axis->end - axis->at);
}

/* Tick number i of the axis; false past its end. */
static bool tick_at(const spw_axis *axis, int i, double *value) {
    double first = ceil(axis->from / axis->step - 1e-6);
    *value = (first + i) * axis->step;
    return i <= 2 * MOST_TICKS && *value <= axis->to + 1e-6 * axis->step;
}

/* A number below a horizontal axis; the last one carries the unit. */
typedef struct label {
    char text[96];
    double x, left, right;
    spw_anchor anchor;
} label;

static label make_label(const spw_draw *draw, const spw_axis *axis, double value,
                        const char *unit) {
    label made = {.x = spw_axis_px(axis, value), .anchor = SPW_ANCHOR_MIDDLE};
    (void)snprintf(made.text, sizeof made.text, "%s%s%.20s",
                   spw_figure_fixed(value, axis->decimals).text, unit[0] != '\0' ? " " : "", unit);
    double width = spw_draw_text_width(made.text);
    if (made.x + 0.5 * width > draw->width - 1.0) {
        made.x = draw->width - 1.0;
        made.anchor = SPW_ANCHOR_END;
    }
    made.left = made.x - (made.anchor == SPW_ANCHOR_END ? width : 0.5 * width);
    made.right = made.left + width;
    return made;
}

void spw_axis_draw_x(const spw_draw *draw, const spw_axis *axis, double y, double top,
                     const char *unit) {
    double value, next, free_from = -INFINITY;
    int n = 0;
    while (tick_at(axis, n, &next))
        n++;
    if (n == 0)
        return;
    (void)tick_at(axis, n - 1, &value);
    label last = make_label(draw, axis, value, unit);
    for (int i = 0; i < n; i++) {
        (void)tick_at(axis, i, &value);
        double x = spw_axis_px(axis, value);
        label number = i == n - 1 ? last : make_label(draw, axis, value, "");
        if (top < y)
            spw_draw_line(draw, "grid", x, y, x, top);
        spw_draw_line(draw, "axis", x, y, x, y + TICK_PX);
        /* a number without room is left out; the last one has the unit and always stands */
        if (i < n - 1 && (number.left < free_from || number.right + NUMBER_GAP_PX > last.left))
            continue;
        spw_draw_text(draw, "num", number.x, y + X_NUMBER_DROP, number.anchor, number.text);
        free_from = number.right + NUMBER_GAP_PX;
    }
    spw_draw_line(draw, "axis", axis->at, y, axis->end, y);
}

void spw_axis_draw_y(const spw_draw *draw, const spw_axis *axis, double x, double right,
                     const char *unit) {
    double value;
    for (int i = 0; tick_at(axis, i, &value); i++) {
        double y = spw_axis_px(axis, value);
        if (right > x)
            spw_draw_line(draw, "grid", x, y, right, y);
        spw_draw_line(draw, "axis", x - TICK_PX, y, x, y);
        spw_draw_text(draw, "num", x - Y_NUMBER_GAP, y + Y_NUMBER_SINK, SPW_ANCHOR_END,
                      spw_figure_fixed(value, axis->decimals).text);
    }
    spw_draw_line(draw, "axis", x, axis->at, x, axis->end);
    spw_draw_text(draw, "num", x - Y_NUMBER_GAP, fmin(axis->at, axis->end) - UNIT_RISE,
                  SPW_ANCHOR_END, unit);
}
