/* Value change dumps, as simulators and logic analysers write them: the
 * reading as a whole, and recognition. */
#include "capture/vcd/vcd.h"

#include <stdlib.h>

static bool word_at(const char *head, size_t length, size_t at, const char *word) {
    size_t n = strlen(word);
    if (length - at < n || memcmp(head + at, word, n) != 0)
        return false;
    return length - at == n || spw_vcd_white(head[at + n]);
}

static bool keyword_at(const char *head, size_t length, size_t at) {
    static const char *const keywords[] = {
        "$date",    "$version",   "$timescale", "$comment",        "$scope",    "$var",
        "$upscope", "$attrbegin", "$timezero",  "$enddefinitions", "$dumpvars", "$dumpall",
    };
    for (size_t i = 0; i < sizeof keywords / sizeof keywords[0]; i++)
        if (word_at(head, length, at, keywords[i]))
            return true;
    return false;
}

/* A keyword comes first on some line (other text may come before), and
 * further on there are an $end and a declaration, all between white space; or
 * the keyword comes first of all, and the beginning at hand is too short to
 * hold more. A table whose cells begin with $ has none of these words alone. */
bool spw_vcd_recognises(const char *head, size_t length, bool whole) {
    size_t at = length >= 3 && memcmp(head, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
    bool first = true, keyword = false, sure = false, line = true;
    bool end = false, declaration = false;
    while (at < length && !(end && declaration)) {
        if (spw_vcd_white(head[at])) {
            line = line || head[at] == '\n' || head[at] == '\r';
            at++;
            continue;
        }
        if (head[at] == '\0')
            return false;
        bool here = line && keyword_at(head, length, at);
        sure = sure || (here && first);
        keyword = keyword || here;
        if (keyword && head[at] == '$') {
            end = end || word_at(head, length, at, "$end");
            declaration = declaration || word_at(head, length, at, "$var") ||
                          word_at(head, length, at, "$enddefinitions");
        }
        first = line = false;
        while (at < length && !spw_vcd_white(head[at]) && head[at] != '\0')
            at++;
    }
    return (end && declaration) || (sure && (end || !whole));
}

static spw_status describe(spw_vcd *vcd) {
    spw_capture_summary *summary = vcd->summary;
    spw_status status =
        spw_notes_add(&summary->recognised, "VCD (IEEE Std 1364), time unit %s%s, %zu variable%s",
                      vcd->scale.text, vcd->has_scale ? "" : " (--time-unit)", vcd->n_variables,
                      vcd->n_variables == 1 ? "" : "s");
    return status == SPW_OK ? spw_vcd_tell(vcd) : status;
}

static spw_status read_all(spw_vcd *vcd) {
    spw_status status;
    do
        status = spw_vcd_text_more(&vcd->text, vcd->error);
    while (status == SPW_OK && vcd->text.length < 3 && !vcd->text.last);
    if (status != SPW_OK)
        return status;
    if (vcd->text.length >= 3 && memcmp(vcd->text.data, "\xef\xbb\xbf", 3) == 0)
        vcd->text.at = 3;
    status = spw_vcd_header(vcd);
    if (status == SPW_OK)
        status = spw_vcd_changes(vcd);
    if (status != SPW_OK)
        return status;
    if (!vcd->has_time)
        return spw_error_set(vcd->error, SPW_ERR_EMPTY,
                             "the VCD has declarations but no time mark (#...): nothing was "
                             "recorded; record it once more");
    vcd->summary->channels = vcd->n_channels;
    vcd->summary->duration_s = spw_vcd_seconds(&vcd->scale, vcd->time - vcd->first);
    return describe(vcd);
}

static spw_status out_of_memory(spw_error *error) {
    return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
}

spw_status spw_vcd_read(spw_source *source, const spw_read_options *options, spw_emitter *emitter,
                        spw_capture_summary *summary, spw_error *error) {
    spw_vcd *vcd = calloc(1, sizeof *vcd);
    if (vcd == NULL)
        return out_of_memory(error);
    vcd->text.source = source;
    vcd->emitter = emitter;
    vcd->options = options;
    vcd->summary = summary;
    vcd->error = error;
    vcd->names.scope = SPW_VCD_NONE;
    spw_status status = spw_vcd_codes_start(&vcd->codes);
    if (status == SPW_OK)
        status = read_all(vcd);
    spw_vcd_levels_free(vcd);
    spw_vcd_names_free(&vcd->names);
    spw_vcd_codes_free(&vcd->codes);
    free(vcd->variables);
    free(vcd);
    return status == SPW_ERR_MEMORY ? out_of_memory(error) : status;
}
