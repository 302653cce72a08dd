#include "edges/bins.h"

#include "edges/solve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GUARD_S 250e-6 /* the transition's ringing, ... */
#define SEGMENT_S 30e-3
#define LONGEST_S 60e-3
#define STRIDE_S 30e-6 /* short against the lines of hum */
enum {
    GUARD = 4,  /* ... at least so many samples of it */
    RINGS = 24, /* samples, above the noise */
    MOST = 12000,
    SEGMENT_PLATEAUS = 4
};

typedef struct walker {
    const spw_trace *trace;
    spw_bins *bins;
    size_t bin_samples, start;      /* of the segment */
    double one, two, three, before; /* running integrals */
    double level, bare[3];          /* bare steps: their level, its integrals */
    double mark[2];                 /* before and behind */
    bool simple;
    size_t stride, last; /* simple: samples from one that is taken to the next */
    uint32_t plateau, segment;
} walker;

static void start_segment(walker *w, size_t at) {
    w->segment++;
    w->plateau++;
    w->start = at;
    w->one = w->two = w->three = 0;
    w->bare[0] = w->bare[1] = w->bare[2] = 0;
    w->before = (double)w->trace->y[at];
}

/* Integrates over [from, to); when `keep`, files it as one bin. */
static void walk(walker *w, size_t from, size_t to, bool keep) {
    double sum[7] = {0};
    bool good = keep && w->bins->n < MOST;
    for (size_t i = from; i < to; i++) {
        double here = (double)w->trace->y[i];
        double one = i == w->start ? 0 : w->one + (w->before + here) / 2;
        double two = w->two + (w->one + one) / 2;
        w->three += (w->two + two) / 2;
        w->two = two;
        w->one = one;
        w->before = here;
        sum[0] += here;
        sum[1] += w->one;
        sum[2] += w->two;
        sum[3] += w->three;
        w->bare[2] += w->bare[1] + (w->bare[0] + w->level / 3) / 2;
        w->bare[1] += w->bare[0] + w->level / 2;
        w->bare[0] += w->level;
        for (int k = 0; k < 3; k++)
            sum[4 + k] += w->bare[k];
        good = good && w->trace->flag[i] == 0;
    }
    if (!good)
        return;
    double n = (double)(to - from), middle = (double)from + (n - 1) / 2;
    double t = middle - (double)w->start;
    w->bins->bin[w->bins->n++] =
        (spw_bin){.t = middle,
                  .clear = fmin((double)from - w->mark[0], w->mark[1] - (double)to),
                  .value = {t, sum[0] / n, sum[1] / n, sum[2] / n, sum[3] / n, t * t / 2,
                            t * t * t / 6, sum[4] / n, sum[5] / n, sum[6] / n},
                  .plateau = w->plateau,
                  .segment = w->segment};
}

/* The same where the coupling has one corner, and is known: one integral, over every few
 * samples. What it is off by at a transition is the same for all of the next plateau. */
static void walk_one(walker *w, size_t from, size_t to, bool keep) {
    double sum = 0, area = 0, used = 0;
    bool good = keep && w->bins->n < MOST;
    const float *y = w->trace->y;
    for (size_t i = from; i < to; i += w->stride) {
        double here = (double)y[i];
        if (i > w->start)
            w->one += (double)(i - w->last) * (w->before + here) / 2;
        w->last = i;
        w->before = here;
        sum += here;
        area += w->one;
        used++;
    }
    for (size_t i = from; good && i < to; i++)
        good = w->trace->flag[i] == 0;
    if (!good)
        return;
    double middle = (double)from + (used - 1) / 2 * (double)w->stride;
    double t = middle - (double)w->start;
    w->bins->bin[w->bins->n++] =
        (spw_bin){.t = middle,
                  .clear = fmin((double)from - w->mark[0], w->mark[1] - (double)to),
                  .value = {t, sum / used, area / used},
                  .plateau = w->plateau,
                  .segment = w->segment};
}

static void step_on(walker *w, size_t from, size_t to, bool keep) {
    if (w->simple)
        walk_one(w, from, to, keep);
    else
        walk(w, from, to, keep);
}

