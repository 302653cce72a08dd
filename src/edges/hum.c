#include "edges/hum.h"

#include "edges/two.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const int spw_hum_lines[SPW_HUM_LINES] = {1, 2, 3, 4, 5, 6, 7};
static const size_t coupling[] = {SPW_COL_I, SPW_COL_II, SPW_COL_III, SPW_COL_TTT};
/* beside which lines are looked for */
static const size_t apart[] = {SPW_COL_BARE, SPW_COL_BARE_II, SPW_COL_BARE_III, SPW_COL_I,
                               SPW_COL_II,   SPW_COL_III,     SPW_COL_TTT};
enum { COUPLING = sizeof coupling / sizeof coupling[0], APART = sizeof apart / sizeof apart[0] };

#define WANDER_HZ 0.3 /* of a frequency from what it was thought to be */
#define LEAST_S 0.1   /* of plateaus: several periods */
#define LEAST_RATE_HZ 2000.0
#define LEFT 1.1            /* mean square of what is left over that of noise */
#define NEGLIGIBLE 1e-3     /* of a step */
#define STANDS_OUT 15.0     /* of what a frequency without hum takes out (its median) */
#define FAR_OUT 100.0       /* the same, for lines that the frames have, too */
#define STEPS 0.35          /* of the converter, rms: what its rounding can make of a line */
#define STEPS_ON_FRAMES 1.0 /* the same, for lines that the frames have, too */
#define DITHERED 0.5        /* noise, of the converter's step, above which it makes none */

/* ------------------------------------------------------------ search */

/* Rows of few bins, with all that is not hum taken out. */
typedef struct search {
    spw_bins bins;
    double *e;             /* what is left of y */
    double *column[APART]; /* orthonormal */
    size_t columns;
    double *line[4];    /* of one frequency */
    double *segment[2]; /* lines and bows of segments */
    double *block;
} search;

static void project(double *x, double *const *columns, size_t n_columns, size_t n) {
    for (size_t c = 0; c < n_columns; c++)
        spw_add_times(x, -spw_dot(x, columns[c], n), columns[c], n);
}

static void take_column(const spw_bins *b, size_t c, double *x) {
    for (size_t i = 0; i < b->n; i++)
        x[i] = b->row[i * SPW_COLUMNS + c];
}

static spw_status search_begin(const spw_bins *bins, bool droop, search *s) {
    enum { BY = 4, ARRAYS = 1 + APART + 4 + 2 };
    *s = (search){.e = NULL};
    spw_status status = spw_bins_merge(bins, BY, &s->bins);
    if (status != SPW_OK)
        return status;
    size_t n = s->bins.n;
    s->block = malloc((ARRAYS * n + 1) * sizeof *s->block);
    if (s->block == NULL) {
        spw_bins_free(&s->bins);
        return SPW_ERR_MEMORY;
    }
    s->e = s->block;
    for (size_t i = 0; i < 4; i++)
        s->line[i] = s->block + (1 + APART + i) * n;
    for (size_t v = 0; v < 2; v++)
        s->segment[v] = s->block + (1 + APART + 4 + v) * n;
    spw_bins_fill(&s->bins, 0, NULL, 0, NULL);
    take_column(&s->bins, SPW_COL_T, s->segment[0]);
    take_column(&s->bins, SPW_COL_TT, s->segment[1]);
    take_column(&s->bins, SPW_COL_Y, s->e);
    for (size_t c = 0; c < (droop ? APART : 3); c++) {
        double *x = s->column[s->columns] = s->block + (1 + c) * n;
        take_column(&s->bins, apart[c], x);
        double all = sqrt(spw_dot(x, x, n));
        for (size_t i = 0; i < n && all > 0; i++)
            x[i] /= all;
        project(x, s->column, s->columns, n);
        project(x, s->column, s->columns, n);
        double norm = sqrt(spw_dot(x, x, n));
        if (!(norm > 1e-9))
            continue;
        for (size_t i = 0; i < n; i++)
            x[i] /= norm;
        s->columns++;
    }
    project(s->e, s->column, s->columns, n);
    return SPW_OK;
}

static void search_end(search *s) {
    spw_bins_free(&s->bins);
    free(s->block);
}

/* Takes constants of plateaus, and what goes with the segments' lines and bows, out of x. */
static void centre(const search *s, double *x) {
    const spw_bins *b = &s->bins;
    for (size_t i = 0, end; i < b->n; i = end) {
        double sum = 0;
        for (end = i; end < b->n && b->bin[end].plateau == b->bin[i].plateau; end++)
            sum += x[end];
        sum /= (double)(end - i);
        for (size_t j = i; j < end; j++)
            x[j] -= sum;
    }
    for (size_t v = 0; v < (b->bows ? 2 : 1); v++) {
        const double *with = s->segment[v];
        for (size_t i = 0, end; i < b->n; i = end) {
            double sum = 0, own = 0;
            for (end = i; end < b->n && b->bin[end].segment == b->bin[i].segment; end++) {
                sum += x[end] * with[end];
                own += with[end] * with[end];
            }
            for (size_t j = i; j < end && own > 0; j++)
                x[j] -= sum / own * with[j];
        }
    }
}

