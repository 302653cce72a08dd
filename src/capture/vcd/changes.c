/* Time marks and value changes, word by word: what vcd_quick.c leaves over. */
#include "capture/vcd/vcd.h"

#include <stdio.h>
#include <strings.h>

static const char *const unusable = "; record or export the capture once more";

/* The content is damaged at `line`: what came before is the answer. */
static spw_status damaged(spw_vcd *vcd, uint64_t line, const char *what) {
    if (!vcd->has_time || vcd->time == vcd->first)
        return spw_error_at(vcd->error, SPW_ERR_FORMAT, line, SPW_NOWHERE, "%s%s", what, unusable);
    vcd->stopped = true;
    vcd->summary->truncated = true;
    return spw_notes_add(&vcd->summary->warnings, "line %llu: %s: the capture is read up to there",
                         (unsigned long long)line, what);
}

/* The content ends in the middle of something, which is not used. */
static spw_status cut_short(spw_vcd *vcd, const char *what, size_t n) {
    char safe[64];
    spw_text_safe(safe, sizeof safe, what, n);
    vcd->stopped = true;
    vcd->summary->truncated = true;
    uint64_t line = spw_vcd_text_line(&vcd->text, vcd->text.data + vcd->text.at);
    return spw_notes_add(
        &vcd->summary->warnings,
        "line %llu: the file ends behind '%s' without a line end, so more may have "
        "followed: this value is not used",
        (unsigned long long)line, safe);
}

static spw_status set_time(spw_vcd *vcd, uint64_t time, uint64_t line) {
    if (vcd->has_time && time < vcd->time) {
        char what[96];
        (void)snprintf(what, sizeof what, "time runs backwards here, from #%llu to #%llu",
                       (unsigned long long)vcd->time, (unsigned long long)time);
        return damaged(vcd, line, what);
    }
    spw_status status = SPW_OK;
    /* Values in front of the first mark are the levels at 0. */
    if (time > vcd->time)
        status = spw_vcd_step_end(vcd);
    if (!vcd->has_time)
        vcd->first = vcd->has_values ? 0 : time;
    vcd->has_time = true;
    vcd->time = time;
    return status;
}

/* "#1500" */
static spw_status time_mark(spw_vcd *vcd, const spw_vcd_word *word) {
    uint64_t time = 0;
    size_t i = 1;
    bool over = false;
    for (; i < word->n && word->p[i] >= '0' && word->p[i] <= '9'; i++) {
        uint64_t digit = (uint64_t)(word->p[i] - '0');
        over = over || time > (UINT64_MAX - digit) / 10;
        time = time * 10 + digit;
    }
    if (word->open)
        return cut_short(vcd, word->p, word->n);
    uint64_t line = spw_vcd_text_line(&vcd->text, word->p);
    if (i < word->n || word->cut)
        return damaged(vcd, line, "a time that is no whole number stands here");
    if (over)
        return damaged(vcd, line, "a time of more than 64 bits stands here");
    vcd->section = NULL;
    vcd->switched_off = false;
    return set_time(vcd, time, line);
}

static bool plausible_time(const spw_vcd_word *word) {
    return word->n > 1 && ((word->p[1] >= '0' && word->p[1] <= '9') ||
                           (word->n > 2 && (word->p[1] == '-' || word->p[1] == '+') &&
                            word->p[2] >= '0' && word->p[2] <= '9'));
}

static spw_status no_vcd(spw_vcd *vcd, const spw_vcd_word *word) {
    if (word->open)
        return cut_short(vcd, word->p, word->n);
    spw_vcd_remark(vcd, SPW_VCD_NOTE_TEXT, word->p, word->p, word->n);
    return spw_vcd_text_skip_line(&vcd->text, vcd->error);
}

/* A code at the very end of the content may be the beginning of a longer one. */
static bool doubtful(const spw_vcd *vcd, const spw_vcd_word *word, size_t code_length) {
    return word->open && code_length < vcd->codes.longest;
}

static void change(spw_vcd *vcd, uint32_t number, const char *digits, size_t n) {
    vcd->has_values = true;
    if (vcd->variables[number].width > 0 && !vcd->switched_off)
        spw_vcd_set(vcd, number, digits, n);
}

