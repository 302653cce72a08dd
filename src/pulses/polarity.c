/* Which level is the pulse? Decided by evidence in a fixed order and never
 * guessed: a width that only one reading allows; the steadier edge, because a
 * source times the edge that leads; the level the line idles at; a gap far
 * longer than any pulse. */
#include "pulses/train.h"

#include <math.h>
#include <string.h>

/* A stretch is idle when it is longer than this many frames: two pulses that
 * run together stay below two frames and one pulse. */
static const double IDLE_FRAMES = 2.2;
/* A frame counts for a vote up to this long, so that no idle stretch outvotes the rest. */
static const double VOTE_MAX_US = 100e3;
/* Common practice: no pulse is longer than 2600 us or shorter than 450 us, and
 * a level that always lasts more than 2800 us is no pulse. */
static const double USUAL_LOW_US = 450, USUAL_HIGH_US = 2600, TOO_LONG_US = 2800;

/* --- by width --- */

typedef struct votes {
    double positive_us, negative_us, both_us; /* time of the frames that say so */
    size_t positive, negative, both, all;
    double idle_low_s, idle_high_s; /* idle stretches that a frame follows */
    double high_sum, low_sum, period_sum;
    size_t highs, lows, periods;
} votes;

/* Is the neighbour of a pulse the gap of a frame? +1 longer than any pulse, 0
 * it could be a pulse too, -1 cannot tell. */
static int gap_kind(const spw_train *train, const spw_stretch *gap) {
    if (gap->length_us > train->width_high_us)
        return 1;
    bool open = gap->open_start || gap->open_end;
    return open || gap->length_us < train->width_low_us ? -1 : 0;
}

static bool whole(const spw_stretch *s) {
    return !s->open_start && !s->open_end;
}

static bool in_window(const spw_train *train, const spw_stretch *s) {
    return whole(s) && s->length_us >= train->width_low_us && s->length_us <= train->width_high_us;
}

static void vote(const spw_train *train, const spw_stretch *pulse, const spw_stretch *gap,
                 votes *v) {
    int kind = gap_kind(train, gap);
    if (!in_window(train, pulse) || kind < 0)
        return;
    double weight = fmin(pulse->length_us + gap->length_us, VOTE_MAX_US);
    v->all++;
    if (kind == 0) {
        v->both++;
        v->both_us += weight;
    } else if (pulse->high) {
        v->positive++;
        v->positive_us += weight;
    } else {
        v->negative++;
        v->negative_us += weight;
    }
}

static void sum_up(const spw_train *train, const spw_stretch *s, const spw_stretch *next,
                   double period_us, votes *v) {
    if (in_window(train, s)) {
        v->high_sum += s->high ? s->length_us : 0;
        v->low_sum += s->high ? 0 : s->length_us;
        v->highs += s->high;
        v->lows += !s->high;
    }
    double pair_us = s->length_us + next->length_us;
    if (whole(s) && whole(next) && fabs(pair_us - period_us) < 0.5 * period_us) {
        v->period_sum += pair_us;
        v->periods++;
    }
}

/* An idle stretch tells the idle level when frames follow it. */
static void idle_vote(const spw_stretch *idle, const spw_stretch *a, const spw_stretch *b,
                      double period_us, votes *v) {
    if (idle->open_end || !(idle->length_us > IDLE_FRAMES * period_us) || !whole(a) || !whole(b) ||
        fabs(a->length_us + b->length_us - period_us) > 0.3 * period_us)
        return;
    if (idle->high)
        v->idle_high_s += idle->length_us * 1e-6;
    else
        v->idle_low_s += idle->length_us * 1e-6;
}

static votes count_votes(const spw_train *train, double end_s, double period_us) {
    votes v = {0};
    spw_stretch_walk walk = spw_stretches(train, end_s);
    spw_stretch s[3];
    size_t n = 0;
    while (spw_stretch_next(&walk, &s[n])) {
        if (s[n].after_break) { /* what came before is no neighbour */
            s[0] = s[n];
            n = 0;
        }
        if (n > 0) {
            vote(train, &s[n - 1], &s[n], &v);
            if (s[n].open_end) /* its own gap was not seen: the one before it tells */
                vote(train, &s[n], &s[n - 1], &v);
            sum_up(train, &s[n - 1], &s[n], period_us, &v);
        }
        if (n < 2) {
            n++;
            continue;
        }
        idle_vote(&s[0], &s[1], &s[2], period_us, &v);
        s[0] = s[1];
        s[1] = s[2];
    }
    return v;
}

/* Do the frames that only one reading allows speak clearly for it? They need
 * not be the most: in another regime both readings may be possible. */
