/* On a plateau nothing drives the line, so the coupling alone shapes it: with
 * y + p I + q II constant (trace.h). Integrals run through the transitions, over
 * segments of a few plateaus; each plateau has its own constant and each segment
 * its own slope, which takes up an offset of the recorder and how the segment
 * began. What is left is linear in p, q and the lines of the hum. */
#include "edges/plateau.h"

#include "edges/solve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GUARD_S 250e-6 /* the transition's ringing */
#define BIN_S 250e-6
#define FOLLOWING_BIN_S 1e-3 /* of hum whose frequency is known: a quarter of the rows */
#define SEGMENT_S 30e-3
#define LONGEST_S 60e-3
#define CERTAIN 5.0 /* standard errors for a term to be believed */
enum {
    BINS = 12000,
    SEGMENT_PLATEAUS = 4,
    HUM_COLUMNS = 2 * SPW_HUM_LINES,
    FIXED = 5,                        /* t, y, I, II, t^2/2 */
    COLUMNS = FIXED + HUM_COLUMNS + 1 /* hum; its frequency */
};
enum { COL_T, COL_Y, COL_I, COL_II, COL_TT, COL_HUM };

typedef struct bin {
    double t;
    double value[FIXED]; /* t from the segment's start, y, I, II, t^2/2 (an offset's II) */
    uint32_t plateau, segment;
} bin;

typedef struct reduction {
    bin *bin;
    size_t n;
    double width; /* samples a bin */
    double *row;  /* n rows of COLUMNS */
} reduction;

/* ------------------------------------------------------------ to bins */

typedef struct walker {
    const spw_trace *trace;
    reduction *r;
    size_t bin_samples, start; /* of the segment */
    double one, two, before;   /* running integrals */
    uint32_t plateau, segment;
} walker;

static void start_segment(walker *w, size_t at) {
    w->segment++;
    w->plateau++;
    w->start = at;
    w->one = w->two = 0;
    w->before = (double)w->trace->y[at];
}

/* Integrates over [from, to); when `keep`, files it as one bin. */
static void walk(walker *w, size_t from, size_t to, bool keep) {
    double sum[3] = {0};
    bool good = keep && w->r->n < BINS;
    for (size_t i = from; i < to; i++) {
        double here = (double)w->trace->y[i];
        double next = i == w->start ? 0 : w->one + (w->before + here) / 2;
        w->two += (w->one + next) / 2;
        w->one = next;
        w->before = here;
        sum[0] += here;
        sum[1] += w->one;
        sum[2] += w->two;
        good = good && w->trace->flag[i] == 0;
    }
    if (!good)
        return;
    double n = (double)(to - from), middle = (double)from + (n - 1) / 2;
    double t = middle - (double)w->start;
    w->r->bin[w->r->n++] = (bin){.t = middle,
                                 .value = {t, sum[0] / n, sum[1] / n, sum[2] / n, t * t / 2},
                                 .plateau = w->plateau,
                                 .segment = w->segment};
}

static void reduce(const spw_trace *trace, const spw_mark *marks, size_t n, double bin_s,
                   reduction *r) {
    size_t guard = spw_trace_samples(trace->rate_hz, GUARD_S, 4);
    size_t segment = spw_trace_samples(trace->rate_hz, SEGMENT_S, 64);
    size_t longest = spw_trace_samples(trace->rate_hz, LONGEST_S, 128);
    walker w = {.trace = trace, .r = r};
    w.bin_samples = spw_trace_samples(trace->rate_hz, bin_s, 1);
    r->width = (double)w.bin_samples;
    size_t at = 0, plateaus = 0;
    start_segment(&w, 0);
    for (size_t k = 0; k <= n && r->n < BINS; k++) {
        size_t from = k > 0 ? (size_t)fmax(marks[k - 1].at, 0) + guard : 0;
        size_t to = k < n ? (size_t)fmax(marks[k].at - (double)guard, 0) : trace->n;
        bool cut = k > 0 && k < n && marks[k].gap;
        if (plateaus >= SEGMENT_PLATEAUS && at - w.start >= segment) {
            start_segment(&w, at);
            plateaus = 0;
        }
        w.plateau++;
        plateaus++;
        if (from > at && from < trace->n) {
            walk(&w, at, from, false);
            at = from;
        }
        for (; at + w.bin_samples <= to; at += w.bin_samples) {
            if (at - w.start > longest || cut) {
                start_segment(&w, at);
                plateaus = 0;
                cut = false;
            }
            walk(&w, at, at + w.bin_samples, true);
        }
    }
}

/* ------------------------------------------------------------ the fit */

/* Fills the rows: values and, for a frequency w > 0, `lines` pairs of hum columns
 * at the given multiples; constants of plateaus and slopes of segments removed. */
