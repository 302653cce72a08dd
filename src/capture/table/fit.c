/* Decides from the head what clock a table keeps: rows at their own times, or
 * samples one even step apart, as far as the printed digits prove it. */
#include "capture/table/parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STRAY 0.02 /* of a step, beside the rounding; see table_clock.c */
#define LEAN 0.25
/* Of the head's steps, this share has to be the usual one. */
#define EVEN_SHARE 0.9
/* Equal neighbouring times are rebuilt when the digits leave the step no more
 * room than this, or a round number that much rounder. */
#define STEP_ROOM 2e-4
#define ROUNDED_ROWS_MIN 16
/* Of uneven samples, this share of the steps is no longer than what is taken as resolved. */
#define USUAL_STEPS 0.95
#define DRIFT_MIN 1e-6
#define DRIFT_MAX 1e-4

typedef struct head_times {
    bool sampled; /* of volts: no row can be at a time of its own */
    size_t n;
    int64_t *tick;
    double *width;
    int64_t *sorted; /* steps, for the median */
} head_times;

static void free_times(head_times *times) {
    free(times->tick);
    free(times->width);
    free(times->sorted);
}

/* A tick is the finest printed place, but no finer than 10^-12 of the head's
 * length: 64 bits then hold ten million heads. Numbers with a floating point
 * get three more places where those fit. */
static int choose_place(const spw_table_probe *probe) {
    int finest = INT32_MAX, coarsest = INT32_MIN;
    for (size_t i = 0; i < probe->rows; i++) {
        int e = probe->time[i].exponent;
        if (probe->time[i].digits == 0)
            continue;
        coarsest = e > coarsest ? e : coarsest;
        finest = e < finest ? e : finest;
    }
    if (finest == INT32_MAX)
        finest = coarsest = probe->time[0].exponent;
    /* From the middle row: a damaged time further on says nothing. */
    double range = 2 * fabs(spw_decimal_value(&probe->time[probe->rows / 2]) -
                            spw_decimal_value(&probe->time[0]));
    if (!(range > 0) || !isfinite(range))
        return finest;
    int least = (int)floor(log10(range)) - 11;
    if (finest < least)
        return least;
    if (coarsest == finest)
        return finest;
    return finest - 3 > least ? finest - 3 : least;
}

/* The head's times as ticks, up to the first that runs backwards. */
static void take_times(const spw_table_probe *probe, spw_table_fit *fit, head_times *times) {
    spw_table_clock *clock = &fit->clock;
    int64_t day = 0;
    /* The first row's ticks may need more than 64 bits. */
    if (!spw_table_wide_ticks(clock, &probe->time[0], &clock->first))
        clock->first = (spw_wide){0, 0};
    double narrow = INFINITY;
    for (size_t i = 0; i < probe->rows; i++) {
        int64_t tick;
        if (!spw_table_ticks(clock, &probe->time[i], &tick))
            break; /* damaged; the rows before it tell */
        tick += day;
        if (i > 0 && tick < times->tick[i - 1] && probe->time_of_day) {
            int64_t whole = 86400;
            for (int e = clock->place; e < 0 && whole < INT64_MAX / 40; e++)
                whole *= 10;
            if (times->tick[i - 1] - tick > whole / 2) {
                day += whole;
                tick += whole;
            }
        }
        if (i > 0 && tick < times->tick[i - 1]) {
            fit->backwards = true;
            fit->back_row = i;
            break;
        }
        times->tick[i] = tick;
        times->width[i] = spw_table_rounding(clock, &probe->time[i]);
        narrow = fmin(narrow, times->width[i]);
        times->n++;
    }
    for (size_t i = 0; i < times->n; i++)
        if (probe->time[i].digits == 0)
            times->width[i] = narrow; /* nothing is exact, however it is printed */
    clock->narrow = narrow;
}

