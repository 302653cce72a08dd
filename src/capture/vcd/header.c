/* Declarations of a dump, up to $enddefinitions. Sections that are of no use
 * here ($date, $version, $comment, ones the standard does not have) are
 * skipped up to their $end. */
#include "capture/vcd/vcd.h"

static bool is_declaration(const spw_vcd_word *word) {
    static const char *const keywords[] = {"$var", "$scope", "$upscope", "$enddefinitions",
                                           "$timescale"};
    if (word->n == 0 || word->p[0] != '$')
        return false;
    for (size_t i = 0; i < sizeof keywords / sizeof keywords[0]; i++)
        if (spw_vcd_word_is(word, keywords[i]))
            return true;
    return false;
}

/* The next word of a section; done at $end, and where a declaration begins
 * because an $end was forgotten. */
spw_status spw_vcd_section_next(spw_vcd_section *part) {
    spw_vcd *vcd = part->vcd;
    if (part->done)
        return SPW_OK;
    spw_status status = spw_vcd_text_word(&vcd->text, &part->word, vcd->error);
    if (status != SPW_OK)
        return status;
    bool declaration = is_declaration(&part->word);
    if (declaration)
        spw_vcd_text_back(&vcd->text, &part->word);
    part->done = part->word.n == 0 || declaration || spw_vcd_word_is(&part->word, "$end");
    return SPW_OK;
}

spw_status spw_vcd_section_finish(spw_vcd_section *part) {
    spw_status status = SPW_OK;
    while (status == SPW_OK && !part->done)
        status = spw_vcd_section_next(part);
    return status;
}

/* $comment may hold anything, keywords too. */
static spw_status skip_comment(spw_vcd *vcd) {
    spw_vcd_word word;
    spw_status status;
    do
        status = spw_vcd_text_word(&vcd->text, &word, vcd->error);
    while (status == SPW_OK && word.n > 0 && !spw_vcd_word_is(&word, "$end"));
    return status;
}

static spw_status read_scale(spw_vcd *vcd, uint64_t line) {
    char text[64];
    size_t n = 0;
    spw_vcd_section part = {.vcd = vcd};
    spw_status status = spw_vcd_section_next(&part);
    for (; status == SPW_OK && !part.done; status = spw_vcd_section_next(&part))
        for (size_t i = 0; i < part.word.n && n < sizeof text; i++)
            text[n++] = part.word.p[i];
    if (status != SPW_OK)
        return status;
    spw_vcd_scale scale;
    char safe[64];
    spw_text_safe(safe, sizeof safe, text, n);
    if (spw_vcd_scale_read(text, n, &scale) != SPW_OK) {
        if (vcd->options->time_unit == SPW_TIME_AUTO)
            return spw_error_at(vcd->error, SPW_ERR_FORMAT, line, SPW_NOWHERE,
                                "$timescale '%s' is no whole number of s, ms, us, ns, ps or fs; "
                                "write the recorder's time step there (\"$timescale 10 ns $end\")",
                                safe);
        if (vcd->tally[SPW_VCD_NOTE_SCALE_OPTION].n++ == 0)
            spw_vcd_note_at(vcd, SPW_VCD_NOTE_SCALE_OPTION, line, text, n);
        return SPW_OK;
    }
    if (vcd->has_scale) {
        bool same =
            spw_vcd_seconds(&scale, 1) == spw_vcd_seconds(&vcd->scale, 1); /* both exact forms */
        if (!same && vcd->tally[SPW_VCD_NOTE_SCALE_AGAIN].n++ == 0)
            spw_vcd_note_at(vcd, SPW_VCD_NOTE_SCALE_AGAIN, line, text, n);
        return SPW_OK;
    }
    if (scale.odd && vcd->tally[SPW_VCD_NOTE_SCALE_ODD].n++ == 0)
        spw_vcd_note_at(vcd, SPW_VCD_NOTE_SCALE_ODD, line, text, n);
    vcd->scale = scale;
    vcd->has_scale = true;
    return SPW_OK;
}

static spw_status enter_scope(spw_vcd *vcd) {
    char name[SPW_VCD_LEAF_MAX];
    size_t n = 0;
    spw_vcd_section part = {.vcd = vcd};
    spw_status status = spw_vcd_section_next(&part); /* module, task ... */
    if (status == SPW_OK)
        status = spw_vcd_section_next(&part);
    if (status == SPW_OK && !part.done) {
        n = part.word.n < sizeof name ? part.word.n : sizeof name;
        for (size_t i = 0; i < n; i++) /* as in the names of variables */
            name[i] = part.word.p[i] == '\0' ? '?' : part.word.p[i];
        if (part.word.n > sizeof name)
            spw_vcd_remark(vcd, SPW_VCD_NOTE_NAME, part.word.p, part.word.p, part.word.n);
    }
    if (status == SPW_OK)
        status = spw_vcd_names_enter(&vcd->names, name, n);
    if (status == SPW_ERR_LIMIT) /* nothing more is kept then */
        status = SPW_OK;
    return status == SPW_OK ? spw_vcd_section_finish(&part) : status;
}