static size_t fill(reduction *r, double w, const int *line, size_t lines,
                   const spw_smooth *derivative) {
    size_t columns = COL_HUM + 2 * lines + (derivative != NULL ? 1 : 0);
    for (size_t i = 0; i < r->n; i++) {
        const bin *b = &r->bin[i];
        double *row = r->row + i * COLUMNS;
        memcpy(row, b->value, sizeof b->value);
        if (w <= 0)
            continue;
        double arc = fmod(w * b->t, 2 * M_PI), one_re = cos(arc), one_im = sin(arc);
        double re = 1, im = 0, slope = 0;
        for (size_t k = 0, l = 0; l < lines; k++) {
            double next = re * one_re - im * one_im;
            im = re * one_im + im * one_re;
            re = next;
            if ((int)k + 1 != line[l])
                continue;
            double half = w * (double)(k + 1) * r->width / 2; /* the mean over a bin */
            double share = r->width > 1 ? sin(half) / half : 1;
            row[COL_HUM + 2 * l] = share * re;
            row[COL_HUM + 2 * l + 1] = share * im;
            if (derivative != NULL)
                slope +=
                    share * (double)(k + 1) * (derivative->im[k] * re - derivative->re[k] * im);
            l++;
        }
        if (derivative != NULL)
            row[columns - 1] = slope * (b->t - r->bin[r->n / 2].t);
    }
    return columns;
}

static void centre(reduction *r, size_t columns) {
    for (size_t i = 0; i < r->n;) {
        size_t end = i;
        double sum[COLUMNS] = {0};
        for (; end < r->n && r->bin[end].plateau == r->bin[i].plateau; end++)
            for (size_t c = 0; c < columns; c++)
                sum[c] += r->row[end * COLUMNS + c];
        for (size_t j = i; j < end; j++)
            for (size_t c = 0; c < columns; c++)
                r->row[j * COLUMNS + c] -= sum[c] / (double)(end - i);
        i = end;
    }
    for (size_t i = 0; i < r->n;) {
        size_t end = i;
        double sum[COLUMNS] = {0};
        for (; end < r->n && r->bin[end].segment == r->bin[i].segment; end++)
            for (size_t c = 0; c < columns; c++)
                sum[c] += r->row[end * COLUMNS + c] * r->row[end * COLUMNS + COL_T];
        for (size_t j = i; j < end && sum[COL_T] > 0; j++) {
            double t = r->row[j * COLUMNS + COL_T];
            for (size_t c = 0; c < columns; c++)
                r->row[j * COLUMNS + c] -= sum[c] / sum[COL_T] * t;
        }
        i = end;
    }
}

typedef struct fit {
    double value[COLUMNS], error[COLUMNS]; /* by column; 0 where left out */
    double rss, dof;
} fit;

/* Least squares of column y on the chosen columns. */
static bool solve(const reduction *r, const size_t *use, size_t n, double lost, fit *f) {
    double a[COLUMNS * COLUMNS] = {0}, b[COLUMNS] = {0}, yy = 0, scale[COLUMNS];
    for (size_t i = 0; i < r->n; i++) {
        const double *row = r->row + i * COLUMNS;
        yy += row[COL_Y] * row[COL_Y];
        for (size_t j = 0; j < n; j++) {
            b[j] += row[use[j]] * row[COL_Y];
            for (size_t k = 0; k <= j; k++)
                a[j * n + k] += row[use[j]] * row[use[k]];
        }
    }
    for (size_t j = 0; j < n; j++)
        scale[j] = a[j * n + j] > 0 ? 1 / sqrt(a[j * n + j]) : 0;
    for (size_t j = 0; j < n; j++) {
        b[j] *= scale[j];
        for (size_t k = 0; k <= j; k++)
            a[j * n + k] *= scale[j] * scale[k];
        a[j * n + j] += 1e-12;
    }
    *f = (fit){.rss = yy, .dof = (double)r->n - lost - (double)n};
    if (f->dof < 4 || !spw_cholesky(a, n))
        return false;
    double x[COLUMNS];
    memcpy(x, b, sizeof x);
    spw_cholesky_solve(a, n, x);
    for (size_t j = 0; j < n; j++)
        f->rss -= x[j] * b[j];
    f->rss = fmax(f->rss, 0);
    for (size_t j = 0; j < n; j++) {
        double e[COLUMNS] = {0};
        e[j] = 1;
        spw_cholesky_solve(a, n, e);
        f->value[use[j]] = x[j] * scale[j];
        f->error[use[j]] = sqrt(fmax(e[j], 0) * f->rss / f->dof) * scale[j];
    }
    return true;
}

