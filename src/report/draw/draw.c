/* Shapes of a picture. Lengths are written in tenths of a px without an exponent: short, the
 * same under every locale, and finer than any screen. */
#include "report/draw/draw.h"

#include "report/draw/pixel.h"

#include <math.h>
#include <string.h>

#define CHARACTER_PX 6.6 /* of the widest common sans-serif at 11 px, digits and letters mixed */
#define MARK_PX 4.0      /* half the size of a mark */

void spw_pixel(spw_text *out, double px) {
    char reversed[24];
    size_t n = 0;
    if (!isfinite(px))
        px = 0.0;
    long long tenths = llround(fmin(fmax(px, -1e6), 1e6) * 10.0);
    unsigned long long rest = (unsigned long long)(tenths < 0 ? -tenths : tenths);
    bool whole = rest % 10 == 0;
    for (rest = whole ? rest / 10 : rest; rest > 0 || n == 0; rest /= 10) {
        reversed[n++] = (char)('0' + rest % 10);
        if (n == 1 && !whole) {
            reversed[n++] = '.';
            if (rest < 10) /* ".4" is a number too */
                break;
        }
    }
    if (tenths < 0)
        reversed[n++] = '-';
    while (n > 0)
        spw_text_append(out, &reversed[--n], 1);
}

/* ` name="px"` */
static void attribute(spw_text *out, const char *name, double px) {
    spw_text_puts(out, " ");
    spw_text_puts(out, name);
    spw_text_puts(out, "=\"");
    spw_pixel(out, px);
    spw_text_puts(out, "\"");
}

static void open_element(spw_text *out, const char *element, const char *class_name) {
    spw_text_puts(out, "<");
    spw_text_puts(out, element);
    spw_text_puts(out, " class=\"");
    spw_text_puts(out, class_name);
    spw_text_puts(out, "\"");
}

spw_draw spw_draw_begin(spw_text *out, const char *id, const char *class_name, double width,
                        double height, const char *title, const char *description) {
    open_element(out, "svg", class_name);
    spw_text_puts(out, " role=\"img\" viewBox=\"0 0 ");
    spw_pixel(out, width);
    spw_text_puts(out, " ");
    spw_pixel(out, height);
    spw_text_printf(out, "\" id=\"%s\"><title>", id);
    spw_text_html(out, title, strlen(title));
    spw_text_puts(out, "</title><desc>");
    spw_text_html(out, description, strlen(description));
    spw_text_puts(out, "</desc>\n");
    return (spw_draw){out, width, height};
}

void spw_draw_end(const spw_draw *draw) {
    spw_text_puts(draw->out, "</svg>\n");
}

void spw_draw_line(const spw_draw *draw, const char *class_name, double x1, double y1, double x2,
                   double y2) {
    open_element(draw->out, "line", class_name);
    attribute(draw->out, "x1", x1);
    attribute(draw->out, "y1", y1);
    attribute(draw->out, "x2", x2);
    attribute(draw->out, "y2", y2);
    spw_text_puts(draw->out, "/>\n");
}

void spw_draw_rect(const spw_draw *draw, const char *class_name, double x, double y, double width,
                   double height) {
    open_element(draw->out, "rect", class_name);
    attribute(draw->out, "x", fmin(x, x + width));
    attribute(draw->out, "y", fmin(y, y + height));
    attribute(draw->out, "width", fabs(width));
    attribute(draw->out, "height", fabs(height));
    spw_text_puts(draw->out, "/>\n");
}

void spw_draw_text(const spw_draw *draw, const char *class_name, double x, double y,
                   spw_anchor anchor, const char *text) {
    static const char *const names[] = {"", " text-anchor=\"middle\"", " text-anchor=\"end\""};
    open_element(draw->out, "text", class_name);
    attribute(draw->out, "x", x);
    attribute(draw->out, "y", y);
    spw_text_puts(draw->out, names[anchor]);
    spw_text_puts(draw->out, ">");
    spw_text_html(draw->out, text, strlen(text));
    spw_text_puts(draw->out, "</text>\n");
}

double spw_draw_text_width(const char *text) {
    size_t characters = 0;
    for (; *text != '\0'; text++)
        characters += ((unsigned char)*text & 0xC0u) != 0x80u;
    return CHARACTER_PX * (double)characters;
}

void spw_draw_mark(const spw_draw *draw, const char *class_name, spw_mark mark, double x,
                   double y) {
    /* corners in halves of a mark; a cross is two strokes */
    static const struct {
        int points;
        double x[4], y[4];
    } shape[] = {
        [SPW_MARK_DIAMOND] = {4, {0, 1, 0, -1}, {-1.25, 0, 1.25, 0}},
        [SPW_MARK_UP] = {3, {0, 1, -1, 0}, {-1, 1, 1, 0}},
        [SPW_MARK_DOWN] = {3, {0, 1, -1, 0}, {1, -1, -1, 0}},
        [SPW_MARK_CROSS] = {4, {-1, 1, -1, 1}, {-1, 1, 1, -1}},
    };
    spw_path path = spw_path_begin(draw, class_name);
    for (int i = 0; i < shape[mark].points; i++) {
        double px = x + MARK_PX * shape[mark].x[i], py = y + MARK_PX * shape[mark].y[i];
        if (i == 0 || (mark == SPW_MARK_CROSS && i == 2))
            spw_path_move(&path, px, py);
        else
            spw_path_line(&path, px, py);
    }
    if (mark != SPW_MARK_CROSS)
        spw_text_puts(draw->out, "z");
    spw_path_end(&path);
}

spw_path spw_path_begin(const spw_draw *draw, const char *class_name) {
    open_element(draw->out, "path", class_name);
    spw_text_puts(draw->out, " d=\"");
    return (spw_path){.draw = draw};
}

static void point(const spw_path *path, char letter, double x, double y) {
    spw_text_append(path->draw->out, &letter, 1);
    spw_pixel(path->draw->out, x);
    spw_text_puts(path->draw->out, " ");
    spw_pixel(path->draw->out, y);
}

void spw_path_move(spw_path *path, double x, double y) {
    path->open = isfinite(x) && isfinite(y);
    if (!path->open)
        return;
    point(path, 'M', x, y);
    path->x = x;
    path->y = y;
}

void spw_path_line(spw_path *path, double x, double y) {
    if (!path->open || !isfinite(x) || !isfinite(y)) {
        spw_path_move(path, x, y);
        return;
    }
    if (x == path->x) {
        spw_text_puts(path->draw->out, "V");
        spw_pixel(path->draw->out, y);
    } else if (y == path->y) {
        spw_text_puts(path->draw->out, "H");
        spw_pixel(path->draw->out, x);
    } else {
        point(path, 'L', x, y);
    }
    path->x = x;
    path->y = y;
}

void spw_path_end(const spw_path *path) {
    spw_text_puts(path->draw->out, "\"/>\n");
}
