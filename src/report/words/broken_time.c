/* Samples that the recorder lost, repeated or zeroed, and how that is known. */
#include "report/words/words.h"

#include "report/fields/fields.h"

#include <inttypes.h>

enum { FIRST_PLACES = 4 };

/* What a piece of evidence looks like, behind "lost about 512 samples at 4.460 s: ". */
static const struct {
    uint32_t evidence;
    const char *words;
} looks[] = {
    {SPW_EVIDENCE_REPEAT, "the samples before come once more"},
    {SPW_EVIDENCE_CONSTANT, "they hold one value, without the noise about them"},
    {SPW_EVIDENCE_STEP, "the background jumps"},
    {SPW_EVIDENCE_BUFFER, "later frames are shifted by a power of two of samples"},
    {SPW_EVIDENCE_WHOLE_SAMPLES, "later frames are shifted by whole samples"},
};

static void put_evidence(spw_text *text, uint32_t evidence) {
    size_t said = 0;
    uint32_t left = evidence;
    if ((evidence & SPW_EVIDENCE_BUFFER) != 0) /* says more than whole samples */
        left &= ~SPW_EVIDENCE_WHOLE_SAMPLES;
    for (size_t i = 0; i < sizeof looks / sizeof looks[0]; i++)
        if ((left & looks[i].evidence) != 0)
            spw_text_printf(text, "%s%s", said++ > 0 ? ", and " : ": ", looks[i].words);
}

static const char *verb(uint32_t evidence) {
    if ((evidence & SPW_EVIDENCE_REPEAT) != 0)
        return "recorded twice";
    return (evidence & SPW_EVIDENCE_CONSTANT) != 0 ? "blanked" : "lost";
}

static void put_place(const spw_page *page, const spw_event *event, bool first) {
    spw_text text = {0};
    bool about = (event->evidence & (SPW_EVIDENCE_REPEAT | SPW_EVIDENCE_CONSTANT)) == 0;
    spw_text_printf(&text, "the recorder %s %s%" PRIu64 " samples (%s) at %s",
                    verb(event->evidence), about ? "about " : "", event->count,
                    spw_figure_digits(event->value_us * 1e-3, 3, "ms").text,
                    spw_figure_unit(event->at_s, 3, "s").text);
    put_evidence(&text, event->evidence);
    if (spw_text_status(&text) != SPW_OK)
        page->out->failed = true;
    else
        spw_page_row_toned(page, SPW_TONE_STRONG, first ? "Lost samples" : "", "%s", text.data);
    spw_text_free(&text);
}

void spw_describe_broken_time(const spw_page *page, const spw_channel *channel) {
    size_t places = 0;
    for (size_t i = 0; i < channel->events; i++)
        if (channel->event[i].kind == SPW_EVENT_SAMPLES_LOST && places++ < FIRST_PLACES)
            put_place(page, &channel->event[i], places == 1);
    if (places > FIRST_PLACES)
        spw_page_row(page, "", "and at %zu more places", places - FIRST_PLACES);
    if (places > 0)
        spw_page_row(page, "",
                     "Pulses touched by it are in no figure. Record again with nothing else "
                     "running, or to a faster disk.");
}