static void undeclared(spw_vcd *vcd, const spw_vcd_word *word) {
    if (!vcd->left_out)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_UNDECLARED, word->p, word->p, word->n);
}

/* "1!", also "H!" */
static spw_status scalar(spw_vcd *vcd, const spw_vcd_word *word) {
    bool nine = spw_vcd_digit[(unsigned char)word->p[0]] == 0;
    uint32_t number =
        word->cut ? SPW_VCD_NONE : spw_vcd_codes_find(&vcd->codes, word->p + 1, word->n - 1);
    if (doubtful(vcd, word, word->n - 1))
        return cut_short(vcd, word->p, word->n);
    if (number == SPW_VCD_NONE && (nine || word->n < 2))
        return no_vcd(vcd, word);
    if (number == SPW_VCD_NONE) {
        undeclared(vcd, word);
        return SPW_OK;
    }
    if (nine)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_NINE, word->p, word->p, word->n);
    change(vcd, number, word->p, 1);
    return SPW_OK;
}

static bool all_digits(const spw_vcd_word *word, bool *nine) {
    for (size_t i = 1; i < word->n; i++) {
        unsigned char c = (unsigned char)word->p[i];
        if (spw_vcd_digit9[c] == 0)
            return false;
        *nine |= spw_vcd_digit[c] == 0;
    }
    return word->n > 1;
}

/* A number, or "inf" and "nan" in any case and with any sign. */
static bool looks_real(const spw_vcd_word *word) {
    size_t start = word->n > 1 && (word->p[1] == '-' || word->p[1] == '+') ? 2 : 1;
    if (word->n == start + 3)
        if (strncasecmp(word->p + start, "nan", 3) == 0 ||
            strncasecmp(word->p + start, "inf", 3) == 0)
            return true;
    for (size_t i = start; i < word->n; i++)
        if (word->p[i] == '\0' || strchr("0123456789+-.eE", word->p[i]) == NULL)
            return false;
    return word->n > start;
}

/* The code behind a vector's, a real's or a string's value. */
static spw_status code_word(spw_vcd *vcd, uint32_t *number, bool *end, spw_vcd_word *word) {
    spw_status status = spw_vcd_text_word(&vcd->text, word, vcd->error);
    *end = status == SPW_OK && (word->n == 0 || doubtful(vcd, word, word->n));
    *number = word->cut ? SPW_VCD_NONE : spw_vcd_codes_find(&vcd->codes, word->p, word->n);
    return status;
}

static spw_status assign(spw_vcd *vcd, const spw_vcd_word *code, uint32_t number,
                         const char *digits, size_t n) {
    if (number == SPW_VCD_NONE) {
        undeclared(vcd, code);
        return SPW_OK;
    }
    uint32_t width = vcd->variables[number].width;
    if (width > 0 && n > width)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_LONG_VALUE, code->p, code->p, code->n);
    change(vcd, number, digits, n);
    return SPW_OK;
}

/* "b10zx !" */
static spw_status vector(spw_vcd *vcd, spw_vcd_word *word) {
    char digits[SPW_VCD_WIDTH_MAX + 1];
    bool nine = false, end;
    uint32_t number;
    if (!all_digits(word, &nine) || word->open)
        return no_vcd(vcd, word);
    size_t n = word->n - 1, kept = n < sizeof digits ? n : sizeof digits;
    memcpy(digits, word->p + 1 + (n - kept), kept);
    if (word->cut) /* its rightmost digits are gone */
        memset(digits, 'x', kept);
    if (nine)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_NINE, word->p, word->p, word->n);
    spw_status status = code_word(vcd, &number, &end, word);
    if (status != SPW_OK)
        return status;
    return end ? cut_short(vcd, digits, kept) : assign(vcd, word, number, digits, kept);
}

/* "r1.5 !" and "sIDLE !": no levels. A word that only happens to begin so is
 * no VCD. */
static spw_status other_value(spw_vcd *vcd, spw_vcd_word *word) {
    char shown[32];
    bool string = word->p[0] == 's' || word->p[0] == 'S', end;
    uint32_t number;
    if (word->open || (!string && !looks_real(word)))
        return no_vcd(vcd, word);
    size_t n = word->n < sizeof shown ? word->n : sizeof shown;
    memcpy(shown, word->p, n);
    spw_status status = code_word(vcd, &number, &end, word);
    if (status != SPW_OK)
        return status;
    if (end)
        return cut_short(vcd, shown, n);
    vcd->has_values = true;
    if (number != SPW_VCD_NONE)
        return SPW_OK;
    if (string)
        return no_vcd(vcd, word);
    undeclared(vcd, word);
    return SPW_OK;
}