static bool clear(size_t side, double side_us, size_t against, const votes *v) {
    double all_us = v->positive_us + v->negative_us + v->both_us;
    return side >= 2 && side_us >= 0.2 * all_us && (double)side >= 0.02 * (double)v->all &&
           side >= 5 * against;
}

static spw_polarity by_width(const votes *v) {
    if (clear(v->positive, v->positive_us, v->negative, v))
        return SPW_POLARITY_POSITIVE;
    if (clear(v->negative, v->negative_us, v->positive, v))
        return SPW_POLARITY_NEGATIVE;
    return SPW_POLARITY_UNDECIDED;
}

/* --- by the steadier edge --- */

/* Phases of rising and falling edges against an even frame, medians of blocks of
 * frames (so that one late edge is nothing), and their second differences at two
 * lags. Where the second differences part, the width moved: the edge that
 * stayed even leads. */
enum { LAGS = 2, LONGEST_LAG = 6, BLOCKS = 2 * LONGEST_LAG + 1, SPARED = 3, LEAST_PLACES = 4 };
static const size_t LAG[LAGS] = {1, LONGEST_LAG};

typedef struct steadiness {
    double period_us, threshold_us;
    size_t block; /* frames in one: 1 or 3 */
    double rise_us[3], fall_us[3];
    size_t frames; /* in the block */
    double rise_block[BLOCKS], fall_block[BLOCKS];
    size_t blocks;
    double spared[LAGS][SPARED]; /* the largest partings of each lag are left out, */
    double spared_for[LAGS][SPARED];
    size_t places;
    double difference, parting; /* sums of |fall| - |rise| and of |fall - rise| */
} steadiness;

/* The largest partings wait in `spared`; what they push out counts. */
static void part(steadiness *s, size_t lag, double rise_us, double fall_us) {
    double parting = fabs(fall_us - rise_us);
    double difference = fabs(fall_us) - fabs(rise_us);
    if (parting < s->threshold_us)
        return;
    for (size_t i = 0; i < SPARED; i++) {
        if (parting <= s->spared[lag][i])
            continue;
        double p = s->spared[lag][i];
        double d = s->spared_for[lag][i];
        s->spared[lag][i] = parting;
        s->spared_for[lag][i] = difference;
        parting = p;
        difference = d;
    }
    if (parting == 0)
        return;
    s->places++;
    s->parting += parting;
    s->difference += difference;
}

static double middle(const double v[3], size_t n) {
    if (n < 3)
        return v[0];
    return fmax(fmin(v[0], v[1]), fmin(fmax(v[0], v[1]), v[2]));
}

static void block_done(steadiness *s) {
    memmove(s->rise_block + 1, s->rise_block, (BLOCKS - 1) * sizeof(double));
    memmove(s->fall_block + 1, s->fall_block, (BLOCKS - 1) * sizeof(double));
    s->rise_block[0] = middle(s->rise_us, s->block);
    s->fall_block[0] = middle(s->fall_us, s->block);
    s->blocks++;
    s->frames = 0;
    for (size_t i = 0; i < LAGS; i++) {
        size_t lag = LAG[i];
        const double *r = s->rise_block;
        const double *f = s->fall_block;
        if (s->blocks > 2 * lag)
            part(s, i, r[0] - 2 * r[lag] + r[2 * lag], f[0] - 2 * f[lag] + f[2 * lag]);
    }
}

/* Frames in sequence: the rise and the fall after it, in us since the run began. */
typedef struct run {
    double start_s, rise_s, fall_s;
    size_t frames;
} run;

static void frame_seen(steadiness *s, run *r, double rise_s, double fall_s) {
    double rise_us = (rise_s - r->rise_s) * 1e6;
    double fall_us = (fall_s - r->fall_s) * 1e6;
    bool even = r->frames > 0 && fabs(rise_us - s->period_us) < 0.3 * s->period_us &&
                fabs(fall_us - s->period_us) < 0.3 * s->period_us;
    if (!even) {
        *r = (run){.start_s = rise_s};
        s->frames = s->blocks = 0;
    }
    double expected_us = (double)r->frames * s->period_us;
    s->rise_us[s->frames] = (rise_s - r->start_s) * 1e6 - expected_us;
    s->fall_us[s->frames] = (fall_s - r->start_s) * 1e6 - expected_us;
    r->rise_s = rise_s;
    r->fall_s = fall_s;
    r->frames++;
    if (++s->frames == s->block)
        block_done(s);
}