spw_status spw_vcd_refuse_extended(spw_vcd *vcd, uint64_t line) {
    return spw_error_at(vcd->error, SPW_ERR_UNSUPPORTED, line, SPW_NOWHERE,
                        "this is an extended VCD (EVCD) of ports, which is not read; dump a "
                        "four-state VCD, with $dumpvars in place of $dumpports");
}

/* What may stand behind the declarations only. */
static bool is_change(const spw_vcd_word *word) {
    if (word->n > 1 && word->p[0] == '#' && word->p[1] >= '0' && word->p[1] <= '9')
        return true;
    return spw_vcd_word_is(word, "$dumpvars") || spw_vcd_word_is(word, "$dumpall") ||
           spw_vcd_word_is(word, "$dumpon") || spw_vcd_word_is(word, "$dumpoff");
}

static spw_status one(spw_vcd *vcd, const spw_vcd_word *word, bool *end) {
    uint64_t line = spw_vcd_text_line(&vcd->text, word->p);
    spw_vcd_section part = {.vcd = vcd};
    if (spw_vcd_word_is(word, "$var"))
        return spw_vcd_declare(vcd, line);
    if (spw_vcd_word_is(word, "$scope"))
        return enter_scope(vcd);
    if (spw_vcd_word_is(word, "$upscope")) {
        spw_vcd_names_leave(&vcd->names);
        return SPW_OK;
    }
    if (spw_vcd_word_is(word, "$timescale"))
        return read_scale(vcd, line);
    if (spw_vcd_word_is(word, "$comment"))
        return skip_comment(vcd);
    if (word->n >= 10 && memcmp(word->p, "$dumpports", 10) == 0)
        return spw_vcd_refuse_extended(vcd, line);
    *end = spw_vcd_word_is(word, "$enddefinitions");
    if (*end || spw_vcd_word_is(word, "$end"))
        return SPW_OK;
    if (is_change(word)) {
        spw_vcd_remark(vcd, SPW_VCD_NOTE_NO_END, word->p, word->p, word->n);
        spw_vcd_text_back(&vcd->text, word);
        *end = true;
        return SPW_OK;
    }
    if (word->n > 1 && word->p[0] == '$')
        return spw_vcd_section_finish(&part);
    spw_vcd_remark(vcd, SPW_VCD_NOTE_TEXT, word->p, word->p, word->n);
    return spw_vcd_text_skip_line(&vcd->text, vcd->error);
}

static spw_status check(spw_vcd *vcd, uint64_t line) {
    if (vcd->n_variables == 0)
        return spw_error_at(vcd->error, SPW_ERR_FORMAT, line, SPW_NOWHERE,
                            "the declarations end here without a $var: this VCD records no line; "
                            "name the scope to record in $dumpvars");
    if (vcd->has_scale)
        return SPW_OK;
    if (vcd->options->time_unit == SPW_TIME_AUTO)
        return spw_error_at(vcd->error, SPW_ERR_FORMAT, line, SPW_NOWHERE,
                            "the declarations end here without a $timescale; give the time step "
                            "with --time-unit s, ms, us or ns");
    spw_vcd_scale_option(vcd->options->time_unit, &vcd->scale);
    return SPW_OK;
}

static spw_status announce_scalars(spw_vcd *vcd) {
    spw_status status = SPW_OK;
    if (vcd->n_scalars > SPW_VCD_CHANNELS_MAX)
        return SPW_OK; /* as bits of vectors are: when they change */
    for (uint32_t i = 0; i < vcd->n_variables && status == SPW_OK; i++)
        if (vcd->variables[i].width == 1)
            status = spw_vcd_announce(vcd, i, -1, &vcd->variables[i].tag);
    return status;
}

spw_status spw_vcd_header(spw_vcd *vcd) {
    bool end = false;
    spw_vcd_word word = {0};
    spw_status status = SPW_OK;
    uint64_t line = 1;
    while (status == SPW_OK && !end) {
        status = spw_vcd_text_word(&vcd->text, &word, vcd->error);
        if (status != SPW_OK)
            break;
        line = spw_vcd_text_line(&vcd->text, word.p);
        if (word.n == 0)
            return spw_error_at(vcd->error, SPW_ERR_FORMAT, line, SPW_NOWHERE,
                                "the file ends within its declarations, before $enddefinitions: "
                                "nothing was recorded; record it once more");
        status = one(vcd, &word, &end);
    }
    if (status == SPW_OK)
        status = check(vcd, line);
    if (status == SPW_OK)
        status = spw_vcd_levels_start(vcd);
    return status == SPW_OK ? announce_scalars(vcd) : status;
}
