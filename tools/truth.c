/* truth: what the command says of logic captures whose truth is known.
 *
 *   build/tools/truth                  every kind of capture, 300 of each
 *   build/tools/truth --captures 20    so many of each
 *   build/tools/truth --only NAME      one kind (see the first column)
 *   build/tools/truth --keep FOLDER    keeps captures about which something wrong was said
 * --program FILE (build/spanwright), --seed N, --jobs N (2).
 *
 * Each capture holds a low end, a neutral, a high end and the low end again, and is read by
 * `measure` and by `plan` with expected ends at which the truth lies on the very limit of
 * meeting them. Of each kind is printed:
 *   holds     true holds that were found, %
 *   cover     holds whose U95 covers the level sent, %; +said counts those with a warning, a
 *             doubt, a wander or a slow swing told too
 *   ends, frame   the same of the span's ends and of the frame period
 *   firm      firm verdicts at the limit that are wrong, %: 2.5 are promised
 *   events    captures with an event that is none; then captures with fewer than are true
 *   extra     holds that are none
 *   wrong     figures off by more than three times U95, without a word
 * Limits, each within three standard deviations of its binomial: cover 93 to 98 % (or said; rows
 * marked + may be more), firm 2.5 %, extra 0.5 % of the holds, no false event, no wrong figure.
 * Rows marked ~ have no level that stays: there all that misses must say so. The status is 1
 * where a limit is exceeded. */
#include "sim/line.h"

#include <getopt.h>
#include <jansson.h>
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* What a row promises beside the usual. */
typedef enum expectation {
    USUAL,
    WIDE,   /* may cover more: where the phase of a grid stays unknown its whole step counts */
    WANDERS /* has no level that stays: every figure that misses says that it wanders */
} expectation;

typedef struct row {
    sim_line_spec line;
    expectation expect;
} row;