static void reduce(const spw_trace *trace, const spw_mark *marks, size_t n, double bin_s,
                   bool simple, spw_bins *bins) {
    size_t guard = spw_trace_samples(trace->rate_hz, GUARD_S, GUARD);
    size_t segment = spw_trace_samples(trace->rate_hz, SEGMENT_S, 64);
    size_t longest = spw_trace_samples(trace->rate_hz, LONGEST_S, 128);
    walker w = {.trace = trace, .bins = bins, .simple = simple};
    w.bin_samples = spw_trace_samples(trace->rate_hz, bin_s, 1);
    w.stride = spw_trace_samples(trace->rate_hz, STRIDE_S, 1);
    bins->width = (double)w.bin_samples;
    size_t at = 0, plateaus = 0;
    start_segment(&w, 0);
    for (size_t k = 0; k <= n && bins->n < MOST; k++) {
        size_t from = k > 0 ? (size_t)fmax(marks[k - 1].at, 0) + guard : 0;
        size_t to = k < n ? (size_t)fmax(marks[k].at - (double)guard, 0) : trace->n;
        bool cut = k > 0 && k < n && marks[k].gap;
        if (plateaus >= SEGMENT_PLATEAUS && at - w.start >= segment) {
            start_segment(&w, at);
            plateaus = 0;
        }
        w.plateau++;
        plateaus++;
        w.mark[0] = k > 0 ? marks[k - 1].at : -INFINITY;
        w.mark[1] = k < n ? marks[k].at : INFINITY;
        size_t step = k > 0 ? (size_t)fmax(rint(marks[k - 1].at), 0) : 0;
        if (k > 0 && step > at && step < trace->n) {
            step_on(&w, at, step, false);
            at = step;
        }
        w.level = k > 0 ? (marks[k - 1].sign > 0) : k < n ? (marks[k].sign < 0) : 0;
        if (from > at && from < trace->n) {
            step_on(&w, at, from, false);
            at = from;
        }
        for (; at + w.bin_samples <= to; at += w.bin_samples) {
            if (at - w.start > longest || cut) {
                start_segment(&w, at);
                plateaus = 0;
                cut = false;
            }
            step_on(&w, at, at + w.bin_samples, true);
        }
    }
}

static double lost_of(const spw_bins *b) {
    double lost = 0;
    for (size_t i = 0; i < b->n; i++)
        lost += (i == 0 || b->bin[i].plateau != b->bin[i - 1].plateau) +
                (b->bows ? 2 : 1) * (i == 0 || b->bin[i].segment != b->bin[i - 1].segment);
    return lost;
}

static spw_status make_rows(spw_bins *b) {
    b->row = malloc((b->n + 1) * SPW_COLUMNS * sizeof *b->row);
    if (b->row != NULL)
        return SPW_OK;
    spw_bins_free(b);
    return SPW_ERR_MEMORY;
}

spw_status spw_bins_make(const spw_trace *trace, const spw_mark *marks, size_t n, double bin_s,
                         bool simple, spw_bins *bins) {
    *bins = (spw_bins){.bin = malloc(MOST * sizeof *bins->bin)};
    if (bins->bin == NULL)
        return SPW_ERR_MEMORY;
    reduce(trace, marks, n, bin_s, simple, bins);
    return make_rows(bins);
}

void spw_bins_free(spw_bins *bins) {
    free(bins->bin);
    free(bins->row);
    *bins = (spw_bins){0};
}

spw_status spw_bins_merge(const spw_bins *bins, size_t by, spw_bins *merged) {
    *merged = (spw_bins){.bin = malloc((bins->n + 1) * sizeof *merged->bin),
                         .width = bins->width * (double)by,
                         .bows = bins->bows};
    if (merged->bin == NULL)
        return SPW_ERR_MEMORY;
    for (size_t i = 0; i + by <= bins->n;) {
        const spw_bin *first = &bins->bin[i];
        bool rings = first->clear < RINGS || bins->bin[i + by - 1].clear < RINGS;
        if (rings || bins->bin[i + by - 1].plateau != first->plateau) {
            i++;
            continue;
        }
        spw_bin *one = &merged->bin[merged->n++];
        *one = *first;
        for (size_t j = 1; j < by; j++) {
            one->t += first[j].t;
            for (size_t c = 0; c < SPW_COL_HUM; c++)
                one->value[c] += first[j].value[c];
        }
        one->t /= (double)by;
        for (size_t c = 0; c < SPW_COL_HUM; c++)
            one->value[c] /= (double)by;
        i += by;
    }
    return make_rows(merged);
}

/* ------------------------------------------------------------ rows */

static void fill_row(const spw_bins *b, size_t i, double w, const int *line, size_t lines,
                     const spw_smooth *about) {
    const spw_bin *bin = &b->bin[i];
    double *row = b->row + i * SPW_COLUMNS;
    memcpy(row, bin->value, sizeof bin->value);
    if (w <= 0)
        return;
    double arc = fmod(w * bin->t, 2 * M_PI), one_re = cos(arc), one_im = sin(arc);
    double re = 1, im = 0, slope = 0;
    for (size_t k = 0, l = 0; l < lines; k++) {
        double next = re * one_re - im * one_im;
        im = re * one_im + im * one_re;
        re = next;
        if ((int)k + 1 != line[l])
            continue;
        double half = w * (double)(k + 1) * b->width / 2; /* the mean over a bin */
        double share = b->width > 1 ? sin(half) / half : 1;
        row[SPW_COL_HUM + 2 * l] = share * re;
        row[SPW_COL_HUM + 2 * l + 1] = share * im;
        if (about != NULL)
            slope += share * (double)(k + 1) * (about->im[k] * re - about->re[k] * im);
        l++;
    }
    if (about != NULL)
        row[SPW_COL_HUM + 2 * lines] = slope * (bin->t - b->bin[b->n / 2].t);
}

