/* A series of any length, drawn as the range of each column of the picture. */
#include "report/draw/draw.h"

#include <math.h>
#include <stdlib.h>

#define MOST_COLUMNS 4096
#define DOT_PX 0.2 /* a single value: a stroke this long, which round ends make a dot */

typedef struct column {
    float low, high; /* px of y; low > high: nothing there */
} column;

struct spw_envelope {
    spw_axis x, y;
    size_t columns;
    column column[];
};

spw_status spw_envelope_new(const spw_axis *x, const spw_axis *y, spw_envelope **envelope) {
    double length = ceil(fabs(x->end - x->at)) + 1.0;
    size_t columns = length > MOST_COLUMNS ? MOST_COLUMNS : length < 2.0 ? 2 : (size_t)length;
    spw_envelope *made = malloc(sizeof *made + columns * sizeof made->column[0]);
    if (made == NULL)
        return SPW_ERR_MEMORY;
    made->x = *x;
    made->y = *y;
    made->columns = columns;
    for (size_t i = 0; i < columns; i++)
        made->column[i] = (column){INFINITY, -INFINITY};
    *envelope = made;
    return SPW_OK;
}

void spw_envelope_add(spw_envelope *envelope, double x, double y) {
    const spw_axis *axis = &envelope->x;
    double share = (x - axis->from) / (axis->to - axis->from);
    if (!isfinite(y) || !(share >= 0.0 && share <= 1.0))
        return;
    column *c = &envelope->column[(size_t)floor(share * (double)(envelope->columns - 1) + 0.5)];
    float px = (float)spw_axis_px(&envelope->y, y);
    c->low = fminf(c->low, px);
    c->high = fmaxf(c->high, px);
}

void spw_envelope_draw(const spw_envelope *envelope, const spw_draw *draw, const char *class_name) {
    const spw_axis *axis = &envelope->x;
    spw_path path = spw_path_begin(draw, class_name);
    for (size_t i = 0; i < envelope->columns; i++) {
        const column *c = &envelope->column[i];
        if (c->low > c->high)
            continue;
        double x = axis->at + (axis->end - axis->at) * (double)i / (double)(envelope->columns - 1);
        spw_path_move(&path, x, (double)c->low);
        spw_path_line(&path, x, fmax((double)c->high, (double)c->low + DOT_PX));
    }
    spw_path_end(&path);
}

void spw_envelope_free(spw_envelope *envelope) {
    free(envelope);
}
