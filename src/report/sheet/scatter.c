/* The scatter of each hold about its mean, against dead band and floor. */
#include "report/sheet/sheet.h"

#include <math.h>
#include <stdio.h>

#define LEFT_PX 44.0
#define RIGHT_PX 8.0
#define TOP_PX 20.0
#define PLOT_PX 108.0
#define FOOT_PX 24.0
#define MOST_SLOTS 90
#define MOST_WIDE 36 /* bars of the full width */
#define FAR 4.0      /* times what most values need */

/* Of the holds that share a place in the picture. */
typedef struct slot {
    double low, high, p05, p95, floor; /* deviations from the mean, microseconds */
} slot;

typedef struct scatter {
    slot slot[MOST_SLOTS];
    size_t slots, holds;
    double low, high; /* of all */
} scatter;

static void add_hold(scatter *all, size_t index, const spw_hold *hold) {
    const spw_summary *w = &hold->width_us;
    slot *s = &all->slot[index * all->slots / all->holds];
    s->low = fmin(s->low, w->min - w->mean);
    s->high = fmax(s->high, w->max - w->mean);
    s->p05 = fmin(s->p05, w->p05 - w->mean);
    s->p95 = fmax(s->p95, w->p95 - w->mean);
    if (isfinite(w->floor))
        s->floor = fmax(s->floor, w->floor);
    all->low = fmin(all->low, s->low);
    all->high = fmax(all->high, s->high);
}

static scatter gather(const spw_sheet_facts *facts) {
    scatter all = {.slots = 0};
    for (size_t i = 0; i < facts->n; i++)
        all.holds += facts->sources[i].channel->holds;
    all.slots = all.holds < MOST_SLOTS ? all.holds : MOST_SLOTS;
    size_t index = 0;
    for (size_t i = 0; i < facts->n; i++)
        for (size_t k = 0; k < facts->sources[i].channel->holds; k++)
            add_hold(&all, index++, &facts->sources[i].channel->hold[k]);
    return all;
}

static double slot_x(const scatter *all, double width, size_t i) {
    return LEFT_PX +
           (width - LEFT_PX - RIGHT_PX) * ((double)i + 0.5) / (double)(all->slots ? all->slots : 1);
}

/* Far values would press all others flat: the picture ends where most are, and a triangle says
 * that a hold has more beyond. */
static double reach_of(const scatter *all, double dead_band) {
    double bulk = isfinite(dead_band) ? 0.5 * dead_band : 0.0, far = fmax(-all->low, all->high);
    for (size_t i = 0; i < all->slots; i++)
        bulk =
            fmax(bulk, fmax(all->slot[i].floor, 1.5 * fmax(-all->slot[i].p05, all->slot[i].p95)));
    return far > FAR * bulk && bulk > 0.0 ? bulk : fmax(bulk, far);
}

static void draw_far(const spw_draw *draw, const scatter *all, double reach) {
    for (size_t i = 0; i < all->slots; i++) {
        double x = slot_x(all, draw->width, i);
        if (all->slot[i].high > 1.06 * reach)
            spw_draw_mark(draw, "mark", SPW_MARK_UP, x, TOP_PX + 5.0);
        if (all->slot[i].low < -1.06 * reach)
            spw_draw_mark(draw, "mark", SPW_MARK_DOWN, x, TOP_PX + PLOT_PX - 5.0);
    }
}

static void draw_ranges(const spw_draw *draw, const spw_axis *y, const scatter *all) {
    spw_path path = spw_path_begin(draw, "thin");
    for (size_t i = 0; i < all->slots; i++) {
        double x = slot_x(all, draw->width, i);
        spw_path_move(&path, x, spw_axis_px(y, all->slot[i].low));
        spw_path_line(&path, x, spw_axis_px(y, all->slot[i].high));
    }
    spw_path_end(&path);
    path = spw_path_begin(draw, all->slots > MOST_WIDE ? "slim" : "box");
    for (size_t i = 0; i < all->slots; i++) {
        double x = slot_x(all, draw->width, i);
        spw_path_move(&path, x, spw_axis_px(y, all->slot[i].p05));
        spw_path_line(&path, x, spw_axis_px(y, all->slot[i].p95));
    }
    spw_path_end(&path);
}

