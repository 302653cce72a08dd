/* Safe text for what reads it next: a page, a spreadsheet, a shell. */
#include "base/utf8.h"
#include "spanwright/base.h"

#include <string.h>

void spw_text_html(spw_text *text, const char *bytes, size_t length) {
    for (size_t at = 0; at < length;) {
        char piece[20];
        size_t size;
        at += spw_utf8_safe(bytes + at, length - at, piece, &size);
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
        at += spw_utf8_safe(bytes + at, length - at, piece, &size);
        if (size == 1 && piece[0] == '"')
            spw_text_append(text, "\"", 1);
        spw_text_append(text, piece, size);
    }
    if (quoted)
        spw_text_append(text, "\"", 1);
}

void spw_text_shell_word(spw_text *text, const char *word) {
    static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
                                "%+,-./:=@_";
    size_t length = strlen(word);
    if (length > 0 && strspn(word, plain) == length) {
        spw_text_puts(text, word);
        return;
    }
    char piece[20];
    size_t size;
    bool strange = false; /* a byte that only an escape can tell */
    for (size_t at = 0; at < length && !strange;) {
        size_t taken = spw_utf8_safe(word + at, length - at, piece, &size);
        strange = size != taken;
        at += taken;
    }
    spw_text_puts(text, strange ? "$'" : "'");
    for (size_t at = 0; at < length;) {
        size_t taken = spw_utf8_safe(word + at, length - at, piece, &size);
        if (word[at] == '\'')
            spw_text_puts(text, strange ? "\\'" : "'\\''");
        else if (word[at] == '\\' && strange)
            spw_text_puts(text, "\\\\");
        else
            spw_text_append(text, piece, size);
        at += taken;
        /* a digit behind \xNN would be read as a third one by some shells */
        if (strange && size != taken && at < length)
            spw_text_puts(text, "'$'");
    }
    spw_text_puts(text, "'");
}
