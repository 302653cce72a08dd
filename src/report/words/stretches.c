/* A line that changes its frame period: each stretch with what it spans, and the command
 * that judges it alone. */
#include "report/words/words.h"

#include "report/fields/fields.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MOST_STRETCHES 6
#define SPAN_WORDS 160
/* Instants of a command are told in these, and lie half of it outwards at least: no pulse
 * is as short. */
#define GRAIN_S 1e-4

/* "1000.00 to 2000.00 us", "900.00 us", or that nothing stood still. */
static void span_words(const spw_channel *channel, size_t regime, char out[SPAN_WORDS]) {
    const spw_regime *r = &channel->regime[regime];
    const spw_hold *longest = NULL;
    spw_span span;
    if (spw_span_of_regime(channel, regime, (double)NAN, &span) == SPW_OK && span.known) {
        (void)snprintf(out, SPAN_WORDS, "%s to %s",
                       spw_figure_known(span.low.us, span.low.U95, "").text,
                       spw_figure_known(span.high.us, span.high.U95, "us").text);
        return;
    }
    for (size_t i = 0; i < channel->holds; i++)
        if (channel->hold[i].start_s >= r->start_s && channel->hold[i].end_s <= r->end_s &&
            (longest == NULL || channel->hold[i].pulses > longest->pulses))
            longest = &channel->hold[i];
    (void)snprintf(out, SPAN_WORDS, "%s",
                   longest != NULL
                       ? spw_figure_known(longest->width_us.mean, longest->width_us.U95, "us").text
                       : "no width that stood still");
}

/* The command that judges one stretch: of this file, with its instants. */
static void put_command(const spw_page *page, const spw_capture *capture,
                        const spw_channel *channel, const spw_regime *regime, bool named) {
    spw_text line = {0};
    double clock = capture->clock_correction;
    spw_text_printf(
        &line, "spanwright plan --from %s --to %s",
        spw_figure_plain(fmax(0.0, floor(regime->start_s / clock / GRAIN_S - 0.5) * GRAIN_S), 12,
                         "")
            .text,
        spw_figure_plain(ceil(regime->end_s / clock / GRAIN_S + 0.5) * GRAIN_S, 12, "").text);
    if (capture->rate_hz > 0)
        spw_text_printf(&line, " --rate %s", spw_figure_plain(capture->rate_hz, 12, "").text);
    if (channel->polarity != SPW_POLARITY_UNDECIDED)
        spw_text_printf(&line, " --polarity %s", spw_polarity_name(channel->polarity));
    if (named) {
        spw_text_puts(&line, " --channel ");
        spw_text_shell_word(&line, channel->name);
    }
    spw_text_puts(&line, " ");
    if (strcmp(capture->file, "-") == 0)
        spw_text_puts(&line, "CAPTURE");
    else
        spw_text_shell_word(&line, capture->file);
    if (spw_text_status(&line) != SPW_OK)
        page->out->failed = true;
    else
        spw_page_line(page, "                  %s", line.data);
    spw_text_free(&line);
}

void spw_describe_stretches(const spw_page *page, const spw_capture *capture,
                            const spw_channel *channel) {
    char words[SPAN_WORDS];
    if (channel->regimes < 2)
        return;
    for (size_t i = 0; i < channel->regimes && i < MOST_STRETCHES; i++) {
        const spw_regime *regime = &channel->regime[i];
        span_words(channel, i, words);
        spw_page_row(page, i == 0 ? "Stretches" : "", "%s to %s: frames of %s, %zu of them; %s%s",
                     spw_figure_unit(regime->start_s, 3, "s").text,
                     spw_figure_unit(regime->end_s, 3, "s").text,
                     spw_figure_unit(regime->period_us, 1, "us").text, regime->frames, words,
                     i == channel->main_regime       ? " (the longest: judged)"
                     : spw_regime_judged(channel, i) ? " (judged with the longest)"
                                                     : " (not judged)");
        put_command(page, capture, channel, regime, capture->channels > 1);
    }
    if (channel->regimes > MOST_STRETCHES)
        spw_page_row(page, "", "and %zu more (--json lists them all)",
                     channel->regimes - MOST_STRETCHES);
}
