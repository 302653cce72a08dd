#include "edges/restore.h"

#include <math.h>

#define NEAR 3.0 /* of the noise: fewer than 0.2 % of the samples are beyond */
enum { CHUNK = 256, LEAST = 6 };

/* A walk along the samples: z = y + p I + q II as in trace.c, and the model from the
 * walk's start on. */
typedef struct walker {
    const spw_trace *trace;
    const spw_smooth *smooth;
    const spw_shape *shape;
    const spw_mark *marks;
    size_t n, next; /* marks; the first that is not over yet */
    double passed;  /* height of those that are */
    bool started;
    double one, two;    /* running integrals up to the sample before, */
    double before;      /* and that sample */
    double level, used; /* sum of z less the model over good samples; how many */
} walker;

static double scaled(const spw_mark *mark) {
    return (double)mark->sign * mark->scale;
}

static void add_up(walker *w, size_t first, size_t n, double *model) {
    double half = (double)w->shape->half + 1, value[CHUNK];
    while (w->next < w->n && w->marks[w->next].at + half < (double)first)
        w->passed += scaled(&w->marks[w->next++]) * w->shape->height;
    for (size_t i = 0; i < n; i++)
        model[i] = w->passed;
    for (size_t k = w->next; k < w->n && w->marks[k].at - half < (double)(first + n); k++) {
        spw_shape_at(w->shape, w->marks[k].at, (ptrdiff_t)first, n, value, NULL);
        for (size_t i = 0; i < n; i++)
            model[i] += scaled(&w->marks[k]) * value[i];
    }
}

/* What to add to the sample at `at`, which the model has `more` above it. */
static double judge(const spw_clip *clip, float sample, double more, size_t at) {
    double told = (double)sample + more, margin = NEAR * clip->noise;
    bool near = told > (double)clip->high - margin || told < (double)clip->low + margin;
    uint8_t *flag = &clip->flag[at];
    *flag = (uint8_t)((*flag & ~SPW_SAMPLE_NEAR) | (near ? SPW_SAMPLE_NEAR : 0));
    if ((*flag & SPW_SAMPLE_CLIPPED) == 0)
        return 0;
    clip->y[at] = (float)told;
    return more;
}

/* The level that good samples of [first, last) tell, or clipped ones filled in and those
 * flagged that would be clipped with other noise. */
static void walk(walker *w, size_t first, size_t last, const spw_clip *clip) {
    double p = w->smooth->p, q = w->smooth->q, offset = w->smooth->offset;
    double height = w->shape->height, level = clip != NULL ? w->level / w->used : 0;
    spw_smooth hum = *w->smooth;
    hum.p = hum.q = 0;
    for (size_t at = first; at < last; at += CHUNK) {
        size_t n = last - at < CHUNK ? last - at : CHUNK;
        double model[CHUNK], here[CHUNK];
        add_up(w, at, n, model);
        spw_trace_smooth(w->trace, &hum, at, n, here);
        for (size_t i = 0; i < n; i++) {
            double v = here[i] - offset, own = 1, rest = 0;
            if (w->started) { /* z = own v + rest: what of it this sample and those before make */
                own = 1 + p / 2 + q / 4;
                rest = p * (w->one + w->before / 2) + q * (w->two + w->one + w->before / 4);
            }
            if (clip != NULL) {
                double more = (level + model[i] - rest) / own - v;
                v += judge(clip, w->trace->y[at + i], fmax(fmin(more, height), -height), at + i);
            } else if (w->trace->flag[at + i] == 0) {
                w->level += own * v + rest - model[i];
                w->used++;
            }
            double one = w->started ? w->one + (w->before + v) / 2 : 0;
            w->two += (w->one + one) / 2;
            w->one = one;
            w->before = v;
            w->started = true;
        }
    }
}

void spw_restore_clipped(const spw_clip *clip, const spw_trace *trace, const spw_smooth *smooth,
                         const spw_shape *shape, const spw_mark *marks, size_t n) {
    size_t back = shape->half, mark = 0;
    for (size_t i = 0; i < trace->n; i++) {
        if ((trace->flag[i] & SPW_SAMPLE_CLIPPED) == 0)
            continue;
        size_t end = i + 1; /* with what is clipped soon after */
        for (size_t j = end; j < trace->n && j < end + back; j++)
            end = (trace->flag[j] & SPW_SAMPLE_CLIPPED) != 0 ? j + 1 : end;
        size_t first = i > back ? i - back : 0, last = end + back;
        last = last < trace->n ? last : trace->n;
        while (mark < n && marks[mark].at + (double)shape->half + 2 < (double)first)
            mark++;
        walker start = {
            .trace = trace, .smooth = smooth, .shape = shape, .marks = marks, .n = n, .next = mark};
        walker w = start;
        walk(&w, first, i, NULL);
        start.level = w.level;
        start.used = w.used;
        if (w.used >= LEAST)
            walk(&start, first, last, clip);
        i = end;
    }
}
