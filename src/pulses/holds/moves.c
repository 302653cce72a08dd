/* Moves: stretches in which the width changes evenly.
 *
 * Change points cut a slow ramp into short levels. From each piece on, following
 * ones are taken in while one line explains them better, by what change points cost,
 * than their levels do; running sums make that a few steps a piece. */
#include "base/array.h"
#include "pulses/holds/holds.h"

#include <math.h>
#include <stdlib.h>

/* A controller with steps of 1 us climbs a slow ramp in stairs: what those leave about a
 * line, as a variance, explains nothing. */
static const double STAIR_VARIANCE = 1.0 / 12;
/* A line has a slope more than a level has. */
static const double LINE_COST = 1.5;
/* The search for the end of a line goes on so far behind the best: in costs of a change,
 * and in pieces. */
static const double BEHIND = 10;
enum { BEHIND_PIECES = 64 };

typedef struct costs {
    double variance, change;
} costs;

static costs costs_of(const spw_hold_finder *f) {
    double flicker = SPW_FLICKER * f->recording.resolution_us;
    double sd = fmax(f->noise.mean_sd_us, flicker);
    return (costs){sd * sd + STAIR_VARIANCE, 3 * log((double)f->picked.n)};
}

static size_t next_live(const spw_piece *list, size_t n, size_t at) {
    while (at < n && list[at].dead)
        at++;
    return at;
}

typedef struct stretch {
    size_t first, last; /* pieces */
    spw_sums sums;
} stretch;

/* The longest line that gains by what it joins, from piece `from` on. */
static stretch grow(const costs *c, const spw_piece *list, size_t n, size_t from) {
    stretch best = {from, from, list[from].sums};
    spw_sums sums = list[from].sums;
    double levels = sums.vv / c->variance + c->change, most = 0;
    size_t behind = 0;
    for (size_t i = next_live(list, n, from + 1); i < n; i = next_live(list, n, i + 1)) {
        sums = spw_sums_join(&sums, &list[i].sums);
        levels += list[i].sums.vv / c->variance + c->change;
        double gain = levels - spw_sums_rest(&sums) / c->variance - LINE_COST * c->change;
        if (gain > most) {
            most = gain;
            best = (stretch){from, i, sums};
            behind = 0;
        } else if (gain < most - BEHIND * c->change || ++behind > BEHIND_PIECES) {
            break;
        }
    }
    return best;
}

static spw_sums sums_of_pieces(const spw_piece *list, size_t first, size_t last) {
    spw_sums sums = {0};
    for (size_t i = first; i <= last; i++)
        if (!list[i].dead)
            sums = sums.n > 0 ? spw_sums_join(&sums, &list[i].sums) : list[i].sums;
    return sums;
}

/* Takes pieces off the start that fit better as a level of their own. */
static stretch shrink(const costs *c, const spw_piece *list, size_t n, stretch s) {
    while (s.first < s.last) {
        size_t next = next_live(list, n, s.first + 1);
        stretch less = {next, s.last, sums_of_pieces(list, next, s.last)};
        double with = spw_sums_rest(&s.sums), without = spw_sums_rest(&less.sums);
        if (with - without <= list[s.first].sums.vv + c->change * c->variance)
            break;
        s = less;
    }
    return s;
}

static bool tells_a_move(const spw_hold_finder *f, const spw_piece *list, const stretch *s) {
    size_t from = list[s->first].first, to = list[s->last].end;
    double seconds = f->lead_s[to - 1] - f->lead_s[from];
    double slope = s->sums.tt > 0 ? s->sums.tv / s->sums.tt : 0;
    if (to - from < SPW_HOLD_FRAMES || seconds < SPW_HOLD_S - f->regime->period_us * 1e-6 ||
        fabs(slope) < SPW_DRIFT_US_PER_S || fabs(slope) * seconds < 2 * f->recording.resolution_us)
        return false;
    spw_slant line = spw_slant_correlated(f, from, to);
    return spw_slant_told(&line);
}

