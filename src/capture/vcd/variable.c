/* One $var: what is declared, and what is kept of it. */
#include "base/array.h"
#include "capture/vcd/vcd.h"

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

/* type size code reference... $end */
static spw_status read_declaration(spw_vcd_section *part, declaration *made) {
    spw_vcd *vcd = part->vcd;
    spw_status status = spw_vcd_section_next(part);
    if (status != SPW_OK || part->done)
        return status;
    if (spw_vcd_word_is(&part->word, "port"))
        return spw_vcd_refuse_extended(vcd, made->line);
    made->type = find_type(&part->word);
    if (!made->type->standard && made->type->ignored == SPW_VCD_NOTES)
        spw_vcd_remark(vcd, SPW_VCD_NOTE_TYPE, part->word.p, part->word.p, part->word.n);
    status = spw_vcd_section_next(part);
    if (status != SPW_OK || part->done)
        return status;
    made->size = read_size(&part->word);
    status = spw_vcd_section_next(part);
    if (status != SPW_OK || part->done)
        return status;
    made->code_length = is_code(part->word.p, part->word.n) ? part->word.n : 0;
    memcpy(made->code, part->word.p, made->code_length);
    made->understood = made->code_length > 0 && (made->type->ignored != SPW_VCD_NOTES ||
                                                 (made->size > 0 && made->size != UINT64_MAX));
    for (status = spw_vcd_section_next(part); status == SPW_OK && !part->done;
         status = spw_vcd_section_next(part))
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

spw_status spw_vcd_declare(spw_vcd *vcd, uint64_t line) {
    declaration made = {.line = line, .type = &other_type};
    spw_vcd_section part = {.vcd = vcd};
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