static double constants(const reduction *r) {
    double lost = r->n > 0 ? 2 : 0;
    for (size_t i = 1; i < r->n; i++)
        lost += (r->bin[i].plateau != r->bin[i - 1].plateau) +
                (r->bin[i].segment != r->bin[i - 1].segment);
    return lost;
}

/* ------------------------------------------------------------ hum */

static const int all_lines[SPW_HUM_LINES] = {1, 2, 3, 4, 5, 6, 7};

/* The mains frequency that takes most out of the rows, radians a sample. */
static double search_hum(reduction *r, double rate_hz, double lost) {
    static const int few[2] = {1, 3};
    static const size_t use[7] = {COL_I,       COL_II,      COL_TT,     COL_HUM,
                                  COL_HUM + 1, COL_HUM + 2, COL_HUM + 3};
    double best = 0, least = INFINITY;
    double span = (r->bin[r->n - 1].t - r->bin[0].t) / rate_hz;
    double step = fmin(0.3 / span, 0.5);
    int steps = (int)(1 / step);
    for (int i = 0; i < 2 * (2 * steps + 1); i++) {
        int off = i / 2 - steps;
        double f = (i % 2 == 0 ? 50 : 60) + off * step;
        double w = 2 * M_PI * f / rate_hz;
        fit got;
        centre(r, fill(r, w, few, 2, NULL));
        if (solve(r, use, 7, lost, &got) && got.rss < least) {
            least = got.rss;
            best = w;
        }
    }
    return best;
}

/* All lines at w, then w itself by Gauss-Newton. Droop columns are free, or fixed
 * by their coefficients having been subtracted (droop false). */
static bool fit_hum(reduction *r, double w, bool droop, double lost, spw_smooth *smooth, fit *f) {
    size_t use[COLUMNS], n = 0;
    if (droop) {
        use[n++] = COL_I;
        use[n++] = COL_II;
        use[n++] = COL_TT;
    }
    for (size_t c = 0; c < HUM_COLUMNS + 1; c++)
        use[n++] = COL_HUM + c;
    enum { ROUNDS = 12 };
    bool settled = false;
    for (int round = 0; round < ROUNDS && !settled; round++) {
        bool turn = round > 0; /* the last column: frequency */
        centre(r, fill(r, w, all_lines, SPW_HUM_LINES, turn ? smooth : NULL));
        if (!solve(r, use, turn ? n : n - 1, lost, f))
            return false;
        smooth->hum = w;
        for (int k = 0; k < SPW_HUM_LINES; k++) {
            smooth->re[k] = f->value[COL_HUM + 2 * k];
            smooth->im[k] = f->value[COL_HUM + 2 * k + 1];
        }
        if (!turn)
            continue;
        double step = f->value[COL_HUM + HUM_COLUMNS];
        settled = fabs(step) < 0.02 * f->error[COL_HUM + HUM_COLUMNS];
        w += settled ? 0 : step;
    }
    return true;
}

/* ------------------------------------------------------------ public */

static bool believed(const fit *f, size_t column) {
    return f->value[column] < 0 && -f->value[column] > CERTAIN * f->error[column];
}

/* p and q, with the hum columns that the rows now hold. */
static void choose_droop(const reduction *r, bool hum, double lost, double rate_hz,
                         spw_smooth *smooth) {
    size_t use[COLUMNS], n = 0;
    for (size_t c = 0; hum && c < HUM_COLUMNS; c++)
        use[n++] = COL_HUM + c;
    fit f;
    smooth->p = smooth->q = smooth->offset = 0;
    use[n] = COL_I;
    use[n + 1] = COL_II;
    use[n + 2] = COL_TT;
    /* two real corners: q <= (p/2)^2, with room for the noise */
    if (solve(r, use, n + 3, lost, &f) && believed(&f, COL_I) && believed(&f, COL_II) &&
        -f.value[COL_II] < 0.3 * f.value[COL_I] * f.value[COL_I]) {
        smooth->p = -f.value[COL_I];
        smooth->q = -f.value[COL_II];
        smooth->offset = f.value[COL_TT] / smooth->q;
    } else if (solve(r, use, n + 1, lost, &f) && believed(&f, COL_I) &&
               -f.value[COL_I] * rate_hz > 0.05 && -f.value[COL_I] * rate_hz < 3000) {
        smooth->p = -f.value[COL_I];
    }
    for (size_t k = 0; hum && k < SPW_HUM_LINES; k++) {
        smooth->re[k] = f.value[COL_HUM + 2 * k];
        smooth->im[k] = f.value[COL_HUM + 2 * k + 1];
    }
}

