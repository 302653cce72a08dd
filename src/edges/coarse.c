#include "edges/coarse.h"

#include "edges/two.h"
#include "edges/wide.h"

#include <float.h>
#include <gsl/gsl_statistics_float.h>
#include <math.h>
#include <stdlib.h>

#define MEAN_S 60e-6      /* two adjacent means of this length are compared */
#define SHORTEST_S 100e-6 /* pulses below this have no plateau to refer to */
#define APART_S 200e-6    /* transitions of one direction are this far apart */
#define QUANTUM_SHARE 0.4
enum { BLOCK = 4096, PROBES = 8192, PEAKS = 2048 };

size_t spw_coarse_mean(double rate_hz) {
    return spw_trace_samples(rate_hz, MEAN_S, 2);
}

spw_status spw_coarse_new(double rate_hz, spw_coarse *c) {
    *c = (spw_coarse){.m = spw_coarse_mean(rate_hz)};
    c->sum = calloc(BLOCK + 2 * c->m + 4, sizeof *c->sum);
    c->d = malloc(BLOCK * sizeof *c->d);
    c->probe = malloc(PROBES * sizeof *c->probe);
    if (c->sum != NULL && c->d != NULL && c->probe != NULL)
        return SPW_OK;
    spw_coarse_free(c);
    return SPW_ERR_MEMORY;
}

void spw_coarse_free(spw_coarse *c) {
    free(c->sum);
    free(c->d);
    free(c->probe);
    *c = (spw_coarse){0};
}

/* sum[i] = y[0] + ... + y[i - 1]; chains of additions are the slow part, so they go by
 * four. */
static void running_sums(const float *y, size_t n, double *sum) {
    double run = 0;
    size_t i = 0;
    sum[0] = 0;
    for (; i + 4 <= n; i += 4) {
        double one = (double)y[i], two = one + (double)y[i + 1], three = two + (double)y[i + 2];
        double four = three + (double)y[i + 3];
        sum[i + 1] = run + one;
        sum[i + 2] = run + two;
        sum[i + 3] = run + three;
        sum[i + 4] = run += four;
    }
    for (; i < n; i++)
        sum[i + 1] = run += (double)y[i];
}

/* d[i] = mean of the m samples from `from + i` on, minus that of the m before it. */
SPW_WIDE static float differences(const spw_trace *trace, size_t from, size_t n,
                                  const spw_coarse *s) {
    size_t m = s->m, i = 0;
    double scale = 1 / (double)m;
    const double *sum = s->sum, *middle = sum + m, *last = middle + m;
    float *d = s->d, largest = 0;
    running_sums(trace->y + from - m, n + 2 * m, s->sum);
    spw_four most = {0};
    for (; i + 4 <= n; i += 4) {
        spw_quad step = SPW_QUAD_OF(sum + i) - 2 * SPW_QUAD_OF(middle + i) + SPW_QUAD_OF(last + i);
        spw_four four = __builtin_convertvector(step * scale, spw_four);
        spw_four_put(d + i, four);
        most = spw_larger(spw_magnitude(four), most);
    }
    largest = spw_most_of(most);
    for (; i < n; i++) {
        d[i] = (float)((sum[i] - 2 * middle[i] + last[i]) * scale);
        largest = fabsf(d[i]) > largest ? fabsf(d[i]) : largest;
    }
    return largest;
}

static double mean(const float *y, size_t from, size_t to) {
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += (double)y[i];
    return sum / (double)(to - from);
}

/* Does the level differ lastingly across a peak of height d at sample i? A step
 * does; a click, a burst or a slope does not. */
static bool lasts(const spw_trace *trace, size_t i, size_t m, double d) {
    size_t before = m < i ? m : i - 1, after = i + 2 * m < trace->n ? m : 0;
    if (before < 1 || i < 2 * m || after == 0)
        return true; /* at the rim: nothing to hold against it */
    double step = mean(trace->y, i + m, i + 2 * m) - mean(trace->y, i - 2 * m, i - m);
    return step * d > 0 && fabs(step) > 0.5 * fabs(d);
}

/* A run of differences beyond the threshold has one peak; takes it in. */
static size_t take_peak(const spw_trace *trace, const spw_coarse *s, spw_mark peak, spw_mark *marks,
                        size_t n, size_t *glitches) {
    double shortest = fmax(SHORTEST_S * trace->rate_hz, 2.5);
    double apart = fmax(APART_S * trace->rate_hz, (double)s->m + 1);
    if (!lasts(trace, (size_t)peak.at, s->m, (double)(peak.sign * peak.height)))
        return n;
    if (n > 0 && peak.at - marks[n - 1].at < shortest && peak.sign != marks[n - 1].sign) {
        ++*glitches;
        return n - 1; /* both go: a pulse without plateaus has no width */
    }
    if (n > 0 && peak.at - marks[n - 1].at < apart && peak.sign == marks[n - 1].sign) {
        if (peak.height > marks[n - 1].height)
            marks[n - 1] = peak;
        return n;
    }
    marks[n] = peak;
    return n + 1;
}