/* Mean standard uncertainty of an edge: what the capture can resolve. */
static double edge_u_us(const spw_train *train) {
    spw_edge_walk walk = {train, 0, 0};
    double sum = 0;
    size_t n = 0;
    for (const spw_edge *e; (e = spw_edge_next(&walk)) != NULL;) {
        if ((e->flags & SPW_EDGE_NO_TRANSITION) != 0 || !(e->u_us >= 0))
            continue;
        sum += (double)e->u_us;
        n++;
    }
    return n > 0 ? sum / (double)n : 0;
}

/* Fewer intervals than this tell nothing of scatter; more than that and three
 * frames make a block. */
enum { LEAST_INTERVALS = 8, MANY_INTERVALS = 40 };

static spw_polarity by_steadier_edge(const spw_train *train, double end_s, size_t intervals,
                                     double period_us) {
    if (intervals < LEAST_INTERVALS)
        return SPW_POLARITY_UNDECIDED;
    /* Second difference of a width: sd 3.5 u for normal errors; for a logic
     * capture 4 steps at most, 14 u. Below that nothing parts. */
    steadiness s = {.period_us = period_us,
                    .threshold_us = fmax(14 * edge_u_us(train), 1e-6),
                    .block = intervals >= MANY_INTERVALS ? 3 : 1};
    run r = {0};
    double rise_s = NAN;
    spw_stretch_walk walk = spw_stretches(train, end_s);
    spw_stretch stretch;
    while (spw_stretch_next(&walk, &stretch)) {
        if (stretch.after_break)
            rise_s = NAN;
        if (stretch.high && !stretch.open_start && !stretch.open_end)
            rise_s = stretch.start_s;
        if (!stretch.high && !stretch.open_start && !isnan(rise_s))
            frame_seen(&s, &r, rise_s, stretch.start_s);
    }
    /* |fall| - |rise| over |fall - rise|: a scatter ratio of 2 gives (2 - 1)/sqrt(3) = 0.58. */
    if (s.places < LEAST_PLACES || fabs(s.difference) < 0.58 * s.parting)
        return SPW_POLARITY_UNDECIDED;
    return s.difference > 0 ? SPW_POLARITY_POSITIVE : SPW_POLARITY_NEGATIVE;
}

/* --- by the idle level, and by a gap that is clearly too long --- */

static spw_polarity by_idle(const votes *v) {
    if (v->idle_low_s > 5 * v->idle_high_s)
        return SPW_POLARITY_POSITIVE;
    if (v->idle_high_s > 5 * v->idle_low_s)
        return SPW_POLARITY_NEGATIVE;
    return SPW_POLARITY_UNDECIDED;
}

static spw_polarity by_long_gap(const spw_survey *survey) {
    const spw_spread *h = &survey->high;
    const spw_spread *l = &survey->low;
    if (h->p10 >= USUAL_LOW_US && h->p90 <= USUAL_HIGH_US && l->p10 > TOO_LONG_US)
        return SPW_POLARITY_POSITIVE;
    if (l->p10 >= USUAL_LOW_US && l->p90 <= USUAL_HIGH_US && h->p10 > TOO_LONG_US)
        return SPW_POLARITY_NEGATIVE;
    return SPW_POLARITY_UNDECIDED;
}

static bool settle(spw_polarity_answer *answer, spw_polarity polarity, spw_polarity_basis basis) {
    if (polarity == SPW_POLARITY_UNDECIDED)
        return false;
    answer->polarity = polarity;
    answer->basis = basis;
    return true;
}

static double mean_of(double sum, size_t n) {
    return n > 0 ? sum / (double)n : (double)NAN;
}

spw_status spw_polarity_decide(const spw_train *train, double end_s, const spw_survey *survey,
                               spw_polarity_answer *answer) {
    double period_us = survey->period.median;
    votes v = count_votes(train, end_s, period_us);
    spw_polarity_answer a = {.polarity = SPW_POLARITY_UNDECIDED,
                             .basis = SPW_BASIS_UNDECIDED,
                             .any = v.all > 0,
                             .other_width_us = NAN,
                             .other_period_us = NAN};
    if (train->has_polarity)
        settle(&a, train->polarity, SPW_BASIS_OPTION);
    else if (v.all > 0 && !settle(&a, by_width(&v), SPW_BASIS_WIDTH) &&
             !settle(&a, by_steadier_edge(train, end_s, v.periods / 2, period_us),
                     SPW_BASIS_STEADIER_EDGE) &&
             !settle(&a, by_idle(&v), SPW_BASIS_IDLE) &&
             !settle(&a, by_long_gap(survey), SPW_BASIS_WIDTH)) {
        a.other_width_us = mean_of(v.low_sum, v.lows);
        a.other_period_us = mean_of(v.period_sum, v.periods);
    }
    *answer = a;
    return SPW_OK;
}
