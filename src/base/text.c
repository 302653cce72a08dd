/* Text that is safe to show, and growable text. */
#include "base/array.h"
#include "base/plain.h"
#include "base/utf8.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

char *spw_text_safe(char *out, size_t out_size, const char *in, size_t length) {
    if (out_size == 0)
        return out;
    static const char cut[] = "...";
    size_t used = 0, cut_at = 0;
    for (size_t at = 0; at < length;) {
        char piece[20];
        size_t piece_size;
        size_t taken = spw_utf8_safe(in + at, length - at, piece, &piece_size);
        if (used + piece_size >= out_size) {
            size_t mark = out_size > sizeof cut ? sizeof cut - 1 : 0;
            memcpy(out + cut_at, cut, mark);
            out[cut_at + mark] = '\0';
            return out;
        }
        memcpy(out + used, piece, piece_size);
        used += piece_size;
        at += taken;
        if (used + sizeof cut <= out_size)
            cut_at = used;
    }
    out[used] = '\0';
    return out;
}

static bool room(spw_text *text, size_t more) {
    if (text->failed)
        return false;
    if (more >= SIZE_MAX - text->length || text->length + more + 1 > text->capacity) {
        void *data = text->data;
        if (more == SIZE_MAX ||
            spw_array_room(&data, &text->capacity, text->length, more + 1, 1) != SPW_OK) {
            text->failed = true;
            return false;
        }
        text->data = data;
    }
    return true;
}

void spw_text_append(spw_text *text, const char *bytes, size_t length) {
    if (!room(text, length))
        return;
    if (length > 0)
        memcpy(text->data + text->length, bytes, length);
    text->length += length;
    text->data[text->length] = '\0';
}

void spw_text_puts(spw_text *text, const char *string) {
    spw_text_append(text, string, strlen(string));
}

void spw_text_vprintf(spw_text *text, const char *format, va_list arguments) {
    va_list again;
    va_copy(again, arguments);
    int length = spw_plain_print(NULL, 0, format, arguments);
    if (length < 0)
        text->failed = true;
    else if (room(text, (size_t)length)) {
        /* The room was made for exactly this text just above. */
        int written = spw_plain_print(text->data + text->length, (size_t)length + 1, format, again);
        if (written == length)
            text->length += (size_t)length;
        else
            text->failed = true;
    }
    va_end(again);
}

void spw_text_printf(spw_text *text, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    spw_text_vprintf(text, format, arguments);
    va_end(arguments);
}

spw_status spw_text_status(const spw_text *text) {
    return text->failed ? SPW_ERR_MEMORY : SPW_OK;
}

void spw_text_free(spw_text *text) {
    free(text->data);
    *text = (spw_text){0};
}
