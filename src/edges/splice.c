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

static void find_runs(const spw_trace *trace, size_t from, size_t to, double start_s,
                      spw_edge_report *report) {
    size_t end = (to + trace->skip) / trace->chunk;
    for (size_t k = (from + trace->skip + trace->chunk - 1) / trace->chunk; k < end; k++)
        if (trace->range[k].low == trace->range[k].high)
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

/* A pattern of samples that came before: was a buffer recorded twice? A line that repeats
 * itself without noise does so on and on, a buffer once. */
static bool find_twice(const spw_trace *trace, size_t at, double start_s, spw_edge_report *report) {
    const float *y = trace->y;
    size_t least = at > MOST_REPEATED ? at - MOST_REPEATED : 0;
    for (size_t i = at - LEAST_RUN + 1; i-- > least;) {
        if (y[i] != y[at] || memcmp(y + i, y + at, PATTERN * sizeof *y) != 0)
            continue;
        size_t lag = at - i, first = at, run = run_about(trace, at, lag, &first);
        if (run < LEAST_RUN || (double)run < 0.9 * (double)lag || (double)run > 1.1 * (double)lag)
            continue;
        add(report, SPW_SPLICE_REPEAT, instant(trace, start_s, (double)first),
            instant(trace, start_s, (double)(first + run)), lag);
        return true;
    }
    return false;
}

static bool find_repeat(const spw_trace *trace, size_t from, size_t to, double start_s,
                        spw_edge_report *report) {
    for (size_t at = from > LEAST_RUN ? from : LEAST_RUN; at < to && at + PATTERN < trace->n;
         at += STRIDE)
        if (varies(trace, at, at + PATTERN) && find_twice(trace, at, start_s, report))
            return true;
    return false;
}

/* --- a step of the background --- */

enum { MEAN = 12 };    /* samples a side */
#define EDGE_S 1e-3    /* a transition's own neighbourhood */
#define STANDS_OUT 2.0 /* times the largest of the frames about it */

static double mean_of(const float *y) {
    double sum = 0;
    for (int i = 0; i < MEAN; i++)
        sum += (double)y[i];
    return sum / MEAN;
}

/* A step at sample i, slopes taken out. */
static double step_at(const float *y, size_t i) {
    double a = mean_of(y + i - 2 * MEAN), b = mean_of(y + i - MEAN), c = mean_of(y + i),
           d = mean_of(y + i + MEAN);
    return (c - b) - 0.5 * ((b - a) + (d - c));
}

/* The largest step in [from, to); where it is. */
static double largest_step(const spw_trace *trace, double from, double to, size_t *at) {
    double most = 0;
    size_t first = from > 2 * MEAN ? (size_t)from : 2 * MEAN;
    for (size_t i = first; (double)i < to && i + 2 * MEAN < trace->n; i++) {
        double step = fabs(step_at(trace->y, i));
        if (step > most) {
            most = step;
            *at = i;
        }
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
static const double OFF_SAMPLES = 1.5, OFF_SHARE = 0.004;
enum { MOST_SUSPECTS = 8 };

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double usual_frame(const spw_mark *marks, size_t from, size_t to) {
    double frame[GROUP];
    size_t n = 0;
    for (size_t k = from; k + 2 < to && n < GROUP; k++)
        if (marks[k].sign == marks[k + 2].sign)
            frame[n++] = marks[k + 2].at - marks[k].at;
    if (n < 8)
        return 0;
    qsort(frame, n, sizeof *frame, rising);
    return frame[n / 2];
}

/* Transitions k and k + 2 are not as far apart as frames are. */
static void look_closer(const spw_trace *trace, const spw_mark *marks, size_t n, size_t k,
                        double start_s, spw_edge_report *report) {
    size_t from = k > 0 ? (size_t)fmax(0, marks[k - 1].at) : 0;
    size_t to = k + 3 < n ? (size_t)marks[k + 3].at : trace->n;
    if (!find_repeat(trace, from, to, start_s, report) &&
        !find_step(trace, marks, n, k, start_s, report))
        (void)find_step(trace, marks, n, k + 1, start_s, report);
}

static void find_shifts(const spw_trace *trace, const spw_mark *marks, size_t n, size_t from,
                        size_t to, double start_s, spw_edge_report *report) {
    size_t suspects = 0;
    for (size_t group = 0; group + 2 < n; group += GROUP) {
        size_t end = group + GROUP < n ? group + GROUP : n;
        double frame = usual_frame(marks, group, end);
        for (size_t k = group; frame > 0 && k < end && k + 2 < n; k++) {
            double apart = marks[k + 2].at - marks[k].at;
            double off = apart - rint(apart / frame) * frame;
            bool fresh = marks[k + 2].at >= (double)from && marks[k + 2].at < (double)to;
            if (!fresh || marks[k].sign != marks[k + 2].sign ||
                fabs(off) < fmax(OFF_SAMPLES, OFF_SHARE * frame))
                continue;
            if (++suspects > MOST_SUSPECTS)
                return; /* it is no even frame */
            look_closer(trace, marks, n, k, start_s, report);
        }
    }
}

void spw_splices_find(const spw_trace *trace, const spw_mark *marks, size_t n, size_t from,
                      size_t to, double start_s, spw_edge_report *report) {
    find_runs(trace, from, to, start_s, report);
    find_shifts(trace, marks, n, from, to, start_s, report);
}
