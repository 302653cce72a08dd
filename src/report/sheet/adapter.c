/* The adapter: its line with clamps, and what was measured of it. */
#include "report/sheet/sheet.h"
#include "report/words/words.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>

#define LEFT_PX 50.0
#define RIGHT_PX 10.0
#define TOP_PX 20.0
#define PLOT_PX 146.0
#define FOOT_PX 24.0
#define BESIDE 0.12 /* of the input range, shown beyond both clamps */

typedef struct frame {
    double low, high; /* inputs shown */
    spw_axis x, y;
} frame;

static double input_low(const spw_remap *map) {
    return map->segment[0].from_us;
}

static double input_high(const spw_remap *map) {
    return map->segment[map->segments - 1].to_us;
}

static frame make_frame(const spw_sheet *sheet) {
    const spw_remap *map = &sheet->adapter.remap;
    const spw_servo *servo = &sheet->facts->plan->servo;
    double beside = BESIDE * (input_high(map) - input_low(map));
    double low = fmin(servo->expected_low_us, map->clamp_low_us),
           high = fmax(servo->expected_high_us, map->clamp_high_us);
    for (size_t i = 0; i < sheet->verified.points; i++) {
        low = fmin(low, sheet->verified.point[i].out_us);
        high = fmax(high, sheet->verified.point[i].out_us);
    }
    frame f = {.low = input_low(map) - beside, .high = input_high(map) + beside};
    f.x = spw_axis_make(f.low, f.high, LEFT_PX, SPW_NARROW_PX - RIGHT_PX, 52.0, false);
    f.y = spw_axis_make(low - 0.05 * (high - low), high + 0.05 * (high - low), TOP_PX + PLOT_PX,
                        TOP_PX, 26.0, false);
    return f;
}

static void draw_line(const spw_draw *draw, const frame *f, const spw_remap *map) {
    spw_path path = spw_path_begin(draw, "line2");
    double at[4] = {f->low, input_low(map),
                    map->segments > 1 ? map->segment[0].to_us : input_high(map), input_high(map)};
    for (size_t i = 0; i < 4; i++)
        spw_path_line(&path, spw_axis_px(&f->x, at[i]),
                      spw_axis_px(&f->y, spw_remap_apply(map, at[i])));
    spw_path_line(&path, spw_axis_px(&f->x, f->high),
                  spw_axis_px(&f->y, spw_remap_apply(map, f->high)));
    spw_path_end(&path);
}

/* The ends and neutral as measured, on the line. */
static void draw_levels(const spw_draw *draw, const frame *f, const spw_sheet *sheet) {
    const spw_span *span = &sheet->facts->plan->span;
    const double level[] = {span->low.us, span->neutral.us, span->high.us};
    for (size_t i = 0; span->known && i < 3; i++)
        if (isfinite(level[i]) && level[i] >= f->low && level[i] <= f->high)
            spw_draw_mark(draw, "mark", SPW_MARK_DIAMOND, spw_axis_px(&f->x, level[i]),
                          spw_axis_px(&f->y, spw_remap_apply(&sheet->adapter.remap, level[i])));
}

static void draw_clamp(const spw_draw *draw, const frame *f, double us, bool high) {
    double y = spw_axis_px(&f->y, us);
    char label[96];
    (void)snprintf(label, sizeof label, "clamp %s", spw_figure_plain(us, 6, SPW_MICRO).text);
    spw_draw_line(draw, "dash", f->x.at, y, f->x.end, y);
    spw_draw_text(draw, "afters", high ? f->x.at + 5.0 : f->x.end - 2.0, high ? y + 13.0 : y - 5.0,
                  high ? SPW_ANCHOR_START : SPW_ANCHOR_END, label);
}

static void draw_points(const spw_draw *draw, const frame *f, const spw_verified *verified) {
    for (size_t i = 0; i < verified->points; i++)
        spw_draw_mark(draw, "seen", SPW_MARK_CROSS, spw_axis_px(&f->x, verified->point[i].in_us),
                      spw_axis_px(&f->y, verified->point[i].out_us));
}