/* Chunks of samples and the differences that begin in them. */
typedef struct chunks {
    const spw_trace *trace;
    size_t last; /* the last one that has samples */
    size_t end;  /* of the differences */
    float threshold;
} chunks;

/* Can no difference within chunk k reach the threshold? It spans at most the samples of its
 * own and the neighbouring chunks. */
static bool is_still(const chunks *c, size_t k) {
    const spw_range *at = &c->trace->range[k];
    const spw_range *before = k > 0 ? at - 1 : at, *after = k < c->last ? at + 1 : at;
    float low = before->low < at->low ? before->low : at->low;
    float high = before->high > at->high ? before->high : at->high;
    low = after->low < low ? after->low : low;
    high = after->high > high ? after->high : high;
    return high - low < c->threshold;
}

/* The first sample behind chunk k, or the end. */
static size_t chunk_end(const chunks *c, size_t k) {
    size_t next = (k + 1) * c->trace->chunk - c->trace->skip;
    return next < c->end ? next : c->end;
}

/* Passes chunks that are still from the one of sample `from` on. */
static size_t pass_still(const chunks *c, size_t from) {
    size_t k = (from + c->trace->skip) / c->trace->chunk, to = from;
    while (to < c->end && is_still(c, k))
        to = chunk_end(c, k++);
    return to;
}

/* Passes chunks in which differences may reach the threshold, a block at most. */
static size_t pass_lively(const chunks *c, size_t from) {
    size_t k = (from + c->trace->skip) / c->trace->chunk, to = from;
    while (to < c->end && to - from < BLOCK && !is_still(c, k))
        to = chunk_end(c, k++);
    return to - from < BLOCK ? to : from + BLOCK;
}

typedef struct finds {
    spw_mark *marks;
    size_t room, n, glitches;
    spw_mark peak; /* of the run of differences beyond the threshold; sign 0: not in one */
} finds;

static void end_run(const spw_trace *trace, const spw_coarse *s, finds *f) {
    if (f->peak.sign != 0)
        f->n = take_peak(trace, s, f->peak, f->marks, f->n, &f->glitches);
    f->peak.sign = 0;
}

/* Runs in n differences from sample `from` on. */
static void scan(const spw_trace *trace, const spw_coarse *s, size_t from, size_t n,
                 float threshold, finds *f) {
    spw_four most = spw_four_times(threshold);
    for (size_t i = 0; i < n && f->n < f->room; i++) {
        while (f->peak.sign == 0 && i + 4 <= n &&
               spw_all((spw_four_masks)(spw_magnitude(spw_four_at(s->d + i)) < most)))
            i += 4;
        if (i == n)
            break;
        float d = s->d[i], side = d < 0 ? -1 : 1;
        bool beyond = fabsf(d) >= threshold;
        if (!beyond || side != f->peak.sign)
            end_run(trace, s, f);
        /* the step lies between samples at - 1 and at */
        if (beyond && (f->peak.sign == 0 || fabsf(d) > f->peak.height))
            f->peak = (spw_mark){
                .at = (double)(from + i) - 0.5, .scale = 1, .sign = side, .height = fabsf(d)};
    }
}

void spw_coarse_find_in(const spw_coarse *s, const spw_trace *trace, size_t from, size_t to_sample,
                        double least, spw_mark *marks, size_t room, size_t *n, size_t *glitches) {
    float threshold = (float)fmax(least, FLT_MIN);
    size_t end = trace->n > s->m ? trace->n - s->m : 0;
    from = from > s->m ? from : s->m;
    end = end < to_sample ? end : to_sample;
    finds f = {.marks = marks, .room = room};
    chunks all = {.trace = trace,
                  .last = (trace->n - 1 + trace->skip) / trace->chunk,
                  .end = end,
                  .threshold = threshold * (1 - 1e-5F)}; /* both sides rounded */
    while (from < end && f.n < room) {
        size_t still = pass_still(&all, from), to = pass_lively(&all, still);
        if (still > from)
            end_run(trace, s, &f);
        from = to;
        if (f.n == room)
            break;
        if (to > still &&
            (differences(trace, still, to - still, s) >= threshold || f.peak.sign != 0))
            scan(trace, s, still, to - still, threshold, &f);
        else
            end_run(trace, s, &f);
    }
    if (f.n < room)
        end_run(trace, s, &f);
    *n = f.n;
    *glitches = f.glitches;
}

