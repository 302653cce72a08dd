/* Pictures as inline SVG: shapes, axes with sensible ticks, series as envelopes.
 * Knows nothing of what is drawn. Units are those of the picture's view box
 * ("px"); colours and line widths come from the page's style by class. */
#ifndef SPW_REPORT_DRAW_DRAW_H
#define SPW_REPORT_DRAW_DRAW_H

#include "spanwright/base.h"

/* One picture. `id` is unique in the page; class is that of the <svg>. */
typedef struct spw_draw {
    spw_text *out;
    double width, height;
} spw_draw;

typedef enum spw_anchor { SPW_ANCHOR_START, SPW_ANCHOR_MIDDLE, SPW_ANCHOR_END } spw_anchor;

/*   title, description  plain text of any bytes; both are escaped */
spw_draw spw_draw_begin(spw_text *out, const char *id, const char *class_name, double width,
                        double height, const char *title, const char *description);
void spw_draw_end(const spw_draw *draw);

void spw_draw_line(const spw_draw *draw, const char *class_name, double x1, double y1, double x2,
                   double y2);
/* Drawn with its corner at the lowest x and y; a negative size counts from there backwards. */
void spw_draw_rect(const spw_draw *draw, const char *class_name, double x, double y, double width,
                   double height);
/* Escaped text of any bytes. */
void spw_draw_text(const spw_draw *draw, const char *class_name, double x, double y,
                   spw_anchor anchor, const char *text);
/* Columns that a text takes at the pictures' type size, on the generous side. */
double spw_draw_text_width(const char *text);

typedef enum spw_mark { SPW_MARK_DIAMOND, SPW_MARK_UP, SPW_MARK_DOWN, SPW_MARK_CROSS } spw_mark;
void spw_draw_mark(const spw_draw *draw, const char *class_name, spw_mark mark, double x, double y);

/* A path of moves and lines, in one element. Points that are not finite break it. */
typedef struct spw_path {
    const spw_draw *draw;
    bool open; /* the next point draws a line */
    double x, y;
} spw_path;
spw_path spw_path_begin(const spw_draw *draw, const char *class_name);
void spw_path_move(spw_path *path, double x, double y);
void spw_path_line(spw_path *path, double x, double y);
void spw_path_end(const spw_path *path);

/* Values from..to laid over px at..end (end may be below at). */
typedef struct spw_axis {
    double from, to;
    double at, end;
    double step; /* between ticks: 1, 2 or 5 times a power of ten */
    int decimals;
} spw_axis;
/*   room_px  least distance of two ticks
 * A range without width, or that is not finite, is widened. With `whole_ticks` the range grows
 * to the ticks around it. */
spw_axis spw_axis_make(double from, double to, double at, double end, double room_px,
                       bool whole_ticks);
/* Where a value lies, kept within the axis. */
double spw_axis_px(const spw_axis *axis, double value);
/* Ticks with numbers below a horizontal axis at `y`, grid lines up to `top`; the unit stands
 * behind the last number. */
void spw_axis_draw_x(const spw_draw *draw, const spw_axis *axis, double y, double top,
                     const char *unit);
/* Ticks with numbers left of a vertical axis at `x`, grid lines to `right`; the unit stands above.
 */
void spw_axis_draw_y(const spw_draw *draw, const spw_axis *axis, double x, double right,
                     const char *unit);

/* A series of any length in as many columns as there are px: of each column the smallest and the
 * largest value, so that no outlier is lost. */
typedef struct spw_envelope spw_envelope;
spw_status spw_envelope_new(const spw_axis *x, const spw_axis *y,
                            spw_envelope **envelope) SPW_CHECKED;
void spw_envelope_add(spw_envelope *envelope, double x, double y);
void spw_envelope_draw(const spw_envelope *envelope, const spw_draw *draw, const char *class_name);
void spw_envelope_free(spw_envelope *envelope);

#endif