static void put_line_picture(spw_sheet *sheet) {
    const spw_remap *map = &sheet->adapter.remap;
    const spw_servo *servo = &sheet->facts->plan->servo;
    char description[400];
    frame f = make_frame(sheet);
    (void)snprintf(description, sizeof description,
                   "Inputs from %s to %s become outputs from %s to %s; %zu measured pairs.",
                   spw_figure_plain(input_low(map), 6, "").text,
                   spw_figure_plain(input_high(map), 6, SPW_MICRO).text,
                   spw_figure_plain(map->clamp_low_us, 6, "").text,
                   spw_figure_plain(map->clamp_high_us, 6, SPW_MICRO).text, sheet->verified.points);
    spw_sheet_figure(sheet, sheet->verified.known
                                ? "<b>The adapter&#39;s line</b>Output over input; dotted: what "
                                  "the servo expects; diamonds: the controller&#39;s levels; "
                                  "crosses: measured."
                                : "<b>The adapter&#39;s line</b>Output over input; dotted: what "
                                  "the servo expects; diamonds: the controller&#39;s levels.");
    spw_draw draw = spw_draw_begin(sheet->out, "line", "half", SPW_NARROW_PX,
                                   TOP_PX + PLOT_PX + FOOT_PX, "The adapter's line", description);
    spw_axis_draw_x(&draw, &f.x, TOP_PX + PLOT_PX, TOP_PX, SPW_MICRO);
    spw_axis_draw_y(&draw, &f.y, LEFT_PX, SPW_NARROW_PX - RIGHT_PX, SPW_MICRO);
    const double expected[] = {servo->expected_low_us, servo->expected_high_us};
    for (size_t i = 0; i < 2; i++)
        spw_draw_line(&draw, "fine", f.x.at, spw_axis_px(&f.y, expected[i]), f.x.end,
                      spw_axis_px(&f.y, expected[i]));
    draw_clamp(&draw, &f, map->clamp_low_us, false);
    draw_clamp(&draw, &f, map->clamp_high_us, true);
    draw_line(&draw, &f, map);
    draw_levels(&draw, &f, sheet);
    draw_points(&draw, &f, &sheet->verified);
    spw_draw_end(&draw);
    spw_sheet_figure_end(sheet);
}

/* Output less the planned output, of the pairs that no clamp holds. */
static void put_departures(spw_sheet *sheet) {
    const spw_verified *verified = &sheet->verified;
    const spw_planned *planned = &sheet->adapter;
    double reach = isfinite(planned->tolerance_us) ? planned->tolerance_us : 0.0;
    size_t n = 0;
    for (size_t i = 0; i < verified->points; i++) {
        const spw_verified_point *p = &verified->point[i];
        if (p->clamped)
            continue;
        reach = fmax(reach, fabs(p->out_us - spw_remap_apply(&planned->remap, p->in_us)));
        n++;
    }
    if (n == 0)
        return;
    frame f = make_frame(sheet);
    char description[400];
    (void)snprintf(description, sizeof description,
                   "Departures of %zu measured outputs from the plan, within %s of 0; tolerance "
                   "%s.",
                   n, spw_figure_unit(reach, 2, SPW_MICRO).text,
                   spw_figure_plain(planned->tolerance_us, 3, SPW_MICRO).text);
    spw_sheet_figure(sheet, "<b>Departures from the plan, magnified</b>Measured less planned "
                            "output, over the input; dashed: the tolerance.");
    spw_draw draw =
        spw_draw_begin(sheet->out, "departures", "half", SPW_NARROW_PX, TOP_PX + PLOT_PX + FOOT_PX,
                       "Departures from the plan", description);
    spw_axis y = spw_axis_make(-1.1 * reach, 1.1 * reach, TOP_PX + PLOT_PX, TOP_PX, 24.0, false);
    spw_axis_draw_x(&draw, &f.x, TOP_PX + PLOT_PX, TOP_PX, SPW_MICRO);
    spw_axis_draw_y(&draw, &y, LEFT_PX, SPW_NARROW_PX - RIGHT_PX, SPW_MICRO);
    for (int sign = -1; sign <= 1 && isfinite(planned->tolerance_us); sign += 2)
        spw_draw_line(&draw, "dash", f.x.at, spw_axis_px(&y, sign * planned->tolerance_us), f.x.end,
                      spw_axis_px(&y, sign * planned->tolerance_us));
    for (size_t i = 0; i < verified->points; i++) {
        const spw_verified_point *p = &verified->point[i];
        if (!p->clamped)
            spw_draw_mark(&draw, "seen", SPW_MARK_CROSS, spw_axis_px(&f.x, p->in_us),
                          spw_axis_px(&y, p->out_us - spw_remap_apply(&planned->remap, p->in_us)));
    }
    spw_draw_end(&draw);
    spw_sheet_figure_end(sheet);
}

