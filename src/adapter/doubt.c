/* What a recording in doubt leaves undecided, and what cures it. */
#include "adapter/planning.h"

#include <math.h>

/* Why the ends are not decided: the doubt left them so. */
static bool left_open(const spw_end *end) {
    return end->doubt.what != 0 && end->verdict == SPW_END_UNDECIDED;
}

static void say_bound(const spw_doubt *doubt, spw_text *why) {
    spw_text_printf(why, "%s", spw_doubt_words(doubt->what));
    if (doubt->from_s < doubt->to_s)
        spw_text_printf(why, " (from %.3f to %.3f s)", doubt->from_s, doubt->to_s);
    if (isnan(doubt->bound_us))
        spw_text_puts(why, ", and how far that moves ");
    else
        spw_text_printf(why, ", which may move a width by %.3g us, and that does not decide ",
                        doubt->bound_us);
}

static void say_ends(const spw_planner *p, const spw_doubt *doubt, spw_text *why) {
    bool low = left_open(&p->low), high = left_open(&p->high);
    say_bound(doubt, why);
    if (low)
        spw_text_printf(why, "the low end (it reads %.1f us)", p->span->low.us);
    if (high)
        spw_text_printf(why, "%sthe high end (it reads %.1f us)", low ? " and " : "",
                        p->span->high.us);
    spw_text_puts(why, isnan(doubt->bound_us) ? " is not known" : "");
}

bool spw_planner_in_doubt(spw_planner *p, spw_text *why) {
    spw_doubt doubt = {0};
    if (left_open(&p->low))
        spw_doubt_join(&doubt, &p->low.doubt);
    if (left_open(&p->high))
        spw_doubt_join(&doubt, &p->high.doubt);
    const spw_span_point *neutral = &p->span->neutral;
    bool bends = p->bench->adapter.neutral == SPW_REMAP_BENT && !isnan(neutral->us) &&
                 spw_doubt_reach_us(&neutral->doubt) > p->bench->servo.tolerance_us;
    if (doubt.what != 0)
        say_ends(p, &doubt, why);
    else if (bends) {
        doubt = neutral->doubt;
        say_bound(&doubt, why);
        spw_text_printf(why, "neutral (it reads %.1f us)%s", neutral->us,
                        isnan(doubt.bound_us) ? " is not known" : "");
    } else
        return false;
    p->cure = spw_doubt_cure(doubt.what);
    return true;
}

/* The levels whose doubt left their verdict standing, in one sentence. */
static void caution_levels(spw_planner *p) {
    const struct {
        const char *name;
        const spw_doubt *doubt;
    } level[] = {{"the low end", &p->span->low.doubt},
                 {"neutral", &p->span->neutral.doubt},
                 {"the high end", &p->span->high.doubt}};
    spw_text text = {0};
    spw_doubt all = {0};
    size_t n = 0;
    for (int i = 0; i < 3; i++) {
        if (level[i].doubt->what == 0)
            continue;
        spw_text_printf(&text, "%s%s", n++ == 0 ? "In doubt: " : ", ", level[i].name);
        spw_doubt_join(&all, level[i].doubt);
    }
    if (n == 0)
        return;
    spw_text_printf(&text, ", as %s; ", spw_doubt_words(all.what));
    if (isnan(all.bound_us))
        spw_text_puts(&text, "by how much is not known. ");
    else
        spw_text_printf(&text, "by at most another %.3g us. ", all.bound_us);
    spw_text_printf(&text, "%s to know more.", spw_doubt_cure(all.what));
    spw_planner_caution(p, &text);
}

static void caution_left_out(spw_planner *p) {
    const spw_span *span = p->span;
    if (span->left_out == 0)
        return;
    spw_text text = {0};
    spw_text_printf(&text,
                    "%zu %s in doubt stayed out of the ends (%s): the same level%s measured "
                    "where nothing is in doubt.",
                    span->left_out, span->left_out == 1 ? "hold" : "holds",
                    spw_doubt_words(span->left_doubt.what),
                    span->left_out == 1 ? " was" : "s were");
    spw_planner_caution(p, &text);
}

void spw_planner_doubt_cautions(spw_planner *p) {
    caution_left_out(p);
    if (p->cure == NULL) /* else it is the first advice */
        caution_levels(p);
}