static void draw_floors(const spw_draw *draw, const spw_axis *y, const scatter *all) {
    double half = fmin(9.0, 0.42 * (draw->width - LEFT_PX - RIGHT_PX) / (double)all->slots);
    spw_path path = spw_path_begin(draw, "seen");
    for (size_t i = 0; i < all->slots; i++)
        for (int sign = -1; sign <= 1; sign += 2) {
            double x = slot_x(all, draw->width, i), at = spw_axis_px(y, sign * all->slot[i].floor);
            spw_path_move(&path, x - half, at);
            spw_path_line(&path, x + half, at);
        }
    spw_path_end(&path);
}

static void draw_numbers(const spw_draw *draw, const scatter *all) {
    double free_from = 0.0;
    for (size_t i = 0; i < all->slots; i++) {
        char number[24];
        size_t first = (i * all->holds + all->slots - 1) / all->slots;
        (void)snprintf(number, sizeof number, "%zu", first + 1);
        double x = slot_x(all, draw->width, i), half = 0.5 * spw_draw_text_width(number);
        if (x - half < free_from)
            continue;
        spw_draw_text(draw, "num", x, TOP_PX + PLOT_PX + 15.0, SPW_ANCHOR_MIDDLE, number);
        free_from = x + half + 5.0;
    }
}

/* The dead band at the controller: the servo's, whole width, about the mean. */
static void draw_dead_band(const spw_draw *draw, const spw_axis *y, double dead_band_us) {
    if (!isfinite(dead_band_us))
        return;
    for (int sign = -1; sign <= 1; sign += 2) {
        double at = spw_axis_px(y, 0.5 * sign * dead_band_us);
        spw_draw_line(draw, "dash", LEFT_PX, at, draw->width - RIGHT_PX, at);
    }
}

void spw_sheet_scatter(spw_sheet *sheet) {
    double dead_band = sheet->facts->plan->servo.dead_band_us;
    scatter all = gather(sheet->facts);
    char description[400];
    double reach = reach_of(&all, dead_band);
    bool cut = fmax(-all.low, all.high) > 1.06 * reach;
    spw_sheet_put(sheet, "<figure>\n<figcaption><b>Scatter within each hold</b>Thick: 5 to 95 %; "
                         "thin: all; short bars: what this capture alone would show");
    spw_sheet_put(sheet, isfinite(dead_band)
                             ? "; dashed: the servo&#39;s dead band, before any adapter."
                             : ". The servo&#39;s dead band is not told.");
    if (cut)
        spw_sheet_printf(sheet, " Triangles: more beyond the picture, from %s to %s.",
                         spw_figure_unit(all.low, 1, "").text,
                         spw_figure_unit(all.high, 1, SPW_MICRO).text);
    spw_sheet_put(sheet, "</figcaption>\n");
    (void)snprintf(description, sizeof description,
                   "Deviations from each of %zu hold means, from %s to %s; dead band %s.",
                   all.holds, spw_figure_unit(all.low, 2, "").text,
                   spw_figure_unit(all.high, 2, SPW_MICRO).text,
                   spw_figure_plain(dead_band, 3, SPW_MICRO).text);
    spw_draw draw =
        spw_draw_begin(sheet->out, "scatter", "half", SPW_NARROW_PX, TOP_PX + PLOT_PX + FOOT_PX,
                       "Scatter within each hold", description);
    spw_axis y = spw_axis_make(-1.06 * reach, 1.06 * reach, TOP_PX + PLOT_PX, TOP_PX, 24.0, false);
    spw_axis_draw_y(&draw, &y, LEFT_PX, SPW_NARROW_PX - RIGHT_PX, SPW_MICRO);
    draw_dead_band(&draw, &y, dead_band);
    if (all.slots > 0) {
        draw_ranges(&draw, &y, &all);
        draw_floors(&draw, &y, &all);
        draw_far(&draw, &all, reach);
        draw_numbers(&draw, &all);
        spw_draw_text(&draw, "num", LEFT_PX - 7.0, TOP_PX + PLOT_PX + 15.0, SPW_ANCHOR_END, "hold");
    } else {
        spw_draw_text(&draw, "lab", 0.5 * SPW_NARROW_PX, TOP_PX + 0.5 * PLOT_PX - 6.0,
                      SPW_ANCHOR_MIDDLE, "no hold was seen");
    }
    spw_draw_end(&draw);
    spw_sheet_figure_end(sheet);
}
