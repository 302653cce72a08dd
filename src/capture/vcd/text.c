#include "capture/vcd/text.h"

#include <string.h>

#define ONES UINT64_C(0x0101010101010101)
#define LOW7 UINT64_C(0x7f7f7f7f7f7f7f7f)

/* Line ends in 8 * n bytes, eight at a time, n <= 255: each byte of `counts`
 * counts its own column. */
static uint64_t line_ends_of(const char *data, size_t n) {
    uint64_t counts = 0, sum = 0;
    for (size_t i = 0; i < n; i++) {
        uint64_t zero; /* a byte is 0 where there is a line end */
        memcpy(&zero, data + 8 * i, 8);
        zero ^= ONES * '\n';
        counts += ~(((zero & LOW7) + LOW7) | zero) >> 7 & ONES;
    }
    for (; counts != 0; counts >>= 8)
        sum += counts & 0xff;
    return sum;
}

static uint64_t line_ends(const char *data, size_t length) {
    uint64_t count = 0;
    size_t at = 0;
    while (length - at >= 8) {
        size_t n = (length - at) / 8 < 255 ? (length - at) / 8 : 255;
        count += line_ends_of(data + at, n);
        at += 8 * n;
    }
    for (; at < length; at++)
        count += data[at] == '\n';
    return count;
}

/* Moves the mark, onwards as a rule. */
static void count_to(spw_vcd_text *text, size_t place) {
    if (place >= text->mark)
        text->lines += line_ends(text->data + text->mark, place - text->mark);
    else
        text->lines -= line_ends(text->data + place, text->mark - place);
    text->mark = place;
}

uint64_t spw_vcd_text_line(spw_vcd_text *text, const char *place) {
    if (text->data != NULL)
        count_to(text, (size_t)(place - text->data));
    return text->lines + 1;
}

spw_status spw_vcd_text_more(spw_vcd_text *text, spw_error *error) {
    size_t rest = text->length - text->at;
    if (text->at > 0) {
        count_to(text, text->at);
        spw_source_take(text->source, text->at);
        text->at = text->mark = 0;
    }
    /* By a half: a long word is not looked through again for every byte. */
    size_t want = rest + rest / 2 + 1;
    if (want > SPW_SOURCE_LOOK_MAX)
        want = SPW_SOURCE_LOOK_MAX;
    text->length = 0;
    spw_status status = spw_source_look(text->source, want, &text->data, &text->length, error);
    text->last = text->length < want;
    text->whole = SIZE_MAX;
    return status;
}

size_t spw_vcd_text_lines_end(spw_vcd_text *text) {
    if (text->length == 0)
        return 0;
    if (text->whole == SIZE_MAX) {
        const char *end = memrchr(text->data, '\n', text->length);
        text->whole = end != NULL ? (size_t)(end - text->data) + 1 : 0;
    }
    return text->whole;
}

/* Takes white space (white) or the rest of a word (!white) away. */
static spw_status skip(spw_vcd_text *text, bool white, spw_error *error) {
    for (;;) {
        while (text->at < text->length && spw_vcd_white(text->data[text->at]) == white)
            text->at++;
        if (text->at < text->length || text->last)
            return SPW_OK;
        spw_status status = spw_vcd_text_more(text, error);
        if (status != SPW_OK)
            return status;
    }
}

spw_status spw_vcd_text_word(spw_vcd_text *text, spw_vcd_word *word, spw_error *error) {
    spw_status status = SPW_OK;
    if (text->in_word)
        status = skip(text, false, error);
    text->in_word = false;
    if (status == SPW_OK)
        status = skip(text, true, error);
    size_t n = 0;
    while (status == SPW_OK) {
        const char *p = text->data + text->at;
        size_t rest = text->length - text->at;
        while (n < rest && n < SPW_VCD_WORD_MAX && !spw_vcd_white(p[n]))
            n++;
        if (n < rest || text->last) {
            bool cut = n == SPW_VCD_WORD_MAX;
            *word = (spw_vcd_word){.p = p, .n = n, .cut = cut, .open = n == rest};
            text->at += n;
            text->in_word = cut;
            return SPW_OK;
        }
        status = spw_vcd_text_more(text, error);
    }
    return status;
}

void spw_vcd_text_back(spw_vcd_text *text, const spw_vcd_word *word) {
    text->at = (size_t)(word->p - text->data);
    text->in_word = false;
}

spw_status spw_vcd_text_skip_line(spw_vcd_text *text, spw_error *error) {
    for (;;) {
        size_t rest = text->length - text->at;
        const char *end = rest > 0 ? memchr(text->data + text->at, '\n', rest) : NULL;
        text->at = end != NULL ? (size_t)(end - text->data) : text->length;
        text->in_word = text->in_word && end == NULL;
        if (end != NULL || text->last)
            return SPW_OK;
        spw_status status = spw_vcd_text_more(text, error);
        if (status != SPW_OK)
            return status;
    }
}

bool spw_vcd_word_is(const spw_vcd_word *word, const char *string) {
    return word->n == strlen(string) && memcmp(word->p, string, word->n) == 0;
}