/* Takes out constants of plateaus, ... */
static void less_constants(spw_bins *b, size_t columns) {
    for (size_t i = 0; i < b->n;) {
        size_t end = i;
        double sum[SPW_COLUMNS] = {0};
        for (; end < b->n && b->bin[end].plateau == b->bin[i].plateau; end++)
            for (size_t c = 0; c < columns; c++)
                sum[c] += b->row[end * SPW_COLUMNS + c];
        for (size_t c = 0; c < columns; c++)
            sum[c] /= (double)(end - i);
        for (size_t j = i; j < end; j++)
            for (size_t c = 0; c < columns; c++)
                b->row[j * SPW_COLUMNS + c] -= sum[c];
        i = end;
    }
}

/* ... and of segments what goes with a column: their slopes, their bows. */
static void less_column(spw_bins *b, size_t with, size_t columns) {
    for (size_t i = 0; i < b->n;) {
        size_t end = i;
        double sum[SPW_COLUMNS] = {0};
        for (; end < b->n && b->bin[end].segment == b->bin[i].segment; end++) {
            const double *row = b->row + end * SPW_COLUMNS;
            for (size_t c = 0; c < columns; c++)
                sum[c] += row[c] * row[with];
        }
        double own = sum[with];
        for (size_t c = 0; c < columns && own > 0; c++)
            sum[c] /= own;
        for (size_t j = i; j < end && own > 0; j++) {
            double *row = b->row + j * SPW_COLUMNS, x = row[with];
            for (size_t c = 0; c < columns; c++)
                row[c] -= c == with ? 0 : sum[c] * x;
        }
        i = end;
    }
}

void spw_bins_fill(spw_bins *b, double w, const int *line, size_t lines, const spw_smooth *about) {
    size_t columns = SPW_COL_HUM + (w > 0 ? 2 * lines + (about != NULL) : 0);
    for (size_t i = 0; i < b->n; i++)
        fill_row(b, i, w, line, lines, about);
    less_constants(b, columns);
    less_column(b, SPW_COL_T, columns);
    if (b->bows)
        less_column(b, SPW_COL_TT, columns);
    b->lost = lost_of(b);
}

bool spw_bins_solve(const spw_bins *b, const size_t *use, size_t n, spw_fitted *f) {
    double a[SPW_COLUMNS * SPW_COLUMNS] = {0}, right[SPW_COLUMNS] = {0}, yy = 0;
    double scale[SPW_COLUMNS], x[SPW_COLUMNS];
    for (size_t i = 0; i < b->n; i++) {
        const double *row = b->row + i * SPW_COLUMNS;
        yy += row[SPW_COL_Y] * row[SPW_COL_Y];
        for (size_t j = 0; j < n; j++) {
            right[j] += row[use[j]] * row[SPW_COL_Y];
            for (size_t k = 0; k <= j; k++)
                a[j * n + k] += row[use[j]] * row[use[k]];
        }
    }
    for (size_t j = 0; j < n; j++)
        scale[j] = a[j * n + j] > 0 ? 1 / sqrt(a[j * n + j]) : 0;
    for (size_t j = 0; j < n; j++) {
        right[j] *= scale[j];
        for (size_t k = 0; k <= j; k++)
            a[j * n + k] *= scale[j] * scale[k];
        a[j * n + j] += 1e-12;
    }
    *f = (spw_fitted){.rss = yy, .dof = (double)b->n - b->lost - (double)n};
    if (f->dof < 4 || !spw_cholesky(a, n))
        return false;
    memcpy(x, right, sizeof x);
    spw_cholesky_solve(a, n, x);
    for (size_t j = 0; j < n; j++)
        f->rss -= x[j] * right[j];
    f->rss = fmax(f->rss, 0);
    for (size_t j = 0; j < n; j++) {
        double e[SPW_COLUMNS] = {0};
        e[j] = 1;
        spw_cholesky_solve(a, n, e);
        f->value[use[j]] = x[j] * scale[j];
        f->error[use[j]] = sqrt(fmax(e[j], 0) * f->rss / f->dof) * scale[j];
    }
    return true;
}
