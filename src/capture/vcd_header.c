/* Declarations of a dump, up to $enddefinitions. Sections that are of no use
 * here ($date, $version, $comment, ones the standard does not have) are
 * skipped up to their $end. */
#include "base/array.h"
#include "capture/vcd.h"

/* One section's words, up to $end. */
typedef struct section {
    spw_vcd *vcd;
    spw_vcd_word word;
    bool done;
} section;

static bool is_declaration(const spw_vcd_word *word) {
    static const char *const keywords[] = {"$var", "$scope", "$upscope", "$enddefinitions",
                                           "$timescale"};
    for (size_t i = 0; i < sizeof keywords / sizeof keywords[0]; i++)
        if (spw_vcd_word_is(word, keywords[i]))
            return true;
    return false;
}

/* The next word of a section; done at $end, and where a declaration begins
 * because an $end was forgotten. */
static spw_status next(section *part) {
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

static spw_status finish(section *part) {
    spw_status status = SPW_OK;
    while (status == SPW_OK && !part->done)
        status = next(part);
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
    section part = {.vcd = vcd};
    spw_status status = next(&part);
    for (; status == SPW_OK && !part.done; status = next(&part))
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
                                "$timescale '%s' is no time unit (1, 10 or 100 of s, ms, us, ns, "
                                "ps or fs); give the time step with --time-unit s, ms, us or ns",
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
    section part = {.vcd = vcd};
    spw_status status = next(&part); /* module, task ... */
    if (status == SPW_OK)
        status = next(&part);
    if (status == SPW_OK && !part.done) {
        n = part.word.n < sizeof name ? part.word.n : sizeof name;
        memcpy(name, part.word.p, n);
        if (part.word.n > sizeof name)
            spw_vcd_remark(vcd, SPW_VCD_NOTE_NAME, part.word.p, part.word.p, part.word.n);
    }
    if (status == SPW_OK)
        status = spw_vcd_names_enter(&vcd->names, name, n);
    if (status == SPW_ERR_LIMIT) /* nothing more is kept then */
        status = SPW_OK;
    return status == SPW_OK ? finish(&part) : status;
}

typedef struct type {
    const char *name;
    bool standard;
    spw_vcd_note ignored; /* why it has no levels; SPW_VCD_NOTES: it has */
} type;

/* IEEE Std 1364-2005 18.2.3.8, and what later tools write of SystemVerilog's. */
static const type types[] = {
    {"wire", true, SPW_VCD_NOTES},
    {"reg", true, SPW_VCD_NOTES},
    {"integer", true, SPW_VCD_NOTES},
    {"time", true, SPW_VCD_NOTES},
    {"supply0", true, SPW_VCD_NOTES},
    {"supply1", true, SPW_VCD_NOTES},
    {"tri", true, SPW_VCD_NOTES},
    {"triand", true, SPW_VCD_NOTES},
    {"trior", true, SPW_VCD_NOTES},
    {"trireg", true, SPW_VCD_NOTES},
    {"tri0", true, SPW_VCD_NOTES},
    {"tri1", true, SPW_VCD_NOTES},
    {"wand", true, SPW_VCD_NOTES},
    {"wor", true, SPW_VCD_NOTES},
    {"real", true, SPW_VCD_NOTE_REAL},
    {"realtime", true, SPW_VCD_NOTE_REAL},
    {"event", true, SPW_VCD_NOTE_EVENT},
    {"parameter", true, SPW_VCD_NOTE_PARAMETER},
    {"shortreal", false, SPW_VCD_NOTE_REAL},
    {"string", false, SPW_VCD_NOTE_STRING},
};
static const type other_type = {"", false, SPW_VCD_NOTES};

static const type *find_type(const spw_vcd_word *word) {
    for (size_t i = 0; i < sizeof types / sizeof types[0]; i++)
        if (spw_vcd_word_is(word, types[i].name))
            return &types[i];
    return &other_type;
}

static bool is_code(const char *p, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (p[i] < '!' || p[i] > '~')
            return false;
    return n > 0 && n <= SPW_VCD_CODE_MAX;
}

/* A declaration as it stands in the file. */
typedef struct declaration {
    uint64_t line;
    const type *type;
    uint64_t size;
    char code[SPW_VCD_CODE_MAX];
    size_t code_length;
    char name[SPW_VCD_LEAF_MAX];
    size_t name_length;
    bool understood;
} declaration;

static uint64_t read_size(const spw_vcd_word *word) {
    uint64_t size = 0;
    for (size_t i = 0; i < word->n; i++) {
        if (word->p[i] < '0' || word->p[i] > '9' || size > UINT32_MAX)
            return UINT64_MAX;
        size = size * 10 + (uint64_t)(word->p[i] - '0');
    }
    return size;
}

static void add_to_name(spw_vcd *vcd, declaration *made, const spw_vcd_word *word) {
    size_t room = sizeof made->name - made->name_length;
    if (made->name_length > 0 && room > 0) {
        made->name[made->name_length++] = ' ';
        room--;
    }
    size_t n = word->n < room ? word->n : room;
    if (n < word->n)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_NAME, word->p, word->p, word->n);
    for (size_t i = 0; i < n; i++)
        made->name[made->name_length++] = word->p[i] == '\0' ? '?' : word->p[i];
}

