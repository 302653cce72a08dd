/* What a capture shows, for people. */
#include "spanwright/report.h"

#include "report/fields/fields.h"
#include "report/text/ruler.h"
#include "report/words/words.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_HOLDS 12
#define MOST_MOVES 6
#define MOST_OTHERS 24
#define NAME_COLUMNS 20

/* Everything a channel's rows need. */
typedef struct context {
    const spw_page *page;
    const spw_capture *capture;
    const spw_bench *bench;
} context;

static bool is_pulses(const spw_channel *channel) {
    return spw_signal_has_pulses(channel->signal);
}

static void put_ruler(const context *c, const spw_span *span, double covered) {
    const spw_servo *servo = &c->bench->servo;
    spw_figure percent = spw_figure_unit(covered, 1, "%");
    spw_ruler_row rows[2] = {
        {"servo", servo->expected_low_us, servo->expected_high_us, NAN, '=', "expected"},
        {"sent", span->low.us, span->high.us, span->neutral.us, '-', percent.text},
    };
    spw_text_puts(c->page->out, "\n");
    spw_ruler_draw(c->page->out, rows, 2, c->page->width);
}

static spw_figure cell(double value) {
    spw_figure dash = {"-"};
    return isfinite(value) ? spw_figure_digits(value, 2, "") : dash;
}

static void put_holds(const context *c, const spw_channel *channel) {
    bool doubted = false, wanders = false;
    if (channel->holds == 0)
        return;
    spw_text_puts(c->page->out, "\n");
    spw_page_line(c->page, "  %-6s%10s %10s %8s  %20s %8s %9s", "Holds", "from s", "to s", "frames",
                  "width us", "sd us", "us/s");
    for (size_t i = 0; i < channel->holds && i < MOST_HOLDS; i++) {
        const spw_hold *hold = &channel->hold[i];
        spw_figure width = spw_figure_pm(hold->width_us.mean, hold->width_us.U95, "");
        int lost = (int)(strlen(width.text) - spw_page_columns(width.text));
        doubted |= hold->doubts != 0;
        wanders |= hold->budget.wander_us > 0;
        spw_page_line(c->page, "  %-6zu%10s %10s %8zu  %*s %8s %9s%s%s", i + 1,
                      spw_figure_fixed(hold->start_s, 3).text,
                      spw_figure_fixed(hold->end_s, 3).text, hold->pulses, 20 + lost, width.text,
                      cell(hold->width_us.sd).text, cell(hold->drift_us_per_s).text,
                      hold->budget.wander_us > 0 ? " ~" : "", hold->doubts != 0 ? " *" : "");
    }
    if (wanders)
        spw_page_line(c->page, "  ~ wanders: ± is of where its level will be, not of its mean");
    if (doubted)
        spw_page_line(c->page, "  * in doubt: off by more than its ± (see Trusted)");
    if (channel->holds > MOST_HOLDS)
        spw_page_line(c->page, "  and %zu more (--json lists them all)",
                      channel->holds - MOST_HOLDS);
}

/* A stick moves faster; this is what warms up, runs down or is played by a program. */
static const double SLOW_US_PER_S = 100;

static void put_moves(const context *c, const spw_channel *channel) {
    size_t said = 0, slow = 0;
    for (size_t i = 0; i < channel->moves; i++) {
        const spw_move *move = &channel->move[i];
        if (fabs(move->slope_us_per_s) > SLOW_US_PER_S || slow++ >= MOST_MOVES)
            continue;
        if (said++ == 0)
            spw_text_puts(c->page->out, "\n");
        spw_page_row(
            c->page, said == 1 ? "Moves" : "",
            "at %s from %s to %s, from %s to %s; no hold, and in no span",
            spw_figure_digits(move->slope_us_per_s, 3, "us/s").text,
            spw_figure_fixed(move->start_s, 1).text, spw_figure_unit(move->end_s, 1, "s").text,
            spw_figure_fixed(move->from_us, 1).text, spw_figure_unit(move->to_us, 1, "us").text);
    }
    if (slow > said)
        spw_page_line(c->page, "  and %zu more (--json lists them all)", slow - said);
}

static void put_width(const context *c, const spw_channel *channel) {
    const spw_summary *width = &channel->width_us;
    if (isfinite(width->U95))
        spw_page_row(c->page, "Width", "%s, one hold",
                     spw_figure_pm(width->mean, width->U95, "us").text);
    else
        spw_page_row(c->page, "Width", "from %s to %s, median %s",
                     spw_figure_unit(width->min, 2, "").text,
                     spw_figure_unit(width->max, 2, "us").text,
                     spw_figure_unit(width->median, 2, "us").text);
}

