#include "edges/splice.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Buffers of recorders hold 64 samples and more (common practice); what is shorter shows
 * nothing that the noise does not. */
enum { LEAST_RUN = 48, MOST_REPEATED = 8200 };
/* Neighbouring samples are equal once in 1/0.28 times the noise in steps of the last bit
 * (normal noise); 48 in a row are none where that is more than one step. */
static const double EQUAL_SHARE = 0.35;
enum { BESIDE = 128, PATTERN = 32, STRIDE = 24 }; /* samples */
/* Runs in a stretch, and one more a second. */
static const double RARE = 3;
/* A pulse is as near as this, but for the slowest frames. */
static const double SURROUNDINGS_S = 25e-3;

static double instant(const spw_trace *trace, double start_s, double sample) {
    return start_s + sample / trace->rate_hz;
}

static bool known(const spw_edge_report *report, uint32_t what, double from_s, double to_s) {
    for (size_t i = 0; i < report->splices; i++)
        if (report->splice[i].what == what && report->splice[i].from_s <= to_s &&
            report->splice[i].to_s >= from_s)
            return true;
    return false;
}

static void add(spw_edge_report *report, uint32_t what, double from_s, double to_s,
                size_t samples) {
    if (report->splices == SPW_SPLICES_MAX) {
        report->splices_dropped++;
        return;
    }
    if (!known(report, what, from_s, to_s))
        report->splice[report->splices++] = (spw_splice){what, from_s, to_s, samples};
}

/* --- runs of one value --- */

/* Do samples [from, to) vary as noise does? Of too few nobody knows. */
static bool varies(const spw_trace *trace, size_t from, size_t to) {
    size_t equal = 0;
    for (size_t i = from + 1; i < to; i++)
        equal += trace->y[i] == trace->y[i - 1];
    return to - from >= PATTERN && (double)equal <= EQUAL_SHARE * (double)(to - from - 1);
}

/* Does the line go above and below the value nearby? A clipped plateau is the highest. */
static bool passed_by(const spw_trace *trace, size_t first, size_t last, float value) {
    size_t near = (size_t)(SURROUNDINGS_S * trace->rate_hz) / trace->chunk + 1;
    size_t from = first > near ? first - near : 0;
    size_t all = (trace->n + trace->skip) / trace->chunk; /* whole chunks */
    size_t to = last + near < all ? last + near : all;
    bool below = false, above = false;
    for (size_t k = from; k < to; k++) {
        below = below || trace->range[k].low < value;
        above = above || trace->range[k].high > value;
    }
    return below && above;
}

/* A run that the last stretch ended in goes on to to_s. */
static void lengthen(const spw_trace *trace, spw_edge_report *report, double from_s, double to_s) {
    for (size_t i = 0; i < report->splices; i++) {
        spw_splice *s = &report->splice[i];
        if (s->what != SPW_SPLICE_CONSTANT || s->from_s > from_s || s->to_s < from_s ||
            s->to_s >= to_s)
            continue;
        s->to_s = to_s;
        s->samples = (size_t)rint((to_s - s->from_s) * trace->rate_hz);
    }
}

/* Chunk k holds one value: the run that it is part of, where it is one. Its last chunk. */
static size_t take_run(const spw_trace *trace, size_t k, double start_s, spw_edge_report *report) {
    size_t all = (trace->n + trace->skip) / trace->chunk, last = k;
    float value = trace->range[k].low;
    while (last + 1 < all && trace->range[last + 1].low == value &&
           trace->range[last + 1].high == value)
        last++;
    size_t from = k * trace->chunk > trace->skip ? k * trace->chunk - trace->skip : 0;
    size_t to = (last + 1) * trace->chunk - trace->skip;
    while (from > 0 && trace->y[from - 1] == value)
        from--;
    while (to < trace->n && trace->y[to] == value)
        to++;
    size_t middle = (k + 1) * trace->chunk - trace->skip - 1;
    double from_s = instant(trace, start_s, (double)from),
           to_s = instant(trace, start_s, (double)to);
    if ((trace->flag[middle] & SPW_SAMPLE_MISSING) != 0)
        return last;
    if (from == 0) { /* it began before this stretch */
        lengthen(trace, report, from_s, to_s);
        return last;
    }
    size_t before = from > BESIDE ? from - BESIDE : 0;
    size_t after = to + BESIDE < trace->n ? to + BESIDE : trace->n;
    bool open = after - to < PATTERN; /* its end is for the next stretch */
    if (to - from >= LEAST_RUN && varies(trace, before, from) &&
        (open || varies(trace, to, after)) && passed_by(trace, k, last, value))
        add(report, SPW_SPLICE_CONSTANT, from_s, to_s, to - from);
    return last;
}

static bool still(const spw_trace *trace, size_t k) {
    return trace->range[k].low == trace->range[k].high;
}