static spw_status add_move(spw_hold_finder *f, size_t from, size_t to) {
    spw_channel *c = f->channel;
    spw_status status =
        spw_array_room((void **)&c->move, &f->move_room, c->moves, 1, sizeof *c->move);
    if (status != SPW_OK)
        return status;
    spw_sums sums = spw_sums_of(f, from, to);
    spw_slant line = spw_slant_correlated(f, from, to);
    size_t first = f->picked.at[from], last = f->picked.at[to - 1];
    spw_move move = {.start_s = f->lead_s[from],
                     .end_s = c->pulse[last].trail_s,
                     .first_pulse = first,
                     .end_pulse = last + 1,
                     .pulses = to - from,
                     .from_us = sums.v + line.slope * (f->lead_s[from] - sums.t),
                     .to_us = sums.v + line.slope * (f->lead_s[to - 1] - sums.t),
                     .slope_us_per_s = line.slope,
                     .u_slope_us_per_s = line.u_slope,
                     .sd_us = sqrt(line.squares / fmax(1, sums.n - 2))};
    c->move[c->moves++] = move;
    return SPW_OK;
}

/* Where the hold ends and the move begins: the border at which a level and a line leave the
 * least. Frames are counted from the hold's far end; of `count`, those of the hold and of the
 * nearest piece of the move; `rest` is all else of the move. *of_hold: how many are the hold's. */
static spw_status border(const spw_hold_finder *f, size_t from, size_t count, bool hold_first,
                         const spw_sums *rest, size_t *of_hold) {
    double *line = malloc((count + 1) * sizeof *line);
    if (line == NULL)
        return SPW_ERR_MEMORY;
    spw_sums sums = *rest, level = {0};
    for (size_t k = count; k > 0; k--) {
        line[k] = spw_sums_rest(&sums);
        size_t i = hold_first ? from + k - 1 : from + count - k;
        spw_sums one = {1, f->lead_s[i], f->clean[i], 0, 0, 0};
        sums = sums.n > 0 ? spw_sums_join(&sums, &one) : one;
    }
    double least = INFINITY;
    for (size_t k = 1; k <= count; k++) {
        size_t i = hold_first ? from + k - 1 : from + count - k;
        spw_sums one = {1, f->lead_s[i], f->clean[i], 0, 0, 0};
        level = k > 1 ? spw_sums_join(&level, &one) : one;
        if (k >= SPW_HOLD_FRAMES && level.vv + line[k] < least) {
            least = level.vv + line[k];
            *of_hold = k;
        }
    }
    free(line);
    return SPW_OK;
}

/* The nearest live piece before or after `at`; n when there is none. */
static size_t beside(const spw_piece *list, size_t n, size_t at, bool after) {
    if (after)
        return next_live(list, n, at + 1);
    while (at > 0 && list[at - 1].dead)
        at--;
    return at > 0 ? at - 1 : n;
}

/* Settles the border between the move of pieces first ... last and the hold beside it, where
 * a frame of the move is less than the noise and change points see no end. */
static spw_status settle(const spw_hold_finder *f, spw_piece *list, size_t n, size_t first,
                         size_t last, bool after) {
    size_t at = beside(list, n, after ? last : first, after);
    if (at == n || list[at].move > 0 || list[at].end - list[at].first < SPW_HOLD_FRAMES)
        return SPW_OK;
    spw_piece *hold = &list[at], *edge = &list[after ? last : first];
    size_t from = after ? edge->first : hold->first, to = after ? hold->end : edge->end;
    if (to - from != edge->end - edge->first + hold->end - hold->first)
        return SPW_OK; /* something else in between */
    spw_sums rest = {0};
    if (first < last)
        rest = sums_of_pieces(list, after ? first : first + 1, after ? last - 1 : last);
    spw_sums all = rest.n > 0 ? spw_sums_join(&rest, &edge->sums) : edge->sums;
    double frame_us = all.tt > 0 ? fabs(all.tv / all.tt) * f->regime->period_us * 1e-6 : 0;
    if (frame_us > f->noise.sd_us)
        return SPW_OK;
    size_t of_hold = hold->end - hold->first;
    spw_status status = border(f, from, to - from, !after, &rest, &of_hold);
    if (status != SPW_OK || of_hold >= to - from)
        return status;
    size_t cut = after ? to - of_hold : from + of_hold;
    hold->first = after ? cut : hold->first;
    hold->end = after ? hold->end : cut;
    edge->first = after ? edge->first : cut;
    edge->end = after ? cut : edge->end;
    hold->sums = spw_sums_of(f, hold->first, hold->end);
    edge->sums = spw_sums_of(f, edge->first, edge->end);
    return SPW_OK;
}

