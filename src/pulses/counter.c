/* The step of a controller whose counter divides its frame: 8 to 16 bits a frame (PWM units
 * of microcontrollers, common practice). A few levels show it, as its steps are known
 * beforehand but for the number of bits. */
#include "pulses/train.h"

#include <math.h>

enum { BITS_LEAST = 8, BITS_MOST = 16, LEAST_LEVELS = 4, MOST_LEVELS = 64 };
/* A width lies on the grid within so many standard uncertainties of it. */
static const double REACH = 4, LEAST_REACH_US = 2e-4;
/* Odd widths of other kinds are few. */
static const double ON_GRID_SHARE = 0.99;
/* Chance that levels without a grid look so, over all numbers of bits. */
static const double CHANCE = 0.01;

typedef struct counted {
    double number[MOST_LEVELS]; /* different ones, of steps */
    size_t n;
    size_t on, all; /* widths on the grid, and all */
    double chance;
    bool odd; /* one of the numbers is */
} counted;

static void count(counted *c, double us, double reach_us, double step_us) {
    double number = round(us / step_us);
    c->all++;
    if (2 * reach_us >= step_us || !(fabs(us - number * step_us) <= reach_us))
        return;
    c->on++;
    for (size_t i = 0; i < c->n; i++)
        if (c->number[i] == number)
            return;
    if (c->n == MOST_LEVELS)
        return;
    c->number[c->n++] = number;
    c->odd = c->odd || fmod(number, 2) != 0;
    c->chance *= 2 * reach_us / step_us;
}

static counted by_holds(const spw_channel *c, double step_us) {
    counted k = {.chance = 1};
    for (size_t h = 0; h < c->holds; h++) {
        const spw_budget *b = &c->hold[h].budget;
        double reach_us = REACH * hypot(b->u_scatter, b->u_sampling) + LEAST_REACH_US;
        count(&k, c->hold[h].width_us.mean, reach_us, step_us);
    }
    return k;
}

/* Width by width: a hold may toggle between two steps. */
static counted by_widths(const spw_channel *c, const spw_picked *p, double step_us) {
    counted k = {.chance = 1};
    for (size_t i = 0; i < p->n; i++) {
        const spw_pulse *pulse = &c->pulse[p->at[i]];
        double reach_us = REACH * (double)pulse->u_width_us + LEAST_REACH_US;
        count(&k, spw_pulse_width_us(pulse), reach_us, step_us);
    }
    return k;
}

/* With no odd number the grid is coarser than any counter's: round numbers of another unit. */
static bool plain(const counted *k) {
    return k->n >= LEAST_LEVELS && k->odd && (double)k->on >= ON_GRID_SHARE * (double)k->all &&
           k->chance * (BITS_MOST - BITS_LEAST + 1) <= CHANCE;
}

void spw_counter_find(const spw_picked *picked, spw_channel *channel) {
    double period_us = channel->period_us.mean;
    if (!(period_us > 0))
        return;
    for (int bits = BITS_LEAST; bits <= BITS_MOST; bits++) {
        double step_us = ldexp(period_us, -bits);
        counted holds = by_holds(channel, step_us), widths = by_widths(channel, picked, step_us);
        if (!plain(&holds) && !plain(&widths))
            continue;
        channel->step_us = step_us;
        channel->step_u_us = step_us * channel->period_us.u / period_us;
        return;
    }
}