/* How much of e's square the lines of w and 3 w take out. */
static double gain_of(search *s, double w) {
    size_t n = s->bins.n;
    double gain = 0;
    for (size_t i = 0; i < n; i++) {
        double re = cos(w * s->bins.bin[i].t), im = sin(w * s->bins.bin[i].t);
        s->line[0][i] = re;
        s->line[1][i] = im;
        s->line[2][i] = re * (4 * re * re - 3); /* of three times the angle */
        s->line[3][i] = im * (3 - 4 * im * im);
    }
    for (size_t c = 0; c < 4; c++) {
        double *x = s->line[c];
        centre(s, x);
        double all = spw_dot(x, x, n);
        project(x, s->column, s->columns, n);
        project(x, s->line, c, n);
        double own = spw_dot(x, x, n);
        if (!(own > 1e-6 * all)) {
            memset(x, 0, n * sizeof *x);
            continue;
        }
        double in = spw_dot(x, s->e, n);
        gain += in * in / own;
        for (size_t i = 0; i < n; i++)
            x[i] /= sqrt(own);
    }
    return gain;
}

typedef struct found {
    double w, gain;
} found;

static found best_within(search *s, double rate_hz, double from_hz, double to_hz, double step_hz) {
    found best = {0, 0};
    size_t last = (size_t)((to_hz - from_hz) / step_hz + 0.5);
    for (size_t i = 0; i <= last; i++) {
        double hz = from_hz + (double)i * step_hz;
        double w = 2 * M_PI * hz / rate_hz, gain = gain_of(s, w);
        if (gain > best.gain)
            best = (found){w, gain};
    }
    return best;
}

/* Frames a second, from transitions of one direction; 0 unknown. */
static double frames_hz(const spw_mark *marks, size_t n, double rate_hz) {
    double sum = 0, count = 0;
    for (size_t k = 2; k < n; k++) {
        double period = marks[k].at - marks[k - 2].at;
        if (count > 0 && fabs(period / (sum / count) - 1) > 0.1)
            continue;
        sum += period;
        count++;
    }
    return count > 0 ? rate_hz * count / sum : 0;
}

static double off_frames_hz(double hz, double frames) {
    double line = frames / 2; /* widths may alternate */
    return frames > 0 ? fabs(hz - rint(hz / line) * line) : hz;
}

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The median of what frequencies take out that are no mains and none of the frames'. */
static double usual_gain(search *s, double rate_hz, double frames, double resolution_hz) {
    enum { MOST = 48 };
    double gain[MOST], step = fmax(resolution_hz, 0.8);
    size_t n = 0;
    for (double hz = 40.3; hz < 70 && n < MOST; hz += step) {
        bool mains = fabs(hz - 50) < 1.5 || fabs(hz - 60) < 1.5;
        if (!mains && off_frames_hz(hz, frames) > resolution_hz)
            gain[n++] = gain_of(s, 2 * M_PI * hz / rate_hz);
    }
    if (n < 4)
        return 0;
    qsort(gain, n, sizeof *gain, rising);
    return gain[n / 2];
}

/* The mains frequency that takes most out of the rows, radians a sample; 0 when it does
 * not stand out. `*on_frames`: the frames have it, too; `*rail_w`: a railway's that may do
 * better, or 0. */
static double search_hum(search *s, const spw_mark *marks, size_t n, double rate_hz,
                         bool *on_frames, double *rail_w) {
    double span = (s->bins.bin[s->bins.n - 1].t - s->bins.bin[0].t) / rate_hz;
    double step = fmin(0.3 / span, 0.5), frames = frames_hz(marks, n, rate_hz);
    found best = best_within(s, rate_hz, 49.5, 50.5, step);
    found other = best_within(s, rate_hz, 59.5, 60.5, step);
    best = other.gain > best.gain ? other : best;
    double usual = usual_gain(s, rate_hz, frames, fmax(1 / span, 0.3));
    /* of railways: its third line is near the mains */
    found rail = best_within(s, rate_hz, 16.5, 16.9, step / 3);
    *rail_w = rail.gain > best.gain ? rail.w : 0;
    double hz = best.w * rate_hz / (2 * M_PI);
    *on_frames = off_frames_hz(hz, frames) < fmax(1 / span, 0.1);
    return best.gain > (*on_frames ? FAR_OUT : STANDS_OUT) * usual ? best.w : 0;
}

/* ------------------------------------------------------------ fit */