static const row rows[] = {
    {{.name = "40ns-sd0.5", .file = SIM_VCD_NS, .grid_us = 0.04, .sd_us = 0.5}, USUAL},
    {{.name = "40ns-still", .file = SIM_VCD_NS, .grid_us = 0.04}, WIDE},
    {{.name = "24MHz-sd0.3", .file = SIM_VCD_PS, .grid_us = 1 / 24.0, .sd_us = 0.3}, USUAL},
    {{.name = "24MHz-in-ns", .file = SIM_VCD_NS, .grid_us = 1 / 24.0, .sd_us = 0.3}, USUAL},
    {{.name = "0.1us-csv", .file = SIM_CSV_CHANGES, .grid_us = 0.1, .sd_us = 1}, USUAL},
    {{.name = "0.5us-tsv", .file = SIM_TSV_CHANGES, .grid_us = 0.5, .sd_us = 1}, USUAL},
    {{.name = "1us-still", .file = SIM_VCD_NS, .grid_us = 1}, WIDE},
    {{.name = "1us-sd0.4", .file = SIM_VCD_NS, .grid_us = 1, .sd_us = 0.4}, WIDE},
    {{.name = "1us-unit-us", .file = SIM_VCD_US, .grid_us = 1, .sd_us = 3}, USUAL},
    {{.name = "1us-laplace5", .file = SIM_VCD_NS, .grid_us = 1, .sd_us = 5, .motion = SIM_HEAVY},
     USUAL},
    {{.name = "2us-sd1", .file = SIM_VCD_NS, .grid_us = 2, .sd_us = 1}, WIDE},
    {{.name = "4us-still", .file = SIM_VCD_NS, .grid_us = 4}, WIDE},
    {{.name = "4us-sd2", .file = SIM_VCD_NS, .grid_us = 4, .sd_us = 2}, WIDE},
    {{.name = "10us-csv-still", .file = SIM_CSV_CHANGES, .grid_us = 10}, WIDE},
    {{.name = "10us-csv-sd10", .file = SIM_CSV_CHANGES, .grid_us = 10, .sd_us = 10}, WIDE},
    {{.name = "20us-sd5", .file = SIM_VCD_NS, .grid_us = 20, .sd_us = 5}, WIDE},
    {{.name = "20us-samples",
      .file = SIM_CSV_SAMPLES,
      .grid_us = 20,
      .sd_us = 5,
      .hold_frames = 30},
     WIDE},
    {{.name = "locked-sd0.4", .file = SIM_VCD_NS, .grid_us = 1, .locked = true, .sd_us = 0.4},
     WIDE},
    {{.name = "locked-sd1", .file = SIM_VCD_NS, .grid_us = 1, .locked = true, .sd_us = 1}, WIDE},
    {{.name = "locked-half",
      .file = SIM_VCD_NS,
      .grid_us = 1,
      .frame_us = 20000.5,
      .locked = true,
      .sd_us = 0.6},
     WIDE},
    {{.name = "locked-3ppm",
      .file = SIM_VCD_NS,
      .grid_us = 1,
      .locked = true,
      .tie_ppm = 3,
      .sd_us = 0.4},
     WIDE},
    {{.name = "locked-0.3ppm",
      .file = SIM_VCD_NS,
      .grid_us = 1,
      .locked = true,
      .tie_ppm = 0.3,
      .sd_us = 3},
     WIDE},
    {{.name = "locked-30ppm",
      .file = SIM_VCD_NS,
      .grid_us = 1,
      .locked = true,
      .tie_ppm = 30,
      .sd_us = 0.6},
     WIDE},
    {{.name = "locked-60Hz",
      .file = SIM_VCD_NS,
      .grid_us = 1,
      .frame_us = 50000 / 3.0,
      .locked = true,
      .sd_us = 0.6},
     WIDE},
    {{.name = "locked-10us", .file = SIM_VCD_NS, .grid_us = 10, .locked = true, .sd_us = 6}, WIDE},
    {{.name = "ar0.5",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 2,
      .motion = SIM_CORRELATED,
      .phi = 0.5},
     USUAL},
    {{.name = "ar0.8",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 2,
      .motion = SIM_CORRELATED,
      .phi = 0.8,
      .hold_frames = 150},
     USUAL},
    {{.name = "ar0.95",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 2,
      .motion = SIM_CORRELATED,
      .phi = 0.95,
      .hold_frames = 150},
     USUAL},
    {{.name = "one-over-f",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 2,
      .motion = SIM_ONE_OVER_F,
      .hold_frames = 150},
     USUAL},
    {{.name = "walk",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 3,
      .motion = SIM_WALK,
      .hold_frames = 150},
     WANDERS},
    {{.name = "slow-sine",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 5,
      .motion = SIM_SINE,
      .hold_frames = 150},
     WANDERS},
    {{.name = "two-values",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 2,
      .motion = SIM_TWO_VALUES},
     USUAL},
    {{.name = "dithered-8us", .file = SIM_VCD_NS, .grid_us = 0.1, .step_us = 8, .dither_us = 6},
     USUAL},
    {{.name = "step-4.88us",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .step_us = 20000 / 4096.0,
      .sd_us = 0.2},
     USUAL},
    {{.name = "software-20us",
      .file = SIM_CSV_CHANGES,
      .grid_us = 0.1,
      .sd_us = 20,
      .motion = SIM_HEAVY,
      .lead_sd_us = 30},
     USUAL},
    {{.name = "drift-2.5us/s",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 0.3,
      .drift_us_per_s = 2.5,
      .hold_frames = 150},
     USUAL},
    {{.name = "drift-50us/s",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 5,
      .drift_us_per_s = 50,
      .hold_frames = 150},
     USUAL},
    {{.name = "regimes-3ms",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 1,
      .other_frame_us = 3000},
     USUAL},
    {{.name = "odd-1/s",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .sd_us = 1,
      .odd_every = 50,
      .odd_run = 1,
      .hold_frames = 90},
     USUAL},
    {{.name = "odd-run3",
      .file = SIM_CSV_CHANGES,
      .grid_us = 1,
      .sd_us = 2,
      .odd_every = 70,
      .odd_run = 3,
      .hold_frames = 100},
     USUAL},
    {{.name = "missing-2%", .file = SIM_VCD_NS, .grid_us = 0.1, .sd_us = 1, .missing_every = 50},
     USUAL},
    {{.name = "joined", .file = SIM_VCD_NS, .grid_us = 0.1, .sd_us = 1, .joined_every = 100},
     USUAL},
    {{.name = "runts", .file = SIM_VCD_NS, .grid_us = 0.1, .sd_us = 1, .runt_every = 40}, USUAL},
    {{.name = "inverted", .file = SIM_CSV_CHANGES, .grid_us = 0.1, .sd_us = 1, .negative = true},
     USUAL},
    {{.name = "333Hz",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .frame_us = 3003,
      .sd_us = 0.5,
      .hold_frames = 300},
     USUAL},
    {{.name = "560Hz",
      .file = SIM_VCD_NS,
      .grid_us = 0.1,
      .frame_us = 1785,
      .sd_us = 0.5,
      .low_us = 600,
      .high_us = 1000,
      .hold_frames = 400},
     USUAL},
};
enum { ROWS = sizeof rows / sizeof rows[0] };