/* Runs are told where they are rare: a line that is often quite still has no noise there. */
static void find_runs(const spw_trace *trace, size_t from, size_t to, double start_s,
                      spw_edge_report *report) {
    size_t first = (from + trace->skip + trace->chunk - 1) / trace->chunk;
    size_t end = (to + trace->skip) / trace->chunk, runs = 0;
    double seconds = (double)(to - from) / trace->rate_hz;
    for (size_t k = first; k < end; k++)
        runs += still(trace, k) && (k == first || !still(trace, k - 1));
    if ((double)runs > RARE + seconds)
        return;
    for (size_t k = first; k < end; k++)
        if (still(trace, k))
            k = take_run(trace, k, start_s, report);
}

/* --- samples that come twice --- */

/* How many samples about `at` are those `lag` before; the first of them. */
static size_t run_about(const spw_trace *trace, size_t at, size_t lag, size_t *first) {
    size_t from = at, to = at;
    const float *y = trace->y;
    while (from > lag && y[from - 1] == y[from - 1 - lag])
        from--;
    while (to < trace->n && y[to] == y[to - lag])
        to++;
    *first = from;
    return to - from;
}

/* Do the samples from `at` on come `lag` before as well, for about as long? A line that
 * repeats itself without noise does so on and on, a buffer once. */
static bool comes_twice(const spw_trace *trace, size_t at, size_t lag, double start_s,
                        spw_edge_report *report) {
    size_t first = at, run = run_about(trace, at, lag, &first);
    if (run < LEAST_RUN || (double)run < 0.9 * (double)lag || (double)run > 1.1 * (double)lag)
        return false;
    add(report, SPW_SPLICE_REPEAT, instant(trace, start_s, (double)first),
        instant(trace, start_s, (double)(first + run)), lag);
    return true;
}

/* Places of the samples so far, by the pattern that begins there. */
enum { BUCKETS = 4096, KEYED = 4, NOWHERE = -1 };
typedef struct places {
    int32_t head[BUCKETS];
    int32_t next[]; /* of a place, counted from the first: the one before it of its bucket */
} places;

static uint32_t bucket_of(const float *y) {
    uint32_t bits[KEYED], key = 0;
    memcpy(bits, y, sizeof bits);
    for (int i = 0; i < KEYED; i++)
        key = (key ^ bits[i]) * 2654435761u; /* Knuth's multiplier, from memory */
    return key >> 20;
}

static bool is_alike(const float *a, const float *b) {
    for (int i = 0; i < PATTERN; i++)
        if (a[i] != b[i])
            return false;
    return true;
}

/* Looks the pattern at sample `at` up among the places before it. */
static bool look_up(const places *p, const spw_trace *trace, size_t base, size_t at, double start_s,
                    spw_edge_report *report) {
    const float *y = trace->y;
    for (int32_t i = p->head[bucket_of(y + at)]; i != NOWHERE; i = p->next[i]) {
        size_t before = base + (size_t)i;
        if (at - before >= LEAST_RUN && is_alike(y + before, y + at) &&
            comes_twice(trace, at, at - before, start_s, report))
            return true;
    }
    return false;
}

/* Was a buffer recorded twice, so that a pattern in [from, to) came before? */
static spw_status find_repeat(const spw_trace *trace, size_t from, size_t to, double start_s,
                              spw_edge_report *report, bool *found) {
    size_t base = from > MOST_REPEATED ? from - MOST_REPEATED : 0;
    size_t end = to + PATTERN < trace->n ? to : trace->n > PATTERN ? trace->n - PATTERN : 0;
    *found = false;
    if (base >= end)
        return SPW_OK;
    places *p = malloc(sizeof *p + (end - base) * sizeof p->next[0]);
    if (p == NULL)
        return SPW_ERR_MEMORY;
    for (int i = 0; i < BUCKETS; i++)
        p->head[i] = NOWHERE;
    for (size_t i = base; i < end && !*found; i++) {
        if (i >= from && (i - from) % STRIDE == 0 && varies(trace, i, i + PATTERN))
            *found = look_up(p, trace, base, i, start_s, report);
        uint32_t bucket = bucket_of(trace->y + i);
        p->next[i - base] = p->head[bucket];
        p->head[bucket] = (int32_t)(i - base);
    }
    free(p);
    return SPW_OK;
}

/* --- a step of the background --- */

enum { MEAN = 12 };    /* samples a side */
#define EDGE_S 1e-3    /* a transition's own neighbourhood */
#define STANDS_OUT 2.0 /* times the largest of the frames about it */

/* The largest step in [from, to), slopes taken out: the difference of the means on both sides,
 * less half of those beside it. Where it is. */
static double largest_step(const spw_trace *trace, double from, double to, size_t *at) {
    const float *y = trace->y;
    double sum[4] = {0}, most = 0;
    size_t first = from > 2 * MEAN ? (size_t)from : 2 * MEAN;
    for (int k = 0; k < 4 * MEAN && first + 2 * MEAN < trace->n; k++)
        sum[k / MEAN] += (double)y[first - (size_t)(2 * MEAN) + (size_t)k];
    for (size_t i = first; (double)i < to && i + 2 * MEAN < trace->n; i++) {
        double step = fabs(1.5 * (sum[2] - sum[1]) - 0.5 * (sum[3] - sum[0])) / MEAN;
        if (step > most) {
            most = step;
            *at = i;
        }
        for (size_t k = 0; k < 4; k++)
            sum[k] += (double)y[i + k * MEAN - MEAN] - (double)y[i + k * MEAN - (size_t)(2 * MEAN)];
    }
    return most;
}