/* All lines at w, then w itself by Gauss-Newton; `about` has them from before. */
static bool fit_lines(spw_bins *b, double w, bool droop, bool known, spw_smooth *smooth,
                      spw_fitted *f) {
    enum { ROUNDS = 12 };
    double rest = known ? 0.1 : 0.02; /* of its uncertainty, of the last step */
    size_t use[SPW_COLUMNS], n = 0;
    for (size_t c = 0; droop && c < COUPLING; c++)
        use[n++] = coupling[c];
    for (size_t c = 0; c < SPW_HUM_COLUMNS + 1; c++)
        use[n++] = SPW_COL_HUM + c;
    bool settled = false;
    for (int round = 0; round < ROUNDS && !settled; round++) {
        bool turn = known || round > 0; /* the last column: frequency */
        spw_bins_fill(b, w, spw_hum_lines, SPW_HUM_LINES, turn ? smooth : NULL);
        if (!spw_bins_solve(b, use, turn ? n : n - 1, f))
            return false;
        smooth->hum = w;
        for (int k = 0; k < SPW_HUM_LINES; k++) {
            smooth->re[k] = f->value[SPW_COL_HUM + 2 * k];
            smooth->im[k] = f->value[SPW_COL_HUM + 2 * k + 1];
        }
        if (!turn)
            continue;
        double step = f->value[SPW_COL_HUM + SPW_HUM_COLUMNS];
        settled = fabs(step) < rest * f->error[SPW_COL_HUM + SPW_HUM_COLUMNS];
        w += settled ? 0 : step;
    }
    return true;
}

double spw_hum_amplitude(const spw_smooth *smooth) {
    double largest = 0;
    for (int k = 0; smooth->hum > 0 && k < SPW_HUM_LINES; k++) {
        double w = smooth->hum * (k + 1); /* the coupling undone lifted the line by this: */
        double lift = hypot(1 - smooth->q / (w * w), smooth->p / w - smooth->r / (w * w * w));
        largest = fmax(largest, hypot(smooth->re[k], smooth->im[k]) / lift);
    }
    return largest;
}

/* Is what the lines take out more than chance, the converter's steps and the frames can? */
static bool certain(const spw_bins *b, const spw_fitted *without, const spw_fitted *with,
                    const spw_plateau_signal *signal, const spw_smooth *hum, bool on_frames) {
    double taken = without->rss - with->rss;
    double steps = signal->noise < DITHERED * signal->quantum ? signal->quantum : 0;
    steps *= on_frames ? STEPS_ON_FRAMES : STEPS;
    return taken * with->dof > 12 * SPW_HUM_COLUMNS * with->rss &&
           taken > steps * steps * (double)b->n &&
           spw_hum_amplitude(hum) > NEGLIGIBLE * signal->step;
}

/* Beside what the rows are, lines near w, and whether a railway's do better. */
static bool best_lines(spw_bins *b, double w, double rail_w, double most, bool droop, bool known,
                       spw_smooth *hum, spw_fitted *with) {
    spw_smooth rail = *hum;
    spw_fitted by_rail;
    if (!fit_lines(b, w, droop, known, hum, with) || !(fabs(hum->hum - w) < most))
        return false;
    if (rail_w > 0 && fit_lines(b, rail_w, droop, false, &rail, &by_rail) &&
        by_rail.rss < with->rss && fabs(rail.hum - rail_w) < most) {
        *hum = rail;
        *with = by_rail;
    }
    return true;
}

static bool nothing_left(spw_bins *b, const spw_trace *trace, const spw_plateau_signal *signal,
                         bool droop, spw_fitted *without) {
    double span_s = (b->bin[b->n - 1].t - b->bin[0].t) / trace->rate_hz;
    spw_bins_fill(b, 0, NULL, 0, NULL);
    return !spw_bins_solve(b, coupling, droop ? COUPLING : 0, without) || !(span_s > LEAST_S) ||
           !(trace->rate_hz > LEAST_RATE_HZ) ||
           !(without->rss / fmax(without->dof, 1) >
             LEFT * signal->noise * signal->noise / b->width);
}

spw_status spw_hum_fit(const spw_trace *trace, const spw_mark *marks, size_t n, spw_bins *b,
                       const spw_plateau_signal *signal, double known, bool droop,
                       spw_smooth *smooth) {
    spw_fitted without, with;
    if (nothing_left(b, trace, signal, droop, &without))
        return SPW_OK;
    double most = WANDER_HZ * 2 * M_PI / trace->rate_hz, w = known, rail_w = 0;
    bool on_frames = false;
    spw_smooth hum = *smooth;
    if (known > 0 && !droop) {
        if (best_lines(b, w, 0, most, droop, true, &hum, &with) &&
            certain(b, &without, &with, signal, &hum, on_frames))
            *smooth = hum;
        return SPW_OK;
    }
    search s;
    spw_status status = search_begin(b, droop, &s);
    if (status != SPW_OK)
        return status;
    if (known <= 0 && s.bins.n > 24)
        w = search_hum(&s, marks, n, trace->rate_hz, &on_frames, &rail_w);
    if (w > 0 && s.bins.n > 24 && !nothing_left(&s.bins, trace, signal, droop, &without) &&
        best_lines(&s.bins, w, rail_w, most, droop, false, &hum, &with) &&
        certain(&s.bins, &without, &with, signal, &hum, on_frames))
        *smooth = hum;
    search_end(&s);
    return SPW_OK;
}
