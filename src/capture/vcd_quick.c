/* Most lines of a dump are "#1500", "1!" or "b10 !": these are read here, in
 * one tight loop over the whole lines of the window. Anything else, and the
 * last line when it lacks its end, is left to vcd_changes.c, a statement at a
 * time, with the same meaning. */
#include "capture/vcd.h"

/* Bytes of a word that ends before a white byte which is known to come. */
static inline size_t word_length(const char *p) {
    size_t n = 0;
    while (!spw_vcd_white(p[n]))
        n++;
    return n;
}

/* "1!": returns what follows, or p when this is a case for statement(). */
static inline const char *quick_scalar(spw_vcd *vcd, const char *p) {
    uint32_t number;
    size_t n = 1;
    if (spw_vcd_white(p[1]))
        return p;
    if (spw_vcd_white(p[2])) {
        number = spw_vcd_codes_find(&vcd->codes, p + 1, 1);
    } else if (spw_vcd_white(p[3])) {
        n = 2;
        number = spw_vcd_codes_find(&vcd->codes, p + 1, 2);
    } else {
        n = word_length(p + 1);
        number = spw_vcd_codes_find_long(&vcd->codes, p + 1, n);
    }
    if (number == SPW_VCD_NONE)
        return p;
    spw_vcd_variable *variable = &vcd->variables[number];
    uint8_t level = (uint8_t)(spw_vcd_digit[(unsigned char)*p] - 1);
    if (variable->width == 1) {
        if (variable->now != level) {
            spw_vcd_touch(vcd, number);
            variable->now = level;
        }
    } else if (variable->width > 1) {
        spw_vcd_set(vcd, number, p, 1);
    }
    return p + 1 + n;
}

/* "b10zx !" */
static inline const char *quick_vector(spw_vcd *vcd, const char *p) {
    const char *digits = p + 1, *end = digits;
    while (spw_vcd_digit[(unsigned char)*end] != 0)
        end++;
    if (end == digits || *end != ' ')
        return p;
    size_t n = word_length(end + 1);
    uint32_t number = spw_vcd_codes_find(&vcd->codes, end + 1, n);
    if (number == SPW_VCD_NONE || (size_t)(end - digits) > vcd->variables[number].width)
        return p;
    spw_vcd_set(vcd, number, digits, (size_t)(end - digits));
    return end + 1 + n;
}

/* "#1500" */
static inline const char *quick_time(spw_vcd *vcd, const char *p, spw_status *status) {
    const char *digits = p + 1, *at = digits;
    uint64_t time = 0;
    for (unsigned digit; (digit = (unsigned)(unsigned char)*at - '0') < 10; at++)
        time = time * 10 + digit;
    /* 19 digits are below 2^64 */
    if (at == digits || at - digits > 19 || !spw_vcd_white(*at) || time < vcd->time)
        return p;
    vcd->section = NULL;
    if (time == vcd->time)
        return at;
    vcd->text.at = (size_t)(p - vcd->text.data);
    *status = spw_vcd_step_end(vcd);
    vcd->time = time;
    return at;
}

/* All that is usual within the whole lines of the window. */
spw_status spw_vcd_quick(spw_vcd *vcd) {
    spw_vcd_text *text = &vcd->text;
    const char *p = text->data + text->at, *stop = text->data + spw_vcd_text_lines_end(text);
    spw_status status = SPW_OK;
    while (p < stop && status == SPW_OK) {
        const char *before = p;
        if (spw_vcd_white(*p))
            p++;
        else if (*p == '#')
            p = quick_time(vcd, p, &status);
        else if (spw_vcd_digit[(unsigned char)*p] != 0)
            p = quick_scalar(vcd, p);
        else if (*p == 'b')
            p = quick_vector(vcd, p);
        if (p == before)
            break;
    }
    if (p > text->data + text->at)
        text->at = (size_t)(p - text->data);
    return status;
}