spw_status spw_vcd_refuse_extended(spw_vcd *vcd, uint64_t line) {
    return spw_error_at(vcd->error, SPW_ERR_UNSUPPORTED, line, SPW_NOWHERE,
                        "this is an extended VCD (EVCD) of ports, which is not read; dump a "
                        "four-state VCD, with $dumpvars in place of $dumpports");
}

/* type size code reference... $end */
static spw_status read_declaration(section *part, declaration *made) {
    spw_vcd *vcd = part->vcd;
    spw_status status = next(part);
    if (status != SPW_OK || part->done)
        return status;
    if (spw_vcd_word_is(&part->word, "port"))
        return spw_vcd_refuse_extended(vcd, made->line);
    made->type = find_type(&part->word);
    if (!made->type->standard && made->type->ignored == SPW_VCD_NOTES)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_TYPE, part->word.p, part->word.p, part->word.n);
    status = next(part);
    if (status != SPW_OK || part->done)
        return status;
    made->size = read_size(&part->word);
    status = next(part);
    if (status != SPW_OK || part->done)
        return status;
    made->code_length = is_code(part->word.p, part->word.n) ? part->word.n : 0;
    memcpy(made->code, part->word.p, made->code_length);
    made->understood = made->code_length > 0 && (made->type->ignored != SPW_VCD_NOTES ||
                                                 (made->size > 0 && made->size != UINT64_MAX));
    for (status = next(part); status == SPW_OK && !part->done; status = next(part))
        add_to_name(vcd, made, &part->word);
    return status;
}

static void note(spw_vcd *vcd, spw_vcd_note what, const declaration *made) {
    if (vcd->tally[what].n++ == 0)
        spw_vcd_note_at(vcd, what, made->line, made->name, made->name_length);
}

/* A variable whose code is new. */
static spw_status add_variable(spw_vcd *vcd, declaration *made) {
    spw_vcd_variable variable = {.was = SPW_LEVEL_UNKNOWN,
                                 .now = SPW_LEVEL_UNKNOWN,
                                 .tag = SPW_VCD_NEVER_KNOWN,
                                 .name = SPW_VCD_NONE};
    if (made->type->ignored != SPW_VCD_NOTES)
        note(vcd, made->type->ignored, made);
    else if (made->size > SPW_VCD_WIDTH_MAX)
        note(vcd, SPW_VCD_NOTE_WIDE, made);
    else if (made->size > 1 && made->size > SPW_VCD_BITS_MAX - vcd->n_bits)
        note(vcd, SPW_VCD_NOTE_BITS, made);
    else
        variable.width = (uint32_t)made->size;
    spw_status status = SPW_OK;
    if (variable.width > 0) {
        size_t n = spw_vcd_reference(made->name, made->name_length, &variable);
        status = spw_vcd_names_keep(&vcd->names, made->name, n, &variable.name);
    }
    if (status == SPW_OK)
        status = spw_array_room((void **)&vcd->variables, &vcd->variables_room, vcd->n_variables, 1,
                                sizeof *vcd->variables);
    if (status == SPW_OK)
        status = spw_vcd_codes_add(&vcd->codes, made->code, made->code_length,
                                   (uint32_t)vcd->n_variables);
    if (status != SPW_OK)
        return status;
    if (variable.width > 1) {
        variable.bits = vcd->n_bits;
        vcd->n_bits += variable.width;
    }
    vcd->n_scalars += variable.width == 1;
    if (variable.width == 1 && vcd->n_scalars == SPW_VCD_CHANNELS_MAX + 1)
        note(vcd, SPW_VCD_NOTE_SCALARS, made);
    vcd->variables[vcd->n_variables++] = variable;
    return SPW_OK;
}

static spw_status declare(spw_vcd *vcd, uint64_t line) {
    declaration made = {.line = line, .type = &other_type};
    section part = {.vcd = vcd};
    spw_status status = read_declaration(&part, &made);
    if (status != SPW_OK)
        return status;
    if (!made.understood) {
        if (made.name_length == 0)
            memcpy(made.name, "$var", made.name_length = 4);
        note(vcd, SPW_VCD_NOTE_VAR, &made);
        return SPW_OK;
    }
    uint32_t known = spw_vcd_codes_find(&vcd->codes, made.code, made.code_length);
    if (known != SPW_VCD_NONE) { /* an alias */
        uint32_t width = vcd->variables[known].width;
        if (width > 0 && (made.type->ignored != SPW_VCD_NOTES || width != made.size))
            note(vcd, SPW_VCD_NOTE_ALIAS_SIZE, &made);
        return SPW_OK;
    }
    status = vcd->n_variables < SPW_VCD_VARIABLES_MAX ? add_variable(vcd, &made) : SPW_ERR_LIMIT;
    if (status != SPW_ERR_LIMIT)
        return status;
    vcd->left_out = true;
    note(vcd, SPW_VCD_NOTE_VARIABLES, &made);
    return SPW_OK;
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
    section part = {.vcd = vcd};
    if (spw_vcd_word_is(word, "$var"))
        return declare(vcd, line);
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
        return finish(&part);
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