/* Marks the lines of several pieces. Returns how many. */
static size_t mark_lines(const spw_hold_finder *f, spw_piece *list, size_t n) {
    costs c = costs_of(f);
    size_t moves = 0;
    for (size_t i = next_live(list, n, 0); i < n;) {
        stretch s = shrink(&c, list, n, grow(&c, list, n, i));
        bool is_move = s.first < s.last && tells_a_move(f, list, &s);
        moves += is_move;
        for (size_t k = s.first; is_move && k <= s.last; k++)
            list[k].move = moves;
        i = next_live(list, n, (is_move ? s.last : i) + 1);
    }
    return moves;
}

/* Pieces of the move of piece `first`. */
static size_t last_of(const spw_piece *list, size_t n, size_t first) {
    size_t last = first;
    for (size_t i = first; i < n && (list[i].dead || list[i].move == list[first].move); i++)
        last = list[i].dead ? last : i;
    return last;
}

/* Makes neighbouring moves one where one line explains both. */
static void join_moves(const spw_hold_finder *f, spw_piece *list, size_t n) {
    costs c = costs_of(f);
    stretch before = {.first = n};
    for (size_t i = next_live(list, n, 0); i < n; i = next_live(list, n, i + 1)) {
        if (list[i].move == 0)
            continue;
        size_t last = last_of(list, n, i);
        stretch now = {i, last, sums_of_pieces(list, i, last)};
        if (before.first < n && next_live(list, n, before.last + 1) == i) {
            spw_sums both = spw_sums_join(&before.sums, &now.sums);
            double apart = spw_sums_rest(&before.sums) + spw_sums_rest(&now.sums);
            if (spw_sums_rest(&both) <= apart + LINE_COST * c.change * c.variance) {
                for (size_t k = i; k <= last; k++)
                    list[k].move = list[before.first].move;
                now = (stretch){before.first, last, both};
            }
        }
        before = now;
        i = last;
    }
}

spw_status spw_moves_mark(const spw_hold_finder *f, spw_piece *list, size_t n) {
    size_t moves = mark_lines(f, list, n);
    for (size_t i = 0; i < n; i++) {
        if (list[i].dead || list[i].move == 0)
            continue;
        size_t last = last_of(list, n, i);
        spw_status status = settle(f, list, n, i, last, false);
        if (status == SPW_OK)
            status = settle(f, list, n, i, last, true);
        if (status != SPW_OK)
            return status;
        i = last;
    }
    for (size_t i = 0; i < n; i++) {
        stretch alone = {i, i, list[i].sums};
        if (!list[i].dead && list[i].move == 0 && tells_a_move(f, list, &alone))
            list[i].move = ++moves;
    }
    join_moves(f, list, n);
    return SPW_OK;
}

spw_status spw_moves_add(spw_hold_finder *f, const spw_piece *list, size_t n) {
    for (size_t i = 0; i < n; i++) {
        if (list[i].dead || list[i].move == 0)
            continue;
        size_t last = last_of(list, n, i);
        spw_status status = add_move(f, list[i].first, list[last].end);
        if (status != SPW_OK)
            return status;
        i = last;
    }
    return SPW_OK;
}
