/* A page of plain text. */
#include "report/text/text.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define INDENT "  "
#define TEXT_COLUMN 16 /* where the text of a labelled row starts */
#define LEAST_WIDTH 40

spw_page spw_page_start(spw_text *out, const spw_text_style *style) {
    spw_page page = {.out = out, .width = 80};
    if (style != NULL) {
        page.colour = style->colour;
        if (style->width != 0)
            page.width = style->width < LEAST_WIDTH ? LEAST_WIDTH : style->width;
    }
    return page;
}

static bool continues(char byte) { /* a later byte of a UTF-8 character */
    return ((unsigned char)byte & 0xC0u) == 0x80u;
}

size_t spw_page_columns(const char *text) {
    size_t columns = 0;
    for (; *text != '\0'; text++)
        columns += !continues(*text);
    return columns;
}

spw_shown spw_shown_name(const char *name, size_t columns) {
    spw_shown shown = {""};
    spw_text_safe(shown.text, sizeof shown.text, name, strlen(name));
    if (spw_page_columns(shown.text) <= columns)
        return shown;
    size_t at = 0;
    for (size_t kept = 0; shown.text[at] != '\0'; at++) {
        if (!continues(shown.text[at]) && ++kept + 3 > columns)
            break;
    }
    memcpy(shown.text + at, "...", 4);
    return shown;
}

static void tone_on(const spw_page *page, spw_tone tone) {
    static const char *const code[] = {"", "\x1b[1m", "\x1b[32m", "\x1b[31m"};
    if (page->colour)
        spw_text_puts(page->out, code[tone]);
}

static void tone_off(const spw_page *page, spw_tone tone) {
    if (page->colour && tone != SPW_TONE_PLAIN)
        spw_text_puts(page->out, "\x1b[0m");
}

static void blanks(const spw_page *page, size_t n) {
    while (n-- > 0)
        spw_text_puts(page->out, " ");
}

/* A number stays on one line with its unit and its uncertainty. */
static bool sticks(const char *before, size_t before_length, const char *word, size_t length) {
    static const char *const units[] = {"us", "ms",  "s",   "Hz",  "kHz", "MHz",
                                        "%",  "deg", "rpm", "ppm", "V"};
    if ((length == 2 && memcmp(word, "\xc2\xb1", 2) == 0) ||
        (before_length == 2 && memcmp(before, "\xc2\xb1", 2) == 0))
        return true;
    if (before_length == 0 || !isdigit((unsigned char)before[before_length - 1]))
        return false;
    while (length > 0 && strchr(",;:.)", word[length - 1]) != NULL)
        length--;
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (strlen(units[i]) == length && memcmp(units[i], word, length) == 0)
            return true;
    return false;
}

/* Length of the next piece that must not be torn: words that stick together. */
static size_t next_piece(const char *text, size_t *columns) {
    size_t end = strcspn(text, " "), word = 0, word_length = end;
    while (text[end] == ' ') {
        size_t next = end + 1, length = strcspn(text + next, " ");
        if (!sticks(text + word, word_length, text + next, length))
            break;
        word = next;
        word_length = length;
        end = next + length;
    }
    *columns = 0;
    for (size_t i = 0; i < end; i++)
        *columns += !continues(text[i]);
    return end;
}

/* Prints a piece that is wider than a whole line, torn where lines end. */
static size_t tear(const spw_page *page, const char *piece, size_t length, size_t column,
                   size_t hang) {
    for (size_t i = 0; i < length; i++) {
        if (!continues(piece[i]) && column++ >= page->width) {
            spw_text_puts(page->out, "\n");
            blanks(page, hang);
            column = hang + 1;
        }
        spw_text_append(page->out, piece + i, 1);
    }
    return column;
}

/* Text from `column` on, later lines from `hang` on. */
static void wrap(const spw_page *page, const char *text, size_t column, size_t hang) {
    bool fresh = true;
    while (*text != '\0') {
        size_t columns, length = next_piece(text, &columns);
        if (!fresh && column + 1 + columns > page->width) {
            spw_text_puts(page->out, "\n");
            blanks(page, hang);
            column = hang;
        } else if (!fresh) {
            spw_text_puts(page->out, " ");
            column++;
        }
        if (column + columns > page->width) {
            column = tear(page, text, length, column, hang);
        } else {
            spw_text_append(page->out, text, length);
            column += columns;
        }
        fresh = false;
        text += length;
        text += *text == ' ';
    }
}

/* The formatted text, to be freed; NULL after noting the failure. */
static char *formatted(const spw_page *page, const char *format, va_list arguments) {
    spw_text text = {0};
    spw_text_vprintf(&text, format, arguments);
    if (spw_text_status(&text) == SPW_OK)
        return text.data;
    page->out->failed = true;
    spw_text_free(&text);
    return NULL;
}

static void labelled(const spw_page *page, spw_tone tone, const char *lead, size_t hang,
                     const char *text) {
    if (text == NULL)
        return;
    size_t column = spw_page_columns(lead);
    spw_text_puts(page->out, lead);
    if (column < hang) {
        blanks(page, hang - column);
        column = hang;
    }
    tone_on(page, tone);
    wrap(page, text, column, hang);
    tone_off(page, tone);
    spw_text_puts(page->out, "\n");
}

void spw_page_title(const spw_page *page, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    char *text = formatted(page, format, arguments);
    va_end(arguments);
    labelled(page, SPW_TONE_STRONG, "", 0, text);
    free(text);
}

void spw_page_section(const spw_page *page, const char *name) {
    spw_text_puts(page->out, "\n");
    spw_page_title(page, "%s", name);
}

void spw_page_row(const spw_page *page, const char *label, const char *format, ...) {
    char lead[64];
    (void)snprintf(lead, sizeof lead, INDENT "%s ", label);
    va_list arguments;
    va_start(arguments, format);
    char *text = formatted(page, format, arguments);
    va_end(arguments);
    labelled(page, SPW_TONE_PLAIN, lead, TEXT_COLUMN, text);
    free(text);
}

void spw_page_row_toned(const spw_page *page, spw_tone tone, const char *label, const char *format,
                        ...) {
    char lead[64];
    (void)snprintf(lead, sizeof lead, INDENT "%s ", label);
    va_list arguments;
    va_start(arguments, format);
    char *text = formatted(page, format, arguments);
    va_end(arguments);
    labelled(page, tone, lead, TEXT_COLUMN, text);
    free(text);
}

void spw_page_warn(const spw_page *page, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    char *text = formatted(page, format, arguments);
    va_end(arguments);
    labelled(page, SPW_TONE_BAD, INDENT "! ", 4, text);
    free(text);
}

void spw_page_step(const spw_page *page, size_t number, const char *format, ...) {
    char lead[32];
    (void)snprintf(lead, sizeof lead, INDENT "%zu. ", number);
    va_list arguments;
    va_start(arguments, format);
    char *text = formatted(page, format, arguments);
    va_end(arguments);
    labelled(page, SPW_TONE_PLAIN, lead, 5, text);
    free(text);
}

void spw_page_line(const spw_page *page, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    char *text = formatted(page, format, arguments);
    va_end(arguments);
    if (text != NULL) {
        spw_text_puts(page->out, text);
        spw_text_puts(page->out, "\n");
    }
    free(text);
}
