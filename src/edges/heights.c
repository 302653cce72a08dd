/* A search with one threshold loses what is weaker than half of the usual, and takes for
 * steps what couples in where the signal is stronger. So of the steps found, those go that
 * are small beside their neighbours on either side, and where steps are missing the search
 * looks again with a threshold of its own. What it finds there is the signal when it comes
 * as densely as the signal does and does not come beside the signal, too. */
#include "edges/heights.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WITHIN 0.05     /* half of 20 dB below the neighbours: what is looked for */
#define UNEVEN 1.6      /* heights that vary by less need no look at each */
#define HOLE 1.5        /* of the longest usual distance */
#define DENSITY 2.0     /* factor between the signal's and that of weaker steps */
#define SOLID 0.7       /* of the usual height */
#define LONE_SHARE 0.25 /* of the neighbours, a pulse that is weaker all alone */
#define SINKS_DB_S 2.0  /* a second: what a level does slowly */
#define GUARD_S 300e-6  /* of a hole's rims: the ringing of the steps there */
#define BESIDE_S 0.25   /* beside a hole, where crosstalk would be seen, too */
enum { NEAR = 8, FOUND = 2048, ENOUGH = 8, FEW = 4, GAPS = 512, RARE = 40 };

spw_status spw_heights_new(spw_heights *h) {
    *h = (spw_heights){.found = malloc(FOUND * sizeof *h->found)};
    return h->found != NULL ? SPW_OK : SPW_ERR_MEMORY;
}

void spw_heights_free(spw_heights *h) {
    free(h->found);
    *h = (spw_heights){0};
}

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Height that n marks (at most NEAR) share; the largest that is no single one. */
static double shared(const spw_mark *marks, size_t n) {
    double height[NEAR] = {0};
    for (size_t i = 0; i < n; i++)
        height[i] = (double)marks[i].height;
    qsort(height, n, sizeof *height, rising);
    while (n > 1 && height[n - 2] < 0.4 * height[n - 1])
        n--;
    size_t first = n > 0 ? n - 1 : 0;
    while (first > 0 && height[first - 1] > 0.4 * height[n - 1])
        first--;
    return n > 0 ? height[first + (n - first) / 2] : 0;
}

double spw_heights_keep(const spw_heights *h, const spw_mark *marks, size_t n, double end,
                        double rate_hz) {
    if (n == 0 || h->gap <= 0)
        return end;
    double last = marks[n - 1].at, pause = end - last;
    return pause > h->gap && pause < FEW * h->gap ? fmax(last - BESIDE_S * rate_hz, 0) : end;
}

double spw_heights_last(const spw_mark *marks, size_t n) {
    return n > NEAR ? shared(marks + n - NEAR, NEAR) : shared(marks, n);
}

/* The smaller of the heights before and behind mark k; of one side where the other has too
 * few to tell. */
static double around(const spw_mark *marks, size_t n, size_t k) {
    size_t before = k < NEAR ? k : NEAR, after = n - k - 1 < NEAR ? n - k - 1 : NEAR;
    double left = shared(marks + k - before, before), right = shared(marks + k + 1, after);
    if (before < FEW && after < FEW)
        return 0;
    return before < FEW ? right : after < FEW ? left : fmin(left, right);
}

/* Leaves out marks that are small beside their neighbours on both sides. */
static size_t leave_small(spw_mark *marks, size_t n) {
    float least = INFINITY, most = 0;
    for (size_t k = 0; k < n; k++) {
        least = fminf(least, marks[k].height);
        most = fmaxf(most, marks[k].height);
    }
    if (!(most > (float)UNEVEN * least))
        return n;
    for (size_t k = 0; k < n; k++)
        marks[k].doubts = (double)marks[k].height < 0.5 * around(marks, n, k) ? SPW_DOUBT_WEAK : 0;
    size_t kept = 0;
    for (size_t k = 0; k < n; k++)
        if (marks[k].doubts == 0)
            marks[kept++] = marks[k];
    return kept;
}

/* ------------------------------------------------------------ holes */

/* The longest distance of neighbours that is usual: three quarters of the pauses of a train
 * are shorter or alike; those of a sum stream come once in many, so what is longer too often
 * to be a gap is looked at alone. */
