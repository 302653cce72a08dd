/* Text that is safe to show, and growable text. */
#include "base/array.h"
#include "base/plain.h"
#include "base/utf8.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One character of `in`, made safe: the bytes to show in piece, their number
 * in *piece_size; returns how many bytes of `in` it stands for. */
static size_t safe_piece(const char *in, size_t length, char piece[20], size_t *piece_size) {
    uint32_t code;
    size_t size = spw_utf8_next(in, length, &code);
    if (size > 0 && spw_utf8_showable(code)) {
        memcpy(piece, in, size);
        *piece_size = size;
        return size;
    }
    static const char hex[] = "0123456789abcdef";
    size_t taken = size > 0 ? size : 1;
    for (size_t i = 0; i < taken; i++) {
        unsigned char byte = (unsigned char)in[i];
        piece[4 * i] = '\\';
        piece[4 * i + 1] = 'x';
        piece[4 * i + 2] = hex[byte >> 4];
        piece[4 * i + 3] = hex[byte & 15];
    }
    *piece_size = 4 * taken;
    return taken;
}

char *spw_text_safe(char *out, size_t out_size, const char *in, size_t length) {
    if (out_size == 0)
        return out;
    static const char cut[] = "...";
    size_t used = 0, cut_at = 0;
    for (size_t at = 0; at < length;) {
        char piece[20];
        size_t piece_size;
        size_t taken = safe_piece(in + at, length - at, piece, &piece_size);
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

void spw_text_html(spw_text *text, const char *bytes, size_t length) {
    for (size_t at = 0; at < length;) {
        char piece[20];
        size_t size;
        at += safe_piece(bytes + at, length - at, piece, &size);
        switch (size == 1 ? piece[0] : 'a') {
        case '&':
            spw_text_puts(text, "&amp;");
            break;
        case '<':
            spw_text_puts(text, "&lt;");
            break;
        case '>':
            spw_text_puts(text, "&gt;");
            break;
        case '"':
            spw_text_puts(text, "&quot;");
            break;
        case '\'':
            spw_text_puts(text, "&#39;");
            break;
        default:
            spw_text_append(text, piece, size);
        }
    }
}

/* Would a spreadsheet take the cell for a formula? The signs that start one, as wide
 * letters too, behind blanks or not (OWASP, "CSV Injection"). */
static bool starts_formula(const char *bytes, size_t length) {
    static const char *const wide[] = {"\uff1d", "\uff0b", "\uff0d", "\uff20"};
    while (length > 0 && bytes[0] == ' ') {
        bytes++;
        length--;
    }
    for (size_t i = 0; i < sizeof wide / sizeof wide[0]; i++)
        if (length >= 3 && memcmp(bytes, wide[i], 3) == 0)
            return true;
    return length > 0 && memchr("=+-@\t\r\n", bytes[0], 7) != NULL;
}

void spw_text_csv_cell(spw_text *text, const char *bytes, size_t length) {
    bool formula = starts_formula(bytes, length);
    bool quoted = formula;
    for (size_t i = 0; i < length && !quoted; i++)
        quoted = memchr(",;\"\t\r\n", bytes[i], 6) != NULL;
    if (quoted)
        spw_text_append(text, "\"", 1);
    if (formula)
        spw_text_append(text, "'", 1);
    for (size_t at = 0; at < length;) {
        char piece[20];
        size_t size;
        at += safe_piece(bytes + at, length - at, piece, &size);
        if (size == 1 && piece[0] == '"')
            spw_text_append(text, "\"", 1);
        spw_text_append(text, piece, size);
    }
    if (quoted)
        spw_text_append(text, "\"", 1);
}

spw_status spw_text_status(const spw_text *text) {
    return text->failed ? SPW_ERR_MEMORY : SPW_OK;
}

void spw_text_free(spw_text *text) {
    free(text->data);
    *text = (spw_text){0};
}