static void put_row(spw_sheet *sheet, const char *label, spw_figure figure, const char *path) {
    spw_sheet_printf(sheet, "<tr><th scope=\"row\">%s</th><td>", label);
    spw_sheet_value(sheet, figure, sheet->adapter_read ? "" : path, NULL);
    spw_sheet_put(sheet, "</td></tr>\n");
}

static void put_range_row(spw_sheet *sheet, const char *label, double low, double high) {
    spw_sheet_printf(sheet,
                     "<tr><th scope=\"row\">%s</th><td><span class=\"n\">%s to %s</span></td></tr>"
                     "\n",
                     label, spw_figure_unit(low, 1, "").text,
                     spw_figure_unit(high, 1, SPW_MICRO).text);
}

static void put_integers(spw_sheet *sheet) {
    const spw_plan *plan = sheet->facts->plan;
    const spw_fixed_point *fixed = &plan->fixed_point;
    if (sheet->adapter_read || !plan->has_remap || !fixed->known)
        return;
    spw_sheet_printf(sheet,
                     "<tr><th scope=\"row\">In ticks of %s</th><td>clamp the input to %" PRIu32
                     " .. %" PRIu32 "; ",
                     spw_figure_plain(fixed->tick_us, 4, SPW_MICRO).text, fixed->clamp_in_low,
                     fixed->clamp_in_high);
    for (size_t i = 0; i < fixed->segments; i++) {
        const spw_fixed_segment *part = &fixed->segment[i];
        if (fixed->segments > 1)
            spw_sheet_printf(sheet, "from %" PRIu32 " to %" PRIu32 ": ", part->from_ticks,
                             part->to_ticks);
        spw_sheet_put(sheet, "<code>");
        spw_sheet_text(sheet, spw_plan_formula(part).text);
        spw_sheet_put(sheet, "</code>; ");
    }
    spw_sheet_printf(sheet,
                     "clamp the output to %" PRIu32 " .. %" PRIu32 ". Rounding at most %s, all "
                     "%" PRIu64 " inputs tried; widest product %u of %u bits.",
                     fixed->clamp_out_low, fixed->clamp_out_high,
                     spw_figure_digits(fixed->worst_error_us, 2, SPW_MICRO).text,
                     fixed->inputs_checked, fixed->widest_product_bits, fixed->word_bits);
    if (fixed->segment[0].by_bytes || fixed->segment[fixed->segments - 1].by_bytes) {
        spw_sheet_put(sheet, " ");
        spw_sheet_text(sheet, spw_plan_by_bytes);
        spw_sheet_put(sheet, ".");
    }
    spw_error error;
    spw_error_clear(&error);
    if (spw_plan_integers_check(plan, &error) != SPW_OK) {
        spw_sheet_put(sheet, " <b>Not to be built on:</b> ");
        spw_sheet_text(sheet, error.message);
        spw_sheet_put(sheet, ".");
    }
    spw_sheet_put(sheet, "</td></tr>\n");
}