typedef struct share {
    size_t n, yes, said; /* said: yes, or a word of it */
} share;

typedef struct tally {
    share found, cover, ends, frame;
    size_t verdicts, firm_wrong, captures, refused, false_event, unsaid_event, extra, wrong,
        told_moves;
} tally;

typedef struct settings {
    const char *program, *keep;
    char folder[64];
    size_t captures;
    uint64_t seed;
} settings;

typedef struct job {
    const settings *with;
    const row *row;
    pthread_mutex_t lock;
    atomic_size_t next;
    tally tally;
    bool failed;
} job;

/* --- asking the command --- */

static json_t *ask(const char *command) {
    FILE *answer = popen(command, "r");
    if (answer == NULL)
        return NULL;
    json_t *root = json_loadf(answer, 0, NULL);
    pclose(answer);
    return root;
}

static double number(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static bool has_any(const json_t *object, const char *key) {
    return json_array_size(json_object_get(object, key)) > 0;
}

static size_t events_of(const json_t *channel, const char *kind) {
    size_t i, sum = 0;
    json_t *event;
    json_array_foreach(json_object_get(channel, "events"), i, event) {
        if (strcmp(json_string_value(json_object_get(event, "kind")), kind) == 0)
            sum += (size_t)number(event, "count");
    }
    return sum;
}

/* --- judging --- */

static void count(share *s, bool yes, bool said) {
    s->n++;
    s->yes += yes;
    s->said += yes || said;
}

/* A figure against the truth; NAN figures count as not there. */
static void figure(tally *t, share *s, double value, double U95, double truth, bool said) {
    if (isnan(value))
        return;
    double off = fabs(value - truth);
    count(s, off <= U95, said);
    t->wrong += !(off <= 3 * U95) && !said;
}

static const json_t *hold_in(const json_t *holds, const sim_line_hold *truth) {
    const json_t *best = NULL;
    double most = 0.5 * (truth->end_s - truth->start_s);
    size_t i;
    json_t *hold;
    json_array_foreach(holds, i, hold) {
        double shared = fmin(number(hold, "end_s"), truth->end_s) -
                        fmax(number(hold, "start_s"), truth->start_s);
        if (shared > most) {
            most = shared;
            best = hold;
        }
    }
    return best;
}

static bool hold_says(const json_t *hold) {
    return json_is_true(json_object_get(hold, "in_doubt")) || number(hold, "wander_us") > 0 ||
           json_is_number(json_object_get(hold, "drift_us_per_s"));
}

static void judge_holds(tally *t, const json_t *channel, const sim_line_truth *truth, bool said) {
    const json_t *holds = json_object_get(channel, "holds");
    size_t matched = 0;
    for (size_t i = 0; i < truth->holds; i++) {
        const sim_line_hold *h = &truth->hold[i];
        const json_t *hold = hold_in(holds, h);
        if (h->slope_us_per_s != 0) /* told with its slope it is no false hold */
            matched += hold != NULL && fabs(number(hold, "drift_us_per_s") - h->slope_us_per_s) <
                                           0.2 * fabs(h->slope_us_per_s);
        if (h->slope_us_per_s != 0)
            continue;
        count(&t->found, hold != NULL, said);
        matched += hold != NULL;
        const json_t *width = json_object_get(hold, "width_us");
        if (hold != NULL)
            figure(t, &t->cover, number(width, "mean"), number(width, "U95"), h->us,
                   said || hold_says(hold));
    }
    t->extra += json_array_size(holds) - matched;
}

static void judge_events(tally *t, const json_t *channel, const sim_line_truth *truth) {
    const struct {
        const char *kind;
        size_t least, most;
    } expected[] = {
        {"missing_frames", truth->missing, truth->missing},
        {"short_frame", 0, 0},
        {"samples_lost", 0, 0},
        {"runt_pulse", truth->runts, truth->runts},
        {"long_pulse", 0, truth->joined},
        {"joined_pulse", 0, truth->joined},
        {"odd_width", truth->odd, truth->odd},
        {"cut_pulse", 0, 0},
        {"unknown_level", 0, 0},
        {"signal_lost", 0, 0},
    };
    bool more = false, fewer = false;
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        size_t said = events_of(channel, expected[i].kind);
        more |= said > expected[i].most;
        fewer |= said < expected[i].least;
    }
    fewer |= events_of(channel, "joined_pulse") + events_of(channel, "long_pulse") < truth->joined;
    t->false_event += more;
    t->unsaid_event += fewer;
}

