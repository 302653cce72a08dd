/* What recordings in doubt leave of a verification: a check whose answer the doubt could turn is
 * not told, and says what to do. */
#include "adapter/verify/doubt.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static spw_doubt doubt_of(const spw_channel *channel) {
    spw_doubt all = {0};
    for (size_t i = 0; i < channel->doubts; i++)
        spw_doubt_join(&all, &channel->doubt[i]);
    return all;
}

static bool is_one_of(const char *name, const char *const *names, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (strcmp(name, names[i]) == 0)
            return true;
    return false;
}

/* Whether widths off by up to reach_us could turn the answer. Delays and pairs are no widths. */
static bool could_turn(const spw_check *c, double reach_us, double tolerance_us) {
    static const char *const departure[] = {"line", "residual", "smoothing"};
    static const char *const clamp[] = {"clamp_low", "clamp_high"};
    static const char *const scatter[] = {"jitter", "steps"};
    if (is_one_of(c->name, departure, 3))
        return c->pass > 0 ? !(c->value + reach_us <= c->limit) : !(c->value - reach_us > c->limit);
    if (is_one_of(c->name, clamp, 2))
        return c->pass > 0 ? !(reach_us <= tolerance_us) : !(fabs(c->value - c->limit) > reach_us);
    return is_one_of(c->name, scatter, 2) && isinf(reach_us);
}

void spw_verify_doubt(spw_verification *v, const spw_channel *before, const spw_channel *after) {
    spw_doubt in = doubt_of(before), out = doubt_of(after), both = in;
    spw_doubt_join(&both, &out);
    if (both.what == 0)
        return;
    double gain = fmax(1, fabs(v->planned.known ? v->planned.remap.gain : v->gain));
    double reach_us =
        spw_doubt_reach_us(&out) + (in.what != 0 ? gain * spw_doubt_reach_us(&in) : 0);
    double tolerance_us = v->planned.known ? v->planned.tolerance_us : 0;
    for (size_t i = 0; i < v->checks; i++) {
        spw_check *c = &v->check[i];
        if (c->pass < 0 || !could_turn(c, reach_us, tolerance_us))
            continue;
        c->pass = -1;
        (void)snprintf(c->why, sizeof c->why,
                       "%s; the recording of the line %s the adapter is in "
                       "doubt: %s",
                       spw_doubt_cure(both.what), in.what != 0 ? "before" : "behind",
                       spw_doubt_words(both.what));
    }
}
