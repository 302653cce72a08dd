#include "edges/coarse.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

#define MEAN_S 60e-6      /* two adjacent means of this length are compared */
#define SHORTEST_S 100e-6 /* pulses below this have no plateau to refer to */
#define APART_S 200e-6    /* transitions of one direction are this far apart */
#define STAND_OUT 8.0     /* of the differences' robust deviation; below it: noise */
enum { BLOCK = 4096, PROBES = 8192, PEAKS = 2048 };

typedef struct search {
    size_t m;    /* samples a mean */
    double *sum; /* running sum of a block and its rims */
    float *d;
} search;

static spw_status search_start(const spw_trace *trace, search *s) {
    s->m = spw_trace_samples(trace->rate_hz, MEAN_S, 2);
    s->sum = calloc(BLOCK + 2 * s->m + 1, sizeof *s->sum);
    s->d = malloc(BLOCK * sizeof *s->d);
    return s->sum != NULL && s->d != NULL ? SPW_OK : SPW_ERR_MEMORY;
}

static void search_end(search *s) {
    free(s->sum);
    free(s->d);
}

/* d[i] = mean of the m samples from `from + i` on, minus that of the m before it. */
static float differences(const spw_trace *trace, size_t from, size_t n, const search *s) {
    size_t m = s->m;
    const float *y = trace->y + from - m;
    double run = 0, scale = 1 / (double)m;
    double *sum = s->sum;
    float *d = s->d, largest = 0;
    sum[0] = 0;
    for (size_t i = 0; i < n + 2 * m; i++) {
        run += (double)y[i];
        sum[i + 1] = run;
    }
    for (size_t i = 0; i < n; i++)
        d[i] = (float)((sum[i] - 2 * sum[i + m] + sum[i + 2 * m]) * scale);
    for (size_t i = 0; i < n; i++) {
        float size = fabsf(d[i]);
        largest = size > largest ? size : largest;
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
static size_t take_peak(const spw_trace *trace, const search *s, spw_mark peak, spw_mark *marks,
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

spw_status spw_coarse_find(const spw_trace *trace, const spw_step_size *size, spw_mark *marks,
                           size_t room, size_t *n, size_t *stopped_at, size_t *glitches) {
    search s = {0};
    spw_status status = search_start(trace, &s);
    float threshold = (float)fmax(0.5 * size->typical, FLT_MIN);
    spw_mark peak = {0}; /* sign 0: not within a run */
    size_t count = 0, from = s.m, end = trace->n > s.m ? trace->n - s.m : 0;
    *glitches = 0;
    for (; status == SPW_OK && from < end && count < room; from += BLOCK) {
        size_t n_block = end - from < BLOCK ? end - from : BLOCK;
        if (differences(trace, from, n_block, &s) < threshold && peak.sign == 0)
            continue;
        for (size_t i = 0; i < n_block && count < room; i++) {
            float d = s.d[i], side = d < 0 ? -1 : 1;
            bool beyond = fabsf(d) >= threshold;
            if (peak.sign != 0 && (!beyond || side != peak.sign)) {
                count = take_peak(trace, &s, peak, marks, count, glitches);
                peak.sign = 0;
            }
            if (beyond && (peak.sign == 0 || fabsf(d) > peak.height)) {
                peak = (spw_mark){.at = (double)(from + i), .sign = side, .height = fabsf(d)};
                /* the step lies between samples at - 1 and at */
                peak.at -= 0.5;
            }
        }
    }
    *stopped_at = count < room ? trace->n : (size_t)marks[count - 1].at;
    if (status == SPW_OK && count < room && peak.sign != 0)
        count = take_peak(trace, &s, peak, marks, count, glitches);
    *n = count;
    search_end(&s);
    return status;
}

static int rising(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* Robust deviation of the differences: their 40 % quantile over the normal
 * distribution's (transitions are rare, below a third even at 400 frames a second). */
static double difference_noise(const spw_trace *trace, const search *s, float *probe) {
    size_t span = trace->n - 2 * s->m, step = span / PROBES + 1, n = 0;
    for (size_t i = s->m; i < trace->n - s->m && n < PROBES; i += step)
        probe[n++] = (float)fabs(mean(trace->y, i, i + s->m) - mean(trace->y, i - s->m, i));
    qsort(probe, n, sizeof *probe, rising);
    return (double)probe[n * 2 / 5] / 0.5244;
}

/* The smallest step between neighbours that is no repeat: the recorder's quantum,
 * or more. 0 where it is none: no recorder is coarser than 8 bits, and the last bit's
 * dithering comes in crowds, while a line drawn with two values (a simulation, a
 * digital source) changes only where its pulses do. */
static float quantum(const spw_trace *trace, double full_scale) {
    float least = FLT_MAX;
    size_t changes = 0, crowded = 0, last = 0;
    size_t near = spw_trace_samples(trace->rate_hz, SHORTEST_S, 2);
    for (size_t i = 1; i < trace->n; i++) {
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

spw_status spw_coarse_size(const spw_trace *trace, double full_scale, spw_step_size *size) {
    search s = {0};
    float *value = malloc(PROBES * sizeof *value);
    spw_mark *marks = malloc(PEAKS * sizeof *marks);
    spw_status status = search_start(trace, &s);
    size_t n = 0, stop = 0, glitches = 0;
    *size = (spw_step_size){0};
    if (value == NULL || marks == NULL)
        status = SPW_ERR_MEMORY;
    if (status != SPW_OK || trace->n < 4 * s.m)
        goto done;
    size->noise = difference_noise(trace, &s, value);
    if (full_scale > 0) /* digitised: a step of the last bit or two is no step */
        size->noise = fmax(size->noise, 0.4 * (double)quantum(trace, full_scale));
    spw_step_size least = {.typical = 2 * STAND_OUT * size->noise};
    do { /* too many peaks to hold: only the larger ones can be the signal */
        status = spw_coarse_find(trace, &least, marks, PEAKS, &n, &stop, &glitches);
        least.typical = 4 * fmax(least.typical, 1e-30);
    } while (status == SPW_OK && n == PEAKS && least.typical < 1e30);
    for (size_t i = 0; status == SPW_OK && i < n; i++)
        value[i] = marks[i].height;
    if (status == SPW_OK)
        size->typical = typical_height(value, n);
done:
    free(value);
    free(marks);
    search_end(&s);
    return status;
}
