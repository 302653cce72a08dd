/* What a capture is, by its content and never by its name, and who reads it. */
#include "capture/reader.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Enough for a VCD's or a table's preamble, little enough for a pipe that
 * fills slowly. */
#define RECOGNISE_BYTES ((size_t)1 << 16)

/* What the beginning looks like to a person who has to be told why it cannot
 * be read. */
typedef struct look {
    bool text; /* printable lines of some variety */
    bool keywords;
    bool markup;
    bool wide;            /* 16 bits a character */
    const char *document; /* a picture or a page, by its first bytes; NULL */
} look;

/* Their specifications' signatures: PNG (ISO/IEC 15948 5.2), PDF (ISO 32000-1 7.5.2),
 * JPEG (ITU-T T.81 B.1.1: SOI and the next marker's first byte), GIF (89a 17). */
static const char *document_of(const char *head, size_t length) {
    static const struct {
        const char *bytes;
        size_t n;
        const char *name;
    } known[] = {{"\x89PNG\r\n\x1a\n", 8, "a picture (PNG)"},
                 {"\xff\xd8\xff", 3, "a picture (JPEG)"},
                 {"GIF8", 4, "a picture (GIF)"},
                 {"%PDF-", 5, "a document (PDF)"}};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (length >= known[i].n && memcmp(head, known[i].bytes, known[i].n) == 0)
            return known[i].name;
    return NULL;
}

static size_t blanks(const char *head, size_t length) {
    size_t at = length >= 3 && memcmp(head, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
    while (at < length && memchr(" \t\r\n", head[at], 4) != NULL)
        at++;
    return at;
}

/* Text has lines and more different bytes than the few states of a raw dump. */
static bool is_text(const char *head, size_t length) {
    bool seen[256] = {false};
    size_t different = 0;
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)head[i];
        if ((c < ' ' && memchr("\t\r\n\f\v", c, 5) == NULL) || c == 0x7f)
            return false;
        different += !seen[c];
        seen[c] = true;
    }
    return seen['\n'] && different >= 12;
}

static look examine(const char *head, size_t length) {
    look found = {.text = is_text(head, length), .document = document_of(head, length)};
    size_t at = blanks(head, length);
    static const char *const keywords[] = {"$var",   "$date",    "$version",       "$timescale",
                                           "$scope", "$comment", "$enddefinitions"};
    for (size_t i = 0; i < sizeof keywords / sizeof keywords[0]; i++)
        found.keywords |= length - at >= strlen(keywords[i]) &&
                          memcmp(head + at, keywords[i], strlen(keywords[i])) == 0;
    found.markup = at < length && memchr("<{", head[at], 2) != NULL;
    found.wide =
        length >= 2 && (memcmp(head, "\xff\xfe", 2) == 0 || memcmp(head, "\xfe\xff", 2) == 0);
    return found;
}

static spw_status not_recognised(look found, bool has_rate, spw_error *error) {
    const char *why =
        "this is no VCD, table or sound file; if it is a raw logic dump (8 channels a byte), give "
        "its sample rate with --rate HZ";
    if (found.document != NULL)
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "this is %s, not a capture; export the recorder's data as VCD or CSV",
                             found.document);
    if (found.wide)
        why = "this is text of 16 bits a character; save it as UTF-8 and read that";
    else if (found.text && found.keywords)
        why = "this begins like a VCD but declares no signal; write the whole file, from its "
              "header on, once more";
    else if (found.text && found.markup)
        why = "this is marked-up text (HTML, XML or JSON), not a capture; export the capture as "
              "VCD or CSV";
    else if (found.text && has_rate)
        why = "this is text, not a raw logic dump, and neither a VCD nor a table of numbers; "
              "export the capture as VCD or CSV";
    else if (found.text)
        why = "this text is neither a VCD (no $var in it) nor a table (no rows of numbers in "
              "columns); export the capture as VCD or CSV";
    return spw_error_set(error, SPW_ERR_FORMAT, "%s", why);
}