/* A swing slower than a second is a word about where the level will be. */
static bool swings_slowly(const json_t *channel) {
    return number(json_object_get(channel, "width_line"), "frequency_hz") < 1;
}

static bool any_hold_says(const json_t *channel) {
    size_t i;
    json_t *hold;
    json_array_foreach(json_object_get(channel, "holds"), i, hold) {
        if (hold_says(hold))
            return true;
    }
    return false;
}

static bool judge_measure(tally *t, const json_t *root, const sim_line_truth *truth) {
    const json_t *capture = json_array_get(json_object_get(root, "captures"), 0);
    const json_t *channel = json_array_get(json_object_get(capture, "channels"), 0);
    const char *signal = json_string_value(json_object_get(channel, "signal"));
    if (signal == NULL || strcmp(signal, "control_pulses") != 0) {
        t->refused++;
        return false;
    }
    bool said = has_any(channel, "warnings") || has_any(channel, "doubt") || swings_slowly(channel);
    judge_holds(t, channel, truth, said);
    judge_events(t, channel, truth);
    const json_t *period = json_object_get(channel, "period_us");
    figure(t, &t->frame, number(period, "mean"), number(period, "U95"), truth->period_us, said);
    const json_t *span = json_object_get(channel, "span_us");
    said |= any_hold_says(channel);
    figure(t, &t->ends, number(span, "low"), number(span, "low_U95"), truth->low_us, said);
    figure(t, &t->ends, number(span, "high"), number(span, "high_U95"), truth->high_us, said);
    return true;
}

/* The truth lies on the limit, by a hair inside (short is wrong) or outside (meets is). */
static void judge_verdict(tally *t, const json_t *plan, bool outside) {
    const json_t *ends = json_object_get(plan, "ends");
    const char *wrong = outside ? "meets" : "short", *end[] = {"low", "high"};
    for (size_t i = 0; i < 2; i++) {
        const char *said = json_string_value(json_object_get(ends, end[i]));
        t->verdicts += said != NULL;
        t->firm_wrong += said != NULL && (strcmp(said, wrong) == 0 || strcmp(said, "beyond") == 0);
    }
}

/* --- running --- */

static const char *ending(sim_file file) {
    return file == SIM_TSV_CHANGES ? "tsv" : file >= SIM_CSV_CHANGES ? "csv" : "vcd";
}