/* Software-timed pulses show in one edge's scatter; hum in a line of the spectrum. */
static void put_steadiness(const context *c, const spw_channel *channel) {
    if (isfinite(channel->lead_jitter_us) && isfinite(channel->trail_jitter_us))
        spw_page_row(c->page, "Edge jitter", "lead edges %s rms, trail edges %s rms",
                     spw_figure_digits(channel->lead_jitter_us, 2, "us").text,
                     spw_figure_digits(channel->trail_jitter_us, 2, "us").text);
    if (channel->line_p < 0.01)
        spw_page_row(c->page, "Width swings", "by %s at %s (p = %s)",
                     spw_figure_digits(channel->line_amplitude_us, 2, "us").text,
                     spw_figure_digits(channel->line_hz, 3, "Hz").text,
                     spw_figure_digits(channel->line_p, 1, "").text);
}

static void put_widths(const context *c, const spw_channel *channel, const spw_span *span) {
    spw_describe_frame(c->page, channel);
    if (span->known) {
        const spw_servo *servo = &c->bench->servo;
        double covered = spw_covered_percent(servo, span->low.us, span->high.us);
        spw_describe_ends(c->page, span);
        spw_page_row(c->page, "Covers", "%s of the expected %s to %s",
                     spw_figure_unit(covered, 1, "%").text,
                     spw_figure_plain(servo->expected_low_us, 6, "").text,
                     spw_figure_plain(servo->expected_high_us, 6, "us").text);
        spw_describe_step(c->page, span);
        put_steadiness(c, channel);
        put_ruler(c, span, covered);
    } else {
        put_width(c, channel);
        spw_page_row(c->page, "Span", "not known: %s", span->reason);
        spw_describe_step(c->page, span);
        put_steadiness(c, channel);
    }
    put_holds(c, channel);
    put_moves(c, channel);
}

static void put_signal(const context *c, const spw_channel *channel, const spw_span *span) {
    spw_clock clock = spw_clock_check(span, &channel->period_us, &c->bench->controller);
    spw_text_puts(c->page->out, "\n");
    spw_describe_clock(c->page, &clock);
    spw_describe_polarity(c->page, channel);
    spw_describe_stretches(c->page, c->capture, channel);
    spw_describe_events(c->page, c->capture, channel);
}

static void put_channel(const context *c, const spw_channel *channel, spw_span *span) {
    if (spw_span_build(&channel, 1, c->bench->servo.neutral_us, span) != SPW_OK) {
        c->page->out->failed = true;
        return;
    }
    spw_text_puts(c->page->out, "\n");
    spw_page_title(c->page, "Channel %s: %s", spw_shown_name(channel->name, 200).text,
                   channel->signal == SPW_SIGNAL_WIDTHS
                       ? "pulse widths that another instrument read"
                       : "looks like control pulses");
    for (size_t i = 0; i < channel->warnings.n; i++)
        spw_page_warn(c->page, "%s", channel->warnings.text[i]);
    spw_describe_measured(c->page, c->capture, channel);
    spw_text_puts(c->page->out, "\n");
    put_widths(c, channel, span);
    put_signal(c, channel, span);
}

/* Channels without control pulses: a line each, and their reason. */
static void put_others(const context *c) {
    size_t listed = 0;
    for (size_t i = 0; i < c->capture->channels; i++) {
        const spw_channel *channel = &c->capture->channel[i];
        if (is_pulses(channel))
            continue;
        if (listed++ == 0)
            spw_page_section(c->page, "Without control pulses");
        if (listed > MOST_OTHERS)
            continue;
        spw_page_row(c->page, spw_shown_name(channel->name, NAME_COLUMNS).text, "%s%s%s",
                     channel->signal == SPW_SIGNAL_IDLE     ? "idle"
                     : channel->signal == SPW_SIGNAL_VARIES ? "varies"
                                                            : "something else",
                     channel->reason != NULL ? ": " : "",
                     channel->reason != NULL ? channel->reason : "");
        for (size_t k = 0; k < channel->warnings.n; k++)
            spw_page_warn(c->page, "%s", channel->warnings.text[k]);
    }
    if (listed > MOST_OTHERS)
        spw_page_line(c->page, "  and %zu more (--json lists them all)", listed - MOST_OTHERS);
}

/* Several channels with control pulses side by side. */
static void put_overview(const context *c, const spw_span *spans, size_t n) {
    if (n < 2)
        return;
    spw_page_section(c->page, "Side by side");
    spw_page_line(c->page, "  %-20s %10s %10s %10s %10s %8s", "channel", "frame us", "low us",
                  "neutral us", "high us", "covered");
    for (size_t i = 0, k = 0; i < c->capture->channels; i++) {
        const spw_channel *channel = &c->capture->channel[i];
        if (!is_pulses(channel))
            continue;
        const spw_span *span = &spans[k++];
        spw_shown name = spw_shown_name(channel->name, NAME_COLUMNS);
        int lost = (int)(strlen(name.text) - spw_page_columns(name.text));
        double covered =
            span->known ? spw_covered_percent(&c->bench->servo, span->low.us, span->high.us) : NAN;
        spw_page_line(c->page, "  %-*s %10s %10s %10s %10s %8s", 20 + lost, name.text,
                      spw_figure_known(channel->period_us.mean, channel->period_us.U95, "").text,
                      spw_figure_fixed(span->known ? span->low.us : NAN, 2).text,
                      spw_figure_fixed(span->known ? span->neutral.us : NAN, 2).text,
                      spw_figure_fixed(span->known ? span->high.us : NAN, 2).text,
                      spw_figure_fixed(covered, 1).text);
    }
}

