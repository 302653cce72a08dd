/* Writing the sheet's HTML. */
#include "report/sheet/sheet.h"

#include <stdio.h>
#include <string.h>

#define NAME_BYTES 160 /* of a name that is shown whole */

void spw_sheet_put(spw_sheet *sheet, const char *markup) {
    spw_text_puts(sheet->out, markup);
}

void spw_sheet_printf(spw_sheet *sheet, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    spw_text_vprintf(sheet->out, format, arguments);
    va_end(arguments);
}

void spw_sheet_text(spw_sheet *sheet, const char *text) {
    spw_text_html(sheet->out, text, strlen(text));
}

void spw_sheet_name(spw_sheet *sheet, const char *name) {
    char safe[NAME_BYTES];
    size_t length = strlen(name);
    spw_text_safe(safe, sizeof safe, name, length);
    spw_sheet_put(sheet, "<bdi>");
    spw_sheet_text(sheet, safe);
    spw_sheet_put(sheet, "</bdi>");
    if (length >= sizeof safe)
        spw_sheet_printf(sheet, " (cut; %zu bytes)", length);
}

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

static bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' || is_digit(c);
}

void spw_sheet_prose(spw_sheet *sheet, const char *sentence) {
    const char *from = sentence, *at = sentence;
    while ((at = strstr(at, " us")) != NULL) {
        if (at > sentence && is_digit(at[-1]) && !is_letter(at[3])) {
            spw_text_html(sheet->out, from, (size_t)(at - from));
            spw_text_puts(sheet->out, "\xc2\xa0" SPW_MICRO);
            from = at + 3;
        }
        at += 3;
    }
    spw_sheet_text(sheet, from);
}

void spw_sheet_value(spw_sheet *sheet, spw_figure figure, const char *path, const char *u_path) {
    if (figure.text[0] == '\0' || strcmp(figure.text, "not known") == 0) {
        spw_sheet_put(sheet, "<span class=\"none\">not known</span>");
        return;
    }
    spw_sheet_printf(sheet, "<span class=\"n\" data-field=\"%s\"", path);
    if (u_path != NULL)
        spw_sheet_printf(sheet, " data-u=\"%s\"", u_path);
    spw_sheet_put(sheet, ">");
    spw_sheet_text(sheet, figure.text);
    spw_sheet_put(sheet, "</span>");
}

spw_field spw_sheet_field(const spw_sheet *sheet, size_t source, const char *format, ...) {
    spw_field field;
    const spw_plan_source *from = &sheet->facts->sources[source];
    int used = snprintf(field.path, sizeof field.path, "measure.captures.%zu.channels.%zu.", source,
                        (size_t)(from->channel - from->capture->channel));
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(field.path + used, sizeof field.path - (size_t)used, format, arguments);
    va_end(arguments);
    return field;
}

void spw_sheet_section(spw_sheet *sheet, const char *class_name, const char *title) {
    spw_sheet_printf(sheet, "<section class=\"%s\">\n<h2>%s</h2>\n", class_name, title);
}

void spw_sheet_section_end(spw_sheet *sheet) {
    spw_sheet_put(sheet, "</section>\n");
}

void spw_sheet_table(spw_sheet *sheet, const char *class_name, const char *caption,
                     const char *heads) {
    spw_sheet_printf(sheet,
                     "<div class=\"scroll\"><table class=\"%s\">\n<caption>%s</caption>\n"
                     "<thead><tr>",
                     class_name, caption);
    for (;;) {
        size_t length = strcspn(heads, "|");
        spw_sheet_printf(sheet, "<th scope=\"col\">%.*s</th>", (int)length, heads);
        if (heads[length] == '\0')
            break;
        heads += length + 1;
    }
    spw_sheet_put(sheet, "</tr></thead>\n<tbody>\n");
}

void spw_sheet_table_end(spw_sheet *sheet) {
    spw_sheet_put(sheet, "</tbody></table></div>\n");
}

void spw_sheet_figure(spw_sheet *sheet, const char *caption) {
    spw_sheet_printf(sheet, "<figure>\n<figcaption>%s</figcaption>\n", caption);
}

void spw_sheet_figure_end(spw_sheet *sheet) {
    spw_sheet_put(sheet, "</figure>\n");
}
