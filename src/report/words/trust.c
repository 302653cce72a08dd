/* From when to when a recording can be trusted. */
#include "report/words/words.h"

#include "report/fields/fields.h"

#include <math.h>

#define MOST_STRETCHES 4
/* Shorter than this is no stretch of its own: about a frame. */
static const double LEAST_S = 0.02;

typedef struct listing {
    spw_text *text;
    size_t listed, left;
} listing;

static void list(listing *l, double from_s, double to_s) {
    if (l->listed == MOST_STRETCHES) {
        l->left++;
        return;
    }
    spw_text_puts(l->text, l->listed++ > 0 ? ", from " : "from ");
    spw_text_puts(l->text, spw_figure_plain(from_s, 5, "").text);
    spw_text_puts(l->text, " to ");
    spw_text_puts(l->text, spw_figure_plain(to_s, 5, "s").text);
}

static void list_end(listing *l) {
    if (l->left > 0)
        spw_text_printf(l->text, " and %zu more", l->left);
}

/* The gaps between the stretches in doubt, which are in order of their starts. */
static void list_trusted(const spw_channel *channel, double start_s, double end_s, listing *l) {
    double since_s = start_s;
    for (size_t i = 0; i < channel->doubts; i++) {
        const spw_doubt *doubt = &channel->doubt[i];
        if (doubt->from_s - since_s > LEAST_S)
            list(l, since_s, doubt->from_s);
        since_s = fmax(since_s, doubt->to_s);
    }
    if (end_s - since_s > LEAST_S)
        list(l, since_s, end_s);
    list_end(l);
}

static void list_doubtful(const spw_channel *channel, double start_s, double end_s, listing *l) {
    for (size_t i = 0; i < channel->doubts; i++) {
        const spw_doubt *doubt = &channel->doubt[i];
        size_t before = l->listed;
        if (doubt->from_s <= start_s + LEAST_S && doubt->to_s >= end_s - LEAST_S) {
            spw_text_puts(l->text, l->listed++ > 0 ? ", all of it" : "all of it");
        } else {
            list(l, doubt->from_s, doubt->to_s);
        }
        if (l->listed == before)
            continue;
        spw_text_printf(l->text, " (%s", spw_doubt_words(doubt->what));
        if (!isnan(doubt->bound_us))
            spw_text_printf(l->text, ": up to %s",
                            spw_figure_digits(doubt->bound_us, 2, "us").text);
        spw_text_puts(l->text, ")");
    }
    list_end(l);
}

void spw_trust_words(const spw_capture *capture, const spw_channel *channel, spw_text *text) {
    listing trusted = {.text = text}, doubtful = {.text = text};
    double start_s = spw_judged_from_s(capture), end_s = spw_judged_to_s(capture);
    if (channel->doubts == 0) {
        spw_text_printf(text, "all of it, %s to ", spw_figure_plain(start_s, 5, "").text);
        spw_text_puts(text, spw_figure_plain(end_s, 5, "s").text);
        return;
    }
    list_trusted(channel, start_s, end_s, &trusted);
    if (trusted.listed == 0)
        spw_text_puts(text, "no part of it");
    spw_text_puts(text, "; in doubt: ");
    list_doubtful(channel, start_s, end_s, &doubtful);
}

void spw_describe_trust(const spw_page *page, const spw_capture *capture,
                        const spw_channel *channel) {
    if (channel->doubts == 0 && channel->kind == SPW_KIND_LOGIC)
        return;
    spw_text text = {0};
    spw_trust_words(capture, channel, &text);
    if (spw_text_status(&text) != SPW_OK)
        page->out->failed = true;
    else
        spw_page_row_toned(page, channel->doubts > 0 ? SPW_TONE_BAD : SPW_TONE_PLAIN, "Trusted",
                           "%s", text.data);
    spw_text_free(&text);
}