static void put_numbers(spw_sheet *sheet) {
    const spw_remap *map = &sheet->adapter.remap;
    spw_sheet_table(sheet, "adapter",
                    "<b>The adapter&#39;s numbers</b>out = gain &#215; in + "
                    "offset, both clamped",
                    "Setting|Value");
    put_row(sheet, "Gain", spw_figure_plain(map->gain, 7, ""), "plan.remap.gain");
    put_row(sheet, "Offset", spw_figure_plain(map->offset_us, 7, SPW_MICRO),
            "plan.remap.offset_us");
    for (size_t i = 0; i < map->segments && map->segments > 1; i++) {
        const spw_segment *part = &map->segment[i];
        spw_sheet_printf(sheet,
                         "<tr><th scope=\"row\">Piece %zu</th><td>from %s to %s: gain %s, offset "
                         "%s</td></tr>\n",
                         i + 1, spw_figure_unit(part->from_us, 1, "").text,
                         spw_figure_unit(part->to_us, 1, SPW_MICRO).text,
                         spw_figure_plain(part->gain, 7, "").text,
                         spw_figure_plain(part->offset_us, 7, SPW_MICRO).text);
    }
    put_range_row(sheet, "Input clamped to", input_low(map), input_high(map));
    put_range_row(sheet, "Output clamped to", map->clamp_low_us, map->clamp_high_us);
    put_integers(sheet);
    spw_sheet_table_end(sheet);
}

/* What passed in a line; what did not with its reason. */
static void put_checks(spw_sheet *sheet, const spw_verified *v) {
    size_t passed = 0;
    for (size_t i = 0; i < v->checks; i++) {
        if (v->check[i].pass <= 0)
            continue;
        spw_sheet_put(sheet, passed++ == 0 ? "<p>Checks passed: " : ", ");
        spw_sheet_name(sheet, v->check[i].name);
    }
    spw_sheet_put(sheet, passed > 0 ? ".</p>\n" : "");
    if (passed == v->checks)
        return;
    spw_sheet_table(sheet, "checks", "<b>Checks that did not pass</b>", "Check|Passed|Why");
    for (size_t i = 0; i < v->checks; i++) {
        if (v->check[i].pass > 0)
            continue;
        spw_sheet_put(sheet, "<tr><th scope=\"row\">");
        spw_sheet_name(sheet, v->check[i].name);
        spw_sheet_printf(sheet, "</th><td>%s</td><td>", v->check[i].pass == 0 ? "NO" : "not told");
        spw_sheet_prose(sheet, v->check[i].why);
        spw_sheet_put(sheet, "</td></tr>\n");
    }
    spw_sheet_table_end(sheet);
}

static void put_verified(spw_sheet *sheet) {
    const spw_verified *v = &sheet->verified;
    double k95 = spw_coverage_factor(0.95, v->dof);
    spw_sheet_printf(sheet, "<p class=\"say %s\"><b>%s</b> ", v->pass > 0 ? "yes" : "no",
                     v->pass > 0    ? "Verified: the fitted adapter does what was planned."
                     : v->pass == 0 ? "The fitted adapter does not do what was planned."
                     : v->exchanged ? "Not verified: the two lines seem exchanged."
                                    : "Not verified: a check that matters was not exercised.");
    spw_sheet_printf(sheet, "Fitted line: gain %s, offset %s, from %zu pairs",
                     spw_figure_pm(v->gain, k95 * v->u_gain, "").text,
                     spw_figure_pm(v->offset_us, k95 * v->u_offset_us, SPW_MICRO).text, v->pairs);
    if (isfinite(v->latency_ms))
        spw_sheet_printf(sheet, "; delay %s, at most %s",
                         spw_figure_digits(v->latency_ms, 3, "ms").text,
                         spw_figure_digits(v->latency_max_ms, 3, "ms").text);
    spw_sheet_put(sheet, ".</p>\n");
    put_checks(sheet, v);
}

void spw_sheet_adapter(spw_sheet *sheet) {
    if (!sheet->adapter.known && !sheet->verified.known)
        return;
    spw_sheet_section(sheet, "adapter turn", "The adapter");
    if (sheet->adapter_read) {
        spw_sheet_put(sheet, "<p class=\"note\">As planned in ");
        spw_sheet_name(sheet, sheet->facts->plan_file);
        spw_sheet_put(sheet, ", not anew from this capture.</p>\n");
    }
    if (sheet->verified.known)
        put_verified(sheet);
    if (sheet->adapter.known) {
        spw_sheet_put(sheet, "<div class=\"pair\">\n");
        put_line_picture(sheet);
        put_departures(sheet);
        put_numbers(sheet);
        spw_sheet_put(sheet, "</div>\n");
    }
    spw_sheet_section_end(sheet);
}