/* A name that a shell takes as it is; else a word that stands for it. */
static const char *shell_word(const char *name, const char *otherwise) {
    static const char plain[] =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._/-";
    size_t length = name[0] != '-' ? strspn(name, plain) : 0;
    return length > 0 && length < 120 && name[length] == '\0' ? name : otherwise;
}

/* The command that comes next, on a line of its own to be copied. */
static void put_plan_command(const context *c, size_t step, const spw_channel *channel, size_t n) {
    char rate[96] = "";
    if (c->capture->rate_hz > 0)
        (void)snprintf(rate, sizeof rate, " --rate %s",
                       spw_figure_plain(c->capture->rate_hz, 12, "").text);
    spw_page_step(c->page, step,
                  "See what this means for the servo (with the options used here, "
                  "and --bench FILE for what you know of it):");
    spw_page_line(c->page, "     spanwright plan%s%s%s %s", rate, n > 1 ? " --channel " : "",
                  n > 1 ? shell_word(channel->name, "NAME") : "",
                  shell_word(c->capture->file, "CAPTURE"));
}

/* The cure of a doubt without a bound: a plan would ask for the same. */
static void put_cure(const context *c, const spw_span *span, size_t *step) {
    spw_doubt doubt = span->known ? span->low.doubt : span->doubt;
    if (span->known)
        spw_doubt_join(&doubt, &span->high.doubt);
    if (isinf(spw_doubt_reach_us(&doubt)))
        spw_page_step(c->page, (*step)++, "%s.", spw_doubt_cure(doubt.what));
}

static void put_next(const context *c, const spw_span *spans, size_t n) {
    size_t step = 1;
    bool known = false;
    const spw_channel *first = NULL;
    spw_page_section(c->page, "What to do next");
    if (n == 0) {
        for (size_t i = 0; i < c->capture->channels; i++)
            if (c->capture->channel[i].signal == SPW_SIGNAL_OTHER &&
                c->capture->channel[i].polarity_basis == SPW_BASIS_OPTION) {
                spw_page_step(c->page, step++,
                              "Measure once more without --polarity: read the other way round, "
                              "the line may carry control pulses.");
                return;
            }
        spw_page_step(c->page, step++,
                      "Check that the controller runs and is enabled, that the "
                      "recorder shares its ground, and that the right line was "
                      "recorded; then record again.");
        return;
    }
    for (size_t i = 0, k = 0; i < c->capture->channels; i++) {
        const spw_channel *channel = &c->capture->channel[i];
        if (!is_pulses(channel))
            continue;
        if (channel->polarity == SPW_POLARITY_UNDECIDED && channel->signal != SPW_SIGNAL_WIDTHS)
            spw_page_step(c->page, step++,
                          "Say which polarity %s has: --polarity positive or "
                          "--polarity negative.",
                          spw_shown_name(channel->name, NAME_COLUMNS).text);
        put_cure(c, &spans[k], &step);
        if (spans[k].known && first == NULL)
            first = channel;
        known |= spans[k++].known;
    }
    if (!known)
        spw_page_step(c->page, step++,
                      "Take the servo's horn off. Hold the command at the low "
                      "end, at neutral and at the high end, two seconds or more "
                      "each, in one recording.");
    else
        put_plan_command(c, step, first, n);
}

static size_t count_pulses(const spw_capture *capture) {
    size_t n = 0;
    for (size_t i = 0; i < capture->channels; i++)
        n += is_pulses(&capture->channel[i]);
    return n;
}

static void put_capture(const context *c, const char *digest, spw_span *spans) {
    size_t n = 0;
    spw_describe_capture(c->page, c->capture, digest);
    if (c->capture->channels == 0)
        spw_page_warn(c->page, "The capture holds no channel.");
    for (size_t i = 0; i < c->capture->channels; i++)
        if (is_pulses(&c->capture->channel[i]))
            put_channel(c, &c->capture->channel[i], &spans[n++]);
    put_others(c);
    put_overview(c, spans, n);
    put_next(c, spans, n);
}

spw_status spw_report_measure_text(const spw_capture *const *captures, size_t n,
                                   const char *const *digests, const spw_bench *bench,
                                   const spw_text_style *style, spw_text *out) {
    spw_page page = spw_page_start(out, style);
    spw_bench defaults = spw_bench_defaults();
    for (size_t i = 0; i < n; i++) {
        context c = {&page, captures[i], bench != NULL ? bench : &defaults};
        spw_span *spans = calloc(count_pulses(captures[i]) + 1, sizeof *spans);
        if (spans == NULL)
            return SPW_ERR_MEMORY;
        if (i > 0)
            spw_text_puts(out, "\n\n");
        put_capture(&c, digests != NULL ? digests[i] : NULL, spans);
        free(spans);
    }
    return spw_text_status(out);
}