static spw_status recognise(spw_source *source, const spw_read_options *options, spw_format *format,
                            spw_error *error) {
    const char *head;
    size_t length;
    spw_status status = spw_source_look(source, RECOGNISE_BYTES, &head, &length, error);
    if (status != SPW_OK)
        return status;
    bool whole = length < RECOGNISE_BYTES;
    if (length == 0)
        return spw_error_set(error, SPW_ERR_EMPTY,
                             "the content is empty; record the capture again");
    if (spw_audio_recognises(head, length, whole)) {
        *format = SPW_FORMAT_AUDIO;
        return SPW_OK;
    }
    if (spw_vcd_recognises(head, length, whole)) {
        *format = SPW_FORMAT_VCD;
        return SPW_OK;
    }
    if (spw_table_recognises(head, length, whole)) {
        *format = SPW_FORMAT_TABLE;
        return SPW_OK;
    }
    look found = examine(head, length < 4096 ? length : 4096);
    if (!options->has_rate || found.text || found.wide || found.document != NULL)
        return not_recognised(found, options->has_rate, error);
    *format = SPW_FORMAT_RAW;
    return SPW_OK;
}

static spw_reader *reader_of(spw_format format) {
    switch (format) {
    case SPW_FORMAT_VCD:
        return spw_vcd_read;
    case SPW_FORMAT_TABLE:
        return spw_table_read;
    case SPW_FORMAT_AUDIO:
        return spw_audio_read;
    case SPW_FORMAT_RAW:
        break;
    }
    return spw_raw_read;
}

static spw_status read_content(spw_source *source, const spw_read_options *options,
                               const spw_sink *sink, spw_capture_summary *summary,
                               spw_error *error) {
    spw_emitter *emitter = malloc(sizeof *emitter); /* 32 KiB: too much for a small stack */
    if (emitter == NULL)
        return SPW_ERR_MEMORY;
    emitter->sink = sink;
    emitter->n = 0;
    spw_status status = reader_of(summary->format)(source, options, emitter, summary, error);
    if (status == SPW_OK)
        status = spw_emit_flush(emitter);
    free(emitter);
    return status;
}

static spw_status read_all(spw_source *source, const spw_read_options *options,
                           const spw_sink *sink, spw_capture_summary *summary, spw_error *error) {
    spw_status status = recognise(source, options, &summary->format, error);
    if (status == SPW_OK)
        status = read_content(source, options, sink, summary, error);
    if (status == SPW_OK && spw_source_damage(source) != NULL) {
        summary->truncated = true;
        status = spw_notes_add(&summary->warnings, "%s", spw_source_damage(source));
    }
    return status;
}

static spw_status check_options(const spw_read_options *options, spw_error *error) {
    if (options->has_rate &&
        !(options->rate_hz > 0 && isfinite(options->rate_hz) && isfinite(1 / options->rate_hz)))
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "--rate has to be a number of samples a second above 0");
    return SPW_OK;
}

spw_status spw_capture_read_source(spw_source *source, const spw_read_options *options,
                                   const spw_sink *sink, spw_capture_summary *summary,
                                   spw_error *error) {
    spw_capture_summary made = {0};
    static const spw_read_options none = {.has_rate = false};
    if (options == NULL)
        options = &none;
    spw_status status = check_options(options, error);
    if (status == SPW_OK)
        status = read_all(source, options, sink, &made, error);
    if (status == SPW_OK)
        *summary = made;
    else
        spw_capture_summary_free(&made);
    return status;
}

spw_status spw_capture_read(const char *path, const spw_read_options *options, const spw_sink *sink,
                            spw_capture_summary *summary, spw_error *error) {
    spw_source *source = NULL;
    spw_error_clear(error);
    spw_status status = options == NULL ? SPW_OK : check_options(options, error);
    if (status == SPW_OK)
        status = spw_source_open(path, options, &source, error);
    if (status == SPW_OK)
        status = spw_capture_read_source(source, options, sink, summary, error);
    if (status != SPW_OK && error != NULL) {
        if (error->message[0] == '\0')
            spw_error_set(error, status, "%s", spw_status_text(status));
        spw_error_file(error, path);
    }
    spw_source_free(source);
    return status;
}