/* The rest between transitions k and k + 1 against the like rests of the frames about it. */
static bool find_step(const spw_trace *trace, const spw_mark *marks, size_t n, size_t k,
                      double start_s, spw_edge_report *report) {
    double edge = EDGE_S * trace->rate_hz, others = 0;
    size_t at = 0, ignored = 0, compared = 0;
    if (k + 1 >= n || marks[k + 1].at - marks[k].at < 3 * edge)
        return false;
    double here = largest_step(trace, marks[k].at + edge, marks[k + 1].at - edge, &at);
    for (int frames = -3; frames <= 3; frames++) {
        ptrdiff_t other = (ptrdiff_t)k + 2 * frames;
        if (frames == 0 || other < 0 || other + 1 >= (ptrdiff_t)n)
            continue;
        others = fmax(others, largest_step(trace, marks[other].at + edge,
                                           marks[other + 1].at - edge, &ignored));
        compared++;
    }
    if (compared < 3 || !(here > STANDS_OUT * others))
        return false;
    add(report, SPW_SPLICE_STEP, instant(trace, start_s, (double)at),
        instant(trace, start_s, (double)at), 0);
    return true;
}

/* --- where transitions are not as far apart as the others --- */

enum { GROUP = 128 }; /* transitions that one median stands for */
static const double OFF_SAMPLES = 1.5, OFF_SHARE = 0.004, OFF_SCATTER = 12;
enum { MOST_SUSPECTS = 8 };

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median distance of transitions of one direction, and the median deviation from it. */
typedef struct usual {
    double frame, scatter; /* samples; frame 0: too few */
} usual;

static usual usual_of(const spw_mark *marks, size_t from, size_t to) {
    double frame[GROUP];
    size_t n = 0;
    for (size_t k = from; k + 2 < to && n < GROUP; k++)
        if (marks[k].sign == marks[k + 2].sign)
            frame[n++] = marks[k + 2].at - marks[k].at;
    if (n < 8)
        return (usual){0, 0};
    qsort(frame, n, sizeof *frame, rising);
    double median = frame[n / 2];
    for (size_t i = 0; i < n; i++)
        frame[i] = fabs(frame[i] - median);
    qsort(frame, n, sizeof *frame, rising);
    return (usual){median, frame[n / 2]};
}

/* Transitions k and k + 2 are not as far apart as frames are. */
static spw_status look_closer(const spw_trace *trace, const spw_mark *marks, size_t n, size_t k,
                              double start_s, spw_edge_report *report) {
    size_t from = k > 0 ? (size_t)fmax(0, marks[k - 1].at) : 0;
    size_t to = k + 3 < n ? (size_t)marks[k + 3].at : trace->n;
    bool found = false;
    spw_status status = find_repeat(trace, from, to, start_s, report, &found);
    if (status == SPW_OK && !found && !find_step(trace, marks, n, k, start_s, report))
        (void)find_step(trace, marks, n, k + 1, start_s, report);
    return status;
}

static spw_status find_shifts(const spw_trace *trace, const spw_mark *marks, size_t n, size_t from,
                              size_t to, double start_s, spw_edge_report *report) {
    size_t suspects = 0;
    for (size_t group = 0; group + 2 < n; group += GROUP) {
        size_t end = group + GROUP < n ? group + GROUP : n;
        usual u = usual_of(marks, group, end);
        double least = fmax(OFF_SAMPLES, fmax(OFF_SHARE * u.frame, OFF_SCATTER * u.scatter));
        for (size_t k = group; u.frame > 0 && k < end && k + 2 < n; k++) {
            double apart = marks[k + 2].at - marks[k].at;
            double off = apart - rint(apart / u.frame) * u.frame;
            bool fresh = marks[k + 2].at >= (double)from && marks[k + 2].at < (double)to;
            if (!fresh || marks[k].sign != marks[k + 2].sign || fabs(off) < least)
                continue;
            if (++suspects > MOST_SUSPECTS)
                return SPW_OK; /* it is no even frame */
            spw_status status = look_closer(trace, marks, n, k, start_s, report);
            if (status != SPW_OK)
                return status;
        }
    }
    return SPW_OK;
}

spw_status spw_splices_find(const spw_trace *trace, const spw_mark *marks, size_t n, size_t from,
                            size_t to, bool lossy, double start_s, spw_edge_report *report) {
    if (!lossy) /* codecs make runs of their own */
        find_runs(trace, from, to, start_s, report);
    return find_shifts(trace, marks, n, from, to, start_s, report);
}
