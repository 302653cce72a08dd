/* What a reader says of a file. A list of sentences has a bound: a capture with a million faults
 * gets a page of them and a count. */
#include "spanwright/capture.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NOTE_MAX 1024
#define COUNT_ROOM 64

static spw_status append(spw_notes *notes, char *sentence) {
    char **text = realloc(notes->text, (notes->n + 1) * sizeof *text);
    if (text == NULL) {
        free(sentence);
        return SPW_ERR_MEMORY;
    }
    text[notes->n] = sentence;
    notes->text = text;
    notes->n++;
    return SPW_OK;
}

static spw_status count_dropped(spw_notes *notes) {
    if (notes->dropped == 0) {
        char *sentence = malloc(COUNT_ROOM);
        spw_status status = sentence == NULL ? SPW_ERR_MEMORY : append(notes, sentence);
        if (status != SPW_OK)
            return status;
    }
    notes->dropped++;
    (void)snprintf(notes->text[SPW_NOTES_MAX], COUNT_ROOM, "and %llu more",
                   (unsigned long long)notes->dropped);
    return SPW_OK;
}

spw_status spw_notes_add(spw_notes *notes, const char *format, ...) {
    if (notes->n >= SPW_NOTES_MAX)
        return count_dropped(notes);
    spw_text text = {0};
    va_list arguments;
    va_start(arguments, format);
    spw_text_vprintf(&text, format, arguments);
    va_end(arguments);
    spw_status status = spw_text_status(&text);
    if (status == SPW_OK) {
        char *sentence = malloc(NOTE_MAX);
        if (sentence == NULL)
            status = SPW_ERR_MEMORY;
        else
            status = append(notes, spw_text_safe(sentence, NOTE_MAX, text.data, text.length));
    }
    spw_text_free(&text);
    return status;
}

void spw_notes_free(spw_notes *notes) {
    if (notes == NULL)
        return;
    for (size_t i = 0; i < notes->n; i++)
        free(notes->text[i]);
    free(notes->text);
    *notes = (spw_notes){0};
}

const char *spw_format_name(spw_format format) {
    switch (format) {
    case SPW_FORMAT_VCD:
        return "vcd";
    case SPW_FORMAT_TABLE:
        return "table";
    case SPW_FORMAT_RAW:
        return "raw";
    case SPW_FORMAT_AUDIO:
        return "audio";
    }
    return "unknown";
}

void spw_capture_summary_free(spw_capture_summary *summary) {
    if (summary == NULL)
        return;
    spw_notes_free(&summary->recognised);
    spw_notes_free(&summary->warnings);
    *summary = (spw_capture_summary){0};
}