static double usual_gap(const spw_mark *marks, size_t n) {
    double gap[2 * GAPS] = {0};
    size_t count = 0, step = n / GAPS | 1; /* odd: pauses and pulses take turns */
    for (size_t k = 1; k < n && count < 2 * GAPS; k += step)
        gap[count++] = marks[k].at - marks[k - 1].at;
    qsort(gap, count, sizeof *gap, rising);
    double usual = gap[count * 3 / 4];
    for (size_t from = 0;;) {
        while (from < count && gap[from] <= HOLE * usual)
            from++;
        if (count - from <= 2 + count / RARE)
            return usual;
        usual = gap[from + (count - from) / 2];
    }
}

static void learn_usual(spw_heights *h, const spw_mark *marks, size_t n) {
    if (n < ENOUGH)
        return;
    double gap = usual_gap(marks, n), time = 0;
    size_t count = 0;
    for (size_t k = 1; k < n; k++) {
        double apart = marks[k].at - marks[k - 1].at;
        if (apart > HOLE * gap)
            continue;
        time += apart;
        count++;
    }
    h->gap = gap;
    h->density = time > 0 ? (double)count / time : 0;
}

/* Between marks first - 1 and end, or a rim of the stretch. */
typedef struct hole {
    size_t first, end;
    size_t from, to; /* samples */
    double rim;      /* height of the steps about it */
} hole;

/* What a search takes. */
typedef struct search {
    const spw_coarse *coarse;
    const spw_trace *trace;
    const spw_step_size *size;
    spw_mark *marks;
    size_t n, room;
} search;

/* Steps within [from, to) into h->found. */
static size_t weaker(spw_heights *h, const spw_coarse *coarse, const spw_trace *trace, size_t from,
                     size_t to, double least) {
    size_t n = 0, glitches = 0;
    spw_coarse_find_in(coarse, trace, from, to, least, h->found, FOUND, &n, &glitches);
    return n;
}

/* Do steps of such a height come beside stronger ones as well? Then they are crosstalk. */
static bool beside(spw_heights *h, const search *s, const hole *o, double height) {
    double span = BESIDE_S * s->trace->rate_hz, clear = GUARD_S * s->trace->rate_hz;
    double seen = 0, looked = 0;
    for (size_t k = 0; k + 1 < s->n; k++) {
        const spw_mark *m = &s->marks[k];
        double a = m[0].at + clear, b = m[1].at - clear;
        bool near = b > (double)o->from - span && a < (double)o->to + span;
        if (!near || b <= a || (k + 1 >= o->first && k < o->end) ||
            (double)m[0].height < 2 * height)
            continue;
        size_t found = weaker(h, s->coarse, s->trace, (size_t)a, (size_t)b, 0.5 * height);
        for (size_t i = 0; i < found; i++)
            seen += (double)h->found[i].height < 2 * height;
        looked += b - a;
    }
    if (looked < FEW * h->gap) /* nothing to see it beside: as it was before */
        return height < 2 * h->crosstalk;
    bool is = seen > 0 && seen > 0.5 * h->density * looked;
    h->crosstalk = is ? height : h->crosstalk;
    return is;
}

/* A run of weaker steps [first, end) of h->found: is it the signal? */
static bool is_signal(const spw_heights *h, const hole *o, size_t first, size_t end) {
    const spw_mark *run = h->found + first;
    size_t n = end - first, turns = 0;
    if (n < 2 || (n < FEW && spw_heights_last(run, n) < LONE_SHARE * o->rim))
        return false;
    for (size_t k = 1; k < n; k++)
        turns += run[k].sign != run[k - 1].sign;
    if (turns * 10 < (n - 1) * 9)
        return false;
    double density = (double)(n - 1) / (run[n - 1].at - run[0].at);
    if (n < FEW || h->density <= 0)
        return true;
    return density < DENSITY * h->density && density * DENSITY > h->density;
}

/* Where the run that starts at `first` ends. */
static size_t run_end(const spw_heights *h, size_t first, size_t found) {
    size_t end = first + 1;
    while (end < found && h->found[end].at - h->found[end - 1].at <= HOLE * h->gap)
        end++;
    return end;
}

/* What of the `found` steps is signal moves to the front of h->found. How many. */
static size_t keep_signal(spw_heights *h, const hole *o, size_t found) {
    size_t kept = 0;
    for (size_t first = 0, end; first < found; first = end) {
        end = run_end(h, first, found);
        if (!is_signal(h, o, first, end))
            continue;
        memmove(h->found + kept, h->found + first, (end - first) * sizeof *h->found);
        kept += end - first;
    }
    return kept;
}