static void add(tally *to, const tally *t) {
    const size_t *from = (const size_t *)t;
    size_t *sum = (size_t *)to;
    for (size_t i = 0; i < sizeof *t / sizeof(size_t); i++)
        sum[i] += from[i];
}

static bool is_bad(const tally *t) {
    return t->wrong > 0 || t->refused > 0 || t->false_event > 0 || t->unsaid_event > 0 ||
           t->extra > 0;
}

/* Another one for each kind and capture. */
static uint64_t seed_of(const job *j, size_t i) {
    return j->with->seed * UINT64_C(1000003) + (uint64_t)(j->row - rows) * 65537 + i;
}

static bool one(const job *j, size_t i, tally *t) {
    const settings *with = j->with;
    char path[160], command[640];
    sim_line_spec spec = j->row->line;
    if (!(spec.frame_us > 0))
        spec.frame_us = 20003.7; /* a common inexact 20 ms */
    if (spec.locked && spec.frame_us == 20003.7)
        spec.frame_us = 20000;
    sim_line_truth truth;
    snprintf(path, sizeof path, "%s/c%zu.%s", with->folder, i, ending(spec.file));
    FILE *file = fopen(path, "w");
    bool good = file != NULL && sim_line_write(&spec, seed_of(j, i), file, &truth);
    if (file != NULL)
        good = fclose(file) == 0 && good;
    snprintf(command, sizeof command, "'%s' measure --quiet --json '%s'", with->program, path);
    json_t *measured = good ? ask(command) : NULL;
    bool outside = i % 2 == 0;
    double hair = outside ? 10.000001 : 9.999999;
    snprintf(command, sizeof command, "'%s' plan --quiet --json --expect %.6f:%.6f '%s'",
             with->program, truth.low_us - hair, truth.high_us + hair, path);
    json_t *planned = good ? ask(command) : NULL;
    good = measured != NULL && planned != NULL;
    t->captures++;
    if (good && judge_measure(t, measured, &truth))
        judge_verdict(t, planned, outside);
    json_decref(measured);
    json_decref(planned);
    char kept[256];
    snprintf(kept, sizeof kept, "%s/%s-%zu.%s", with->keep != NULL ? with->keep : "", spec.name, i,
             ending(spec.file));
    for (char *c = kept + strlen(kept) - strlen(spec.name); *c != '\0'; c++)
        *c = *c == '/' ? '-' : *c;
    if (with->keep == NULL || !is_bad(t) || rename(path, kept) != 0)
        (void)unlink(path);
    return good;
}

static void *work(void *context) {
    job *j = context;
    for (size_t i; (i = atomic_fetch_add(&j->next, 1)) < j->with->captures;) {
        tally t = {0};
        bool good = one(j, i, &t);
        pthread_mutex_lock(&j->lock);
        add(&j->tally, &t);
        j->failed |= !good;
        pthread_mutex_unlock(&j->lock);
    }
    return NULL;
}

/* --- the table --- */

static double percent(size_t part, size_t whole) {
    return whole > 0 ? 100 * (double)part / (double)whole : (double)NAN;
}

/* Three standard deviations of a share p seen in n. */
static double play(double p, size_t n) {
    return n > 0 ? 3 * sqrt(p * (1 - p) / (double)n) : 1;
}

static bool covers(const share *s, bool wide) {
    if (s->n == 0)
        return true;
    double said = (double)s->said / (double)s->n, yes = (double)s->yes / (double)s->n;
    return said >= 0.93 - play(0.93, s->n) && (wide || yes <= 0.98 + play(0.98, s->n));
}

/* At most so many of n, within the play of such a share. */
static bool few(size_t seen, double most, size_t n) {
    return n == 0 || (double)seen / (double)n <= most + play(most, n);
}

static bool verdict(const row *r, const tally *t) {
    bool figures = covers(&t->cover, r->expect != USUAL) && covers(&t->ends, true) &&
                   covers(&t->frame, true) && t->wrong == 0 && t->refused == 0;
    bool events = t->false_event == 0 && t->unsaid_event == 0;
    if (r->expect == WANDERS)
        return figures && events;
    return figures && events && covers(&t->found, true) && few(t->extra, 0.005, t->found.n) &&
           few(t->firm_wrong, 0.025, t->verdicts);
}