double spw_hum_amplitude(const spw_smooth *smooth) {
    double largest = 0;
    for (int k = 0; smooth->hum > 0 && k < SPW_HUM_LINES; k++) {
        double w = smooth->hum * (k + 1); /* the coupling undone lifted the line by this: */
        double lift = hypot(1 - smooth->q / (w * w), smooth->p / w);
        largest = fmax(largest, hypot(smooth->re[k], smooth->im[k]) / lift);
    }
    return largest;
}

spw_status spw_plateau_fit(const spw_trace *trace, const spw_mark *marks, size_t n, double step,
                           double noise, bool droop, spw_smooth *smooth) {
    reduction r = {.bin = malloc(BINS * sizeof(bin))};
    spw_status status = SPW_ERR_MEMORY;
    if (r.bin == NULL)
        goto done;
    status = SPW_OK;
    double w = smooth->hum;
    smooth->hum = 0;
    if (droop)
        smooth->p = smooth->q = 0;
    reduce(trace, marks, n, w > 0 ? FOLLOWING_BIN_S : BIN_S, &r);
    if (r.n < 24)
        goto done;
    r.row = malloc(r.n * COLUMNS * sizeof *r.row);
    if (r.row == NULL) {
        status = SPW_ERR_MEMORY;
        goto done;
    }
    for (size_t i = 0; !droop && i < r.n; i++)
        r.bin[i].value[COL_Y] +=
            smooth->p * r.bin[i].value[COL_I] +
            smooth->q * (r.bin[i].value[COL_II] - smooth->offset * r.bin[i].value[COL_TT]);
    double lost = constants(&r), span_s = (r.bin[r.n - 1].t - r.bin[0].t) / trace->rate_hz;
    static const size_t droop_only[3] = {COL_I, COL_II, COL_TT};
    fit without, with;
    spw_smooth hum = *smooth;
    centre(&r, fill(&r, 0, NULL, 0, NULL));
    bool known = solve(&r, droop_only, droop ? 3 : 0, lost, &without);
    /* hum matters when more than the noise is left and several of its periods fit */
    bool left = known && span_s > 0.1 && trace->rate_hz > 2000 &&
                without.rss / fmax(without.dof, 1) > 1.1 * noise * noise / r.width;
    if (left && w <= 0)
        w = search_hum(&r, trace->rate_hz, lost);
    if (left && w > 0 && fit_hum(&r, w, droop, lost, &hum, &with) &&
        (without.rss - with.rss) * with.dof > 12 * HUM_COLUMNS * with.rss &&
        spw_hum_amplitude(&hum) > 1e-4 * step)
        *smooth = hum;
    if (droop) {
        centre(&r, fill(&r, smooth->hum, all_lines, smooth->hum > 0 ? SPW_HUM_LINES : 0, NULL));
        choose_droop(&r, smooth->hum > 0, lost, trace->rate_hz, smooth);
    }
done:
    free(r.bin);
    free(r.row);
    return status;
}

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Mean square of second differences, a sixth of it, over samples that keep `guard`
 * to the transitions, plateau by plateau; the median, or NAN with fewer than `least`. */
static double noise_with(const spw_trace *trace, const spw_mark *marks, size_t n, size_t guard,
                         size_t least) {
    enum { MOST = 2048, LONG = 1024, SHORT = 12 };
    double square[MOST];
    size_t count = 0;
    for (size_t k = 0; k <= n && count < MOST; k++) {
        size_t from = k > 0 ? (size_t)fmax(marks[k - 1].at, 0) + guard : 0;
        size_t to = k < n ? (size_t)fmax(marks[k].at - (double)guard, 0) : trace->n, used = 0;
        double sum = 0;
        to = to > from + LONG ? from + LONG : to;
        for (size_t i = from + 2; i < to; i++) {
            if ((trace->flag[i] | trace->flag[i - 1] | trace->flag[i - 2]) != 0)
                continue;
            double d = (double)trace->y[i] - 2 * (double)trace->y[i - 1] + (double)trace->y[i - 2];
            sum += d * d;
            used++;
        }
        if (used >= SHORT)
            square[count++] = sum / (6 * (double)used);
    }
    if (count < least)
        return (double)NAN;
    qsort(square, count, sizeof *square, rising);
    return sqrt(square[count / 2]);
}

double spw_plateau_noise(const spw_trace *trace, const spw_mark *marks, size_t n) {
    /* where the converter's ringing has died away, as far as there is such a place */
    static const size_t guards[] = {64, 48, 36, 24, 12, 4};
    double noise = (double)NAN;
    for (size_t i = 0; i < sizeof guards / sizeof guards[0] && isnan(noise); i++)
        noise = noise_with(trace, marks, n,
                           spw_trace_samples(trace->rate_hz, i < 4 ? GUARD_S : 0, guards[i]),
                           i < 3 ? 3 : 1);
    return noise;
}