static int compare_ticks(const void *a, const void *b) {
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static int64_t median_step(const head_times *times) {
    size_t n = times->n - 1;
    for (size_t i = 0; i < n; i++)
        times->sorted[i] = times->tick[i + 1] - times->tick[i];
    qsort(times->sorted, n, sizeof *times->sorted, compare_ticks);
    return times->sorted[n / 2];
}

/* Steps that put every time of rows from..to within its rounding. */
static bool step_bounds(const head_times *times, size_t from, size_t to, double *least,
                        double *most) {
    *least = 0;
    *most = INFINITY;
    for (size_t i = from + 1; i <= to; i++) {
        double ticks = (double)(times->tick[i] - times->tick[from]);
        double room = times->width[i] + times->width[from], rows = (double)(i - from);
        *least = fmax(*least, (ticks - room) / rows);
        *most = fmin(*most, (ticks + room) / rows);
    }
    return *least <= *most;
}

/* The number with the fewest digits (at most 4) between two bounds; 0 none. */
static double simplest(double least, double most, int *digits) {
    double middle = least / 2 + most / 2;
    for (*digits = 1; *digits <= 4; ++*digits) {
        int e = (int)floor(log10(middle)) + 1 - *digits;
        double scale = pow(10.0, abs(e));
        double n = round(e < 0 ? middle * scale : middle / scale);
        double value = e < 0 ? n / scale : n * scale;
        if (value >= least && value <= most)
            return value;
    }
    return 0;
}

/* Takes a round step or a round rate where the bounds leave so little room
 * that it would hardly lie between them by chance; else their middle. */
static void settle_step(spw_table_clock *clock, double least, double most) {
    double tick_s = spw_table_tick_s(clock, 1.0);
    double room = (most - least) / (least + most);
    int step_digits, rate_digits;
    double step = simplest(least * tick_s, most * tick_s, &step_digits);
    double rate = simplest(1 / (most * tick_s), 1 / (least * tick_s), &rate_digits);
    clock->step = least / 2 + most / 2;
    clock->step_doubt = fmin(fmax(room, DRIFT_MIN), DRIFT_MAX);
    clock->rate_hz = 1 / (clock->step * tick_s);
    if (step > 0 && (rate == 0 || step_digits <= rate_digits) &&
        room <= pow(10, -step_digits - 1)) {
        clock->step = step / tick_s;
        clock->rate_hz = 1 / step;
        clock->snapped = true;
    } else if (rate > 0 && room <= pow(10, -rate_digits - 1)) {
        clock->step = 1 / (rate * tick_s);
        clock->rate_hz = rate;
        clock->snapped = true;
    }
    if (clock->snapped)
        clock->step_doubt = DRIFT_MIN;
}

/* Does the running check accept the head?
 *   strictly   without a fault; else a few are borne, of samples fewer: each cuts them */
static bool holds(spw_table_clock *clock, const head_times *times, bool strictly) {
    size_t gaps = 0, off = 0;
    spw_table_clock_rewind(clock);
    for (size_t i = 0; i < times->n; i++) {
        uint64_t missing;
        spw_table_step step =
            spw_table_clock_step(clock, times->tick[i], times->width[i], &missing);
        if (step == SPW_STEP_GOOD)
            continue;
        gaps += step == SPW_STEP_GAP;
        off += step != SPW_STEP_GAP;
        if (step != SPW_STEP_REPEAT)
            spw_table_clock_resume(clock, times->tick[i], times->width[i], missing);
    }
    if (strictly || times->n < 10)
        return gaps + off == 0;
    return off * (times->sampled ? 200 : 20) <= times->n && (gaps + off) * 10 <= times->n;
}

/* Times printed finely enough to tell each row from the next, or in steps of
 * always the same digits; doubtful when some other steps could be rounding. */
static bool fit_fine(spw_table_clock *clock, const head_times *times, int64_t usual,
                     bool *doubtful) {
    double step = (double)usual;
    size_t near = 0, wide = 0, from = 0, run_from = 0, run_to = 0;
    bool exact = true;
    *doubtful = false;
    for (size_t i = 1; i < times->n; i++) {
        double off = (double)(times->tick[i] - times->tick[i - 1]) - step;
        double room = fmin(times->width[i] + times->width[i - 1] + STRAY * step, LEAN * step);
        wide += times->width[i] >= LEAN * step;
        bool same = off == 0;
        *doubtful = *doubtful ||
                    (!same && fabs(off) <= times->width[i] + times->width[i - 1] + STRAY * step);
        if (same || (fabs(off) <= room && times->width[i] < LEAN * step)) {
            near++;
            exact = exact && same;
            if (i - from > run_to - run_from)
                run_from = from, run_to = i;
        } else {
            from = i;
        }
    }
    clock->exact = exact;
    if ((double)near < EVEN_SHARE * (double)(times->n - 1) || (!exact && wide * 10 > times->n))
        return false;
    double least, most;
    clock->step = step;
    clock->step_doubt = DRIFT_MIN;
    if (exact)
        clock->rate_hz = clock->second_exponent < 0 && clock->second_exponent >= -22
                             ? pow(10, -clock->second_exponent) / step
                             : 1 / spw_table_tick_s(clock, step);
    else if (step_bounds(times, run_from, run_to, &least, &most) && least > 0)
        settle_step(clock, least, most);
    else {
        clock->step =
            (double)(times->tick[run_to] - times->tick[run_from]) / (double)(run_to - run_from);
        clock->step_doubt = DRIFT_MAX;
        clock->rate_hz = 1 / spw_table_tick_s(clock, clock->step);
    }
    return holds(clock, times, false);
}

/* Times rounded wider than the step: only bounds from the whole head tell it. */
static bool fit_rounded(spw_table_clock *clock, const head_times *times) {
    double least, most;
    clock->exact = false;
    if (times->n < ROUNDED_ROWS_MIN || !step_bounds(times, 0, times->n - 1, &least, &most) ||
        !(least > 0))
        return false;
    clock->rebuilt = true;
    settle_step(clock, least, most);
    return (clock->snapped || (most - least) / (most + least) <= STEP_ROOM) &&
           holds(clock, times, true);
}

/* What instants of changes can be told apart: the last printed digit. */
static double last_digit_s(const spw_table_clock *clock, const head_times *times) {
    double width = INFINITY;
    for (size_t i = 0; i < times->n; i++)
        width = fmin(width, times->width[i]);
    return spw_table_tick_s(clock, fmax(2 * width, 1));
}

static bool counts_rows(const spw_table_probe *probe) {
    for (size_t i = 0; i < probe->rows; i++)
        if (probe->time[i].exponent != 0 || probe->time[i].negative ||
            probe->time[i].digits != probe->time[0].digits + i)
            return false;
    return probe->rows >= 16 && probe->time[0].digits <= 1;
}

/* Every row of a table of changes changes something; samples mostly repeat. */
static void decide(const spw_table_probe *probe, const head_times *times, spw_table_fit *fit) {
    spw_table_clock *clock = &fit->clock;
    int64_t usual = fit->usual_step = median_step(times);
    double changing = spw_table_probe_changing(probe);
    bool doubtful = false, samples = !(changing >= 0.9);
    spw_table_clock fine = *clock, rounded = *clock;
    fine.kind = rounded.kind = SPW_CLOCK_EVEN;
    bool even = samples && times->n >= 3 && usual > 0 && fit_fine(&fine, times, usual, &doubtful);
    bool wide = false;
    for (size_t i = 0; i < times->n; i++)
        wide = wide || times->width[i] >= LEAN * (double)usual;
    if (samples && wide && (!even || (fine.exact && doubtful)) && fit_rounded(&rounded, times)) {
        even = true;
        *clock = rounded;
    } else if (even) {
        *clock = fine;
    }
    if (even) {
        clock->resolution_s = spw_table_tick_s(clock, clock->step);
        return;
    }
    fit->rounded =
        times->n >= 3 && spw_table_probe_idle_repeats(probe, times->tick, times->n) * 10 > times->n;
    clock->sampled = fit->uneven_samples =
        usual > 0 && (changing < 0.5 || spw_table_probe_sampled(probe));
    if (clock->sampled) /* a change is up to a step before its row: the longer ones count */
        clock->resolution_s = spw_table_tick_s(
            clock, (double)times->sorted[(size_t)(USUAL_STEPS * (double)(times->n - 2))]);
    else
        clock->resolution_s = last_digit_s(clock, times);
}

spw_status spw_table_fit_clock(const spw_table_layout *layout, const spw_table_probe *probe,
                               spw_table_fit *fit, spw_error *error) {
    head_times times = {0};
    *fit = (spw_table_fit){.clock.resolution_s = NAN};
    fit->clock.place = choose_place(probe);
    fit->clock.second_exponent = fit->clock.place + layout->time_exponent;
    times.tick = calloc(probe->rows, sizeof *times.tick);
    times.width = calloc(probe->rows, sizeof *times.width);
    times.sorted = calloc(probe->rows, sizeof *times.sorted);
    for (size_t c = 0; c < probe->channels; c++)
        times.sampled = times.sampled || layout->column[probe->column[c]].role == SPW_ROLE_SAMPLES;
    spw_status status = SPW_OK;
    if (times.tick == NULL || times.width == NULL || times.sorted == NULL)
        status = spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    else
        take_times(probe, fit, &times);
    double tick_s = spw_table_tick_s(&fit->clock, 1.0);
    if (status == SPW_OK && !(tick_s >= 1e-30 && tick_s <= 1e12))
        status = spw_error_at(error, SPW_ERR_LIMIT, layout->data_line, SPW_NOWHERE,
                              "the times are far too small or far too large for a recording; "
                              "name their unit with --time-unit s, ms, us or ns, or give the rows "
                              "a second with --rate HZ");
    if (status == SPW_OK && times.n >= 2)
        decide(probe, &times, fit);
    fit->rows = times.n;
    fit->counts = counts_rows(probe);
    spw_table_clock_rewind(&fit->clock);
    free_times(&times);
    return status;
}