/* Puts what a hole holds in place of the marks in it. */
static void fill(spw_heights *h, search *s, const hole *o) {
    double noise = fmax(spw_coarse_noise(s->coarse, s->trace, o->from, o->to), s->size->quantum);
    double least = fmax(WITHIN * o->rim, SPW_STAND_OUT * noise);
    size_t found = weaker(h, s->coarse, s->trace, o->from, o->to, least), had = o->end - o->first;
    if (found < 2 || found == FOUND)
        return;
    double height = spw_heights_last(h->found, found);
    if (height < 0.5 * o->rim) { /* looks into h->found */
        if (beside(h, s, o, height))
            return;
        found = weaker(h, s->coarse, s->trace, o->from, o->to, least);
    }
    size_t kept = keep_signal(h, o, leave_small(h->found, found));
    if (kept < 2 || kept < had || s->n - had + kept > s->room)
        return;
    memmove(s->marks + o->first + kept, s->marks + o->end, (s->n - o->end) * sizeof *s->marks);
    memcpy(s->marks + o->first, h->found, kept * sizeof *s->marks);
    s->n += kept - had;
}

/* Far above the threshold: what lies between two such marks is looked at together. */
static bool solid(const search *s, size_t k) {
    return (double)s->marks[k].height >= SOLID * s->size->typical;
}

/* The hole before mark `end`, when there is one: a pause too long, or marks so low that
 * others must have been missed. */
static bool hole_before(const spw_heights *h, const search *s, size_t end, hole *o) {
    const spw_mark *m = s->marks;
    double guard = GUARD_S * s->trace->rate_hz, longest = 0, end_of = (double)s->trace->n;
    double to = end < s->n ? m[end].at : end_of;
    *o = (hole){.first = end, .end = end};
    for (;; o->first--) {
        double left = o->first > 0 ? m[o->first - 1].at : 0;
        double right = o->first < s->n && o->first < end ? m[o->first].at : to;
        longest = fmax(longest, right - left);
        if (o->first == 0 || solid(s, o->first - 1))
            break;
    }
    double from = o->first > 0 ? m[o->first - 1].at + guard : 0;
    to -= end < s->n ? guard : 0;
    if ((o->end - o->first < FEW && !(longest > HOLE * h->gap)) || to < from + 2 * guard)
        return false;
    size_t before = o->first < NEAR ? o->first : NEAR,
           after = s->n - end < NEAR ? s->n - end : NEAR;
    o->rim = fmax(shared(m + o->first - before, before), shared(m + end, after));
    o->rim = before + after > 0 ? o->rim : s->size->typical;
    o->from = (size_t)from;
    o->to = (size_t)to;
    return true;
}

/* A height that sinks no faster than a slope of level stays strong; one large step alone
 * makes none of the others weak. */
static void mark_weak(spw_heights *h, spw_mark *marks, size_t n, double rate_hz) {
    double at = n > 0 ? marks[0].at : 0;
    if (h->strong <= 0)
        h->strong = shared(marks, n < NEAR ? n : NEAR);
    for (size_t k = 0; k < n; k++) {
        double here = (double)marks[k].height;
        double next = k + 1 < n ? (double)marks[k + 1].height : here;
        bool weak = here < SPW_WEAK_SHARE * h->strong;
        marks[k].doubts = weak ? SPW_DOUBT_WEAK : 0;
        marks[k].bound_us = NAN;
        if (weak || here > UNEVEN * next)
            continue;
        h->strong =
            fmax(here, h->strong * pow(10, -SINKS_DB_S / 20 * (marks[k].at - at) / rate_hz));
        at = marks[k].at;
    }
}

void spw_heights_find(spw_heights *h, const spw_coarse *coarse, const spw_trace *trace,
                      const spw_step_size *size, spw_mark *marks, size_t room, size_t *n,
                      size_t *glitches) {
    spw_coarse_find(coarse, trace, size, marks, room, n, glitches);
    bool full = *n == room;
    search s = {.coarse = coarse, .trace = trace, .size = size, .marks = marks, .room = room};
    s.n = leave_small(marks, *n);
    learn_usual(h, marks, s.n);
    for (size_t end = s.n + 1; h->gap > 0 && !full && end-- > 0;) {
        hole o;
        bool is = (end == s.n || solid(&s, end)) && hole_before(h, &s, end, &o);
        if (is)
            fill(h, &s, &o);
        if (is && o.first < end)
            end = o.first;
    }
    mark_weak(h, marks, s.n, trace->rate_hz);
    *n = s.n;
}