void spw_coarse_find(const spw_coarse *s, const spw_trace *trace, const spw_step_size *size,
                     spw_mark *marks, size_t room, size_t *n, size_t *glitches) {
    spw_coarse_find_in(s, trace, 0, trace->n, 0.5 * size->typical, marks, room, n, glitches);
}

static int rising(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* Robust deviation of the differences: their 40 % quantile over the normal
 * distribution's (transitions are rare, below a third even at 400 frames a second). */
double spw_coarse_noise(const spw_coarse *s, const spw_trace *trace, size_t from, size_t to) {
    if (to < from + 4 * s->m || to > trace->n)
        return 0;
    float *probe = s->probe;
    size_t span = to - from - 2 * s->m, step = span / PROBES + 1, n = 0;
    for (size_t i = from + s->m; i < to - s->m && n < PROBES; i += step)
        probe[n++] = (float)fabs(mean(trace->y, i, i + s->m) - mean(trace->y, i - s->m, i));
    return n > 0 ? (double)gsl_stats_float_select(probe, 1, n, n * 2 / 5) / 0.5244 : 0;
}

/* The smallest step between neighbours that is no repeat: the recorder's quantum,
 * or more. 0 where it is none: no recorder is coarser than 8 bits, and the last bit's
 * dithering comes in crowds, while a line drawn with two values (a simulation, a
 * digital source) changes only where its pulses do. Nobody asks below `enough`. */
static float quantum(const spw_trace *trace, double full_scale, float enough) {
    float least = FLT_MAX;
    size_t changes = 0, crowded = 0, last = 0;
    size_t near = spw_trace_samples(trace->rate_hz, SHORTEST_S, 2);
    for (size_t i = 1; i < trace->n && least > enough; i++) {
        if ((i + trace->skip) % trace->chunk == 0) { /* whole chunks without a change */
            const spw_range *r = &trace->range[(i + trace->skip) / trace->chunk];
            if (r->low == r->high && trace->y[i - 1] == r->low) {
                i += trace->chunk - 1;
                continue;
            }
        }
        float d = fabsf(trace->y[i] - trace->y[i - 1]);
        if (!(d > 0))
            continue;
        least = d < least ? d : least;
        crowded += last > 0 && i - last < near;
        last = i;
        changes++;
    }
    return (double)least > full_scale / 120 || crowded * 10 < changes ? 0 : least;
}

/* The height shared by the largest peaks: neither a switch-on (one, larger) nor the
 * crosstalk of a neighbour (many, smaller). */
static double typical_height(float *height, size_t n) {
    qsort(height, n, sizeof *height, rising);
    while (n > 0) {
        size_t first = n - 1;
        while (first > 0 && height[first - 1] > 0.4F * height[n - 1])
            first--;
        if (n - first > n / 50 + 1 || first == 0)
            return (double)height[first + (n - first) / 2];
        n = first;
    }
    return 0;
}

spw_status spw_coarse_size(const spw_coarse *s, const spw_trace *trace, double full_scale,
                           spw_step_size *size) {
    float *value = malloc(PROBES * sizeof *value);
    spw_mark *marks = malloc(PEAKS * sizeof *marks);
    spw_status status = SPW_OK;
    size_t n = 0, glitches = 0;
    *size = (spw_step_size){0};
    if (value == NULL || marks == NULL)
        status = SPW_ERR_MEMORY;
    if (status != SPW_OK || trace->n < 4 * s->m)
        goto done;
    size->noise = spw_coarse_noise(s, trace, 0, trace->n);
    if (full_scale > 0) { /* digitised: a step of the last bit or two is no step */
        float enough = (float)(size->noise / QUANTUM_SHARE * (1 - 1e-6));
        size->quantum = QUANTUM_SHARE * (double)quantum(trace, full_scale, enough);
        size->noise = fmax(size->noise, size->quantum);
    }
    spw_step_size least = {.typical = 2 * SPW_STAND_OUT * size->noise};
    do { /* too many peaks to hold: only the larger ones can be the signal */
        spw_coarse_find(s, trace, &least, marks, PEAKS, &n, &glitches);
        least.typical = 4 * fmax(least.typical, 1e-30);
    } while (n == PEAKS && least.typical < 1e30);
    for (size_t i = 0; i < n; i++)
        value[i] = marks[i].height;
    size->typical = typical_height(value, n);
done:
    free(value);
    free(marks);
    return status;
}