static void print_row(const row *r, const tally *t, bool good) {
    printf("%-15s%c %5.1f | %5.1f %5.1f | %5.1f %5.1f | %5.1f %5.1f | %4.1f | %4zu %4zu | %4zu | "
           "%4zu %4zu | %s\n",
           r->line.name, " +~"[r->expect], percent(t->found.yes, t->found.n),
           percent(t->cover.yes, t->cover.n), percent(t->cover.said, t->cover.n),
           percent(t->ends.yes, t->ends.n), percent(t->ends.said, t->ends.n),
           percent(t->frame.yes, t->frame.n), percent(t->frame.said, t->frame.n),
           percent(t->firm_wrong, t->verdicts), t -> false_event, t -> unsaid_event, t -> extra,
           t -> wrong, t -> refused, good ? "ok" : "LIMIT");
    (void)fflush(stdout);
}

static bool run_row(const settings *with, const row *r, size_t jobs, bool *limits) {
    job j = {.with = with, .row = r};
    pthread_t thread[16];
    size_t started = 0;
    if (pthread_mutex_init(&j.lock, NULL) != 0)
        return false;
    atomic_init(&j.next, 0);
    while (started + 1 < jobs && started < 16 &&
           pthread_create(&thread[started], NULL, work, &j) == 0)
        started++;
    (void)work(&j);
    for (size_t i = 0; i < started; i++)
        (void)pthread_join(thread[i], NULL);
    pthread_mutex_destroy(&j.lock);
    bool good = verdict(r, &j.tally);
    print_row(r, &j.tally, good);
    *limits &= good;
    if (j.failed)
        fprintf(stderr, "truth: %s: a capture could not be written or got no answer\n",
                r->line.name);
    return !j.failed;
}

int main(int argc, char **argv) {
    settings with = {.program = "build/spanwright", .captures = 300, .seed = 1};
    const char *only = NULL;
    size_t jobs = 2;
    static const struct option options[] = {{"captures", required_argument, NULL, 'c'},
                                            {"only", required_argument, NULL, 'o'},
                                            {"keep", required_argument, NULL, 'k'},
                                            {"program", required_argument, NULL, 'p'},
                                            {"seed", required_argument, NULL, 's'},
                                            {"jobs", required_argument, NULL, 'j'},
                                            {NULL, 0, NULL, 0}};
    for (int c; (c = getopt_long(argc, argv, "", options, NULL)) != -1;) {
        switch (c) {
        case 'c':
            with.captures = strtoul(optarg, NULL, 10);
            break;
        case 'o':
            only = optarg;
            break;
        case 'k':
            with.keep = optarg;
            break;
        case 'p':
            with.program = optarg;
            break;
        case 's':
            with.seed = strtoul(optarg, NULL, 10);
            break;
        case 'j':
            jobs = strtoul(optarg, NULL, 10);
            break;
        default:
            return 2;
        }
    }
    snprintf(with.folder, sizeof with.folder, "/tmp/spw-truth.XXXXXX");
    if (mkdtemp(with.folder) == NULL) {
        perror("truth: a folder for the captures");
        return 2;
    }
    printf("truth: %zu captures a kind, seed %llu\n", with.captures, (unsigned long long)with.seed);
    puts("kind             holds | cover +said | ends  +said | frame +said | firm | events    | "
         "extra| wrong refused");
    bool good = true, limits = true;
    size_t run = 0;
    for (size_t i = 0; i < ROWS && good; i++) {
        if (only != NULL && strcmp(only, rows[i].line.name) != 0)
            continue;
        run++;
        good = run_row(&with, &rows[i], jobs, &limits);
    }
    (void)rmdir(with.folder);
    if (run == 0) {
        fprintf(stderr, "truth: no kind of that name\n");
        return 2;
    }
    return !good ? 2 : limits ? 0 : 1;
}