static spw_status ends_within(spw_vcd *vcd, const char *section) {
    vcd->stopped = true;
    vcd->summary->truncated = true;
    uint64_t line = spw_vcd_text_line(&vcd->text, vcd->text.data + vcd->text.at);
    return spw_notes_add(&vcd->summary->warnings,
                         "line %llu: the file ends within %s, before its $end",
                         (unsigned long long)line, section);
}

static spw_status skip_section(spw_vcd *vcd, const char *section) {
    spw_vcd_word word;
    spw_status status;
    do
        status = spw_vcd_text_word(&vcd->text, &word, vcd->error);
    while (status == SPW_OK && word.n > 0 && !spw_vcd_word_is(&word, "$end"));
    return status == SPW_OK && word.n == 0 ? ends_within(vcd, section) : status;
}

/* A word of this list, or NULL. */
static const char *one_of(const spw_vcd_word *word, const char *const *list) {
    while (*list != NULL && !spw_vcd_word_is(word, *list))
        list++;
    return *list;
}

static spw_status keyword(spw_vcd *vcd, const spw_vcd_word *word) {
    static const char *const dumps[] = {"$dumpvars", "$dumpall", "$dumpon", "$dumpoff", NULL};
    static const char *const late[] = {"$var",       "$scope",   "$upscope", "$date",
                                       "$timescale", "$version", NULL};
    static const char *const extended[] = {"$dumpports",    "$dumpportsoff", "$dumpportson",
                                           "$dumpportsall", "$vcdclose",     NULL};
    bool end = spw_vcd_word_is(word, "$end");
    const char *dump = one_of(word, dumps);
    if (end || dump != NULL) {
        vcd->section = dump;
        vcd->switched_off = spw_vcd_word_is(word, "$dumpoff");
        return vcd->switched_off ? spw_vcd_switch_off(vcd) : SPW_OK;
    }
    if (spw_vcd_word_is(word, "$comment"))
        return skip_section(vcd, "$comment");
    if (spw_vcd_word_is(word, "$enddefinitions"))
        return SPW_OK;
    if (one_of(word, extended) != NULL)
        return spw_vcd_refuse_extended(vcd, spw_vcd_text_line(&vcd->text, word->p));
    const char *declaration = one_of(word, late);
    if (declaration == NULL)
        return no_vcd(vcd, word);
    spw_vcd_remark(vcd, SPW_VCD_NOTE_LATE, word->p, word->p, word->n);
    return skip_section(vcd, declaration);
}

static spw_status statement(spw_vcd *vcd, spw_vcd_word *word) {
    char c = word->p[0];
    if (c == '#')
        return plausible_time(word) ? time_mark(vcd, word) : no_vcd(vcd, word);
    if (c == '$')
        return keyword(vcd, word);
    if (c == 'b' || c == 'B')
        return vector(vcd, word);
    if (c != '\0' && memchr("rRsS", c, 4) != NULL)
        return other_value(vcd, word);
    return spw_vcd_digit9[(unsigned char)c] != 0 ? scalar(vcd, word) : no_vcd(vcd, word);
}

spw_status spw_vcd_changes(spw_vcd *vcd) {
    spw_status status = SPW_OK;
    while (status == SPW_OK && !vcd->stopped) {
        spw_vcd_word word = {0};
        if (vcd->has_time && !vcd->switched_off && !vcd->text.in_word)
            status = spw_vcd_quick(vcd);
        if (status == SPW_OK)
            status = spw_vcd_text_word(&vcd->text, &word, vcd->error);
        if (status != SPW_OK || word.n == 0)
            break;
        status = statement(vcd, &word);
    }
    if (status == SPW_OK && !vcd->stopped && vcd->section != NULL)
        status = ends_within(vcd, vcd->section);
    if (status == SPW_OK)
        status = spw_vcd_step_end(vcd);
    return status == SPW_OK ? spw_vcd_send_end(vcd) : status;
}
