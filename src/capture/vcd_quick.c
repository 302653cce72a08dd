/* Most lines of a dump are "#1500", "1!" or "b10 !": these are read here, in
 * one tight loop over the whole lines of the window. Anything else, and the
 * last line when it lacks its end, is left to vcd_changes.c, a statement at a
 * time, with the same meaning.
 *
 * Every quick_ function takes a statement at p and returns the white byte
 * behind it, or NULL when it is not for it. Within whole lines a white byte
 * always comes, so that none of them looks for the end. */
#include "capture/vcd.h"

static inline size_t word_length(const char *p) {
    size_t n = 0;
    while (!spw_vcd_white(p[n]))
        n++;
    return n;
}

/* "1!" */
static inline const char *quick_scalar(spw_vcd *vcd, const char *p) {
    uint32_t number;
    size_t n = 1;
    if (spw_vcd_white(p[1]))
        return NULL;
    if (spw_vcd_white(p[2])) {
        number = spw_vcd_codes_find(&vcd->codes, p + 1, 1);
    } else {
        n = word_length(p + 1);
        number = spw_vcd_codes_find(&vcd->codes, p + 1, n);
    }
    if (number == SPW_VCD_NONE)
        return NULL;
    spw_vcd_variable *variable = &vcd->variables[number];
    uint8_t level = (uint8_t)(spw_vcd_digit[(unsigned char)*p] - 1);
    if (variable->width > 1) {
        spw_vcd_set(vcd, number, p, 1);
    } else if (variable->now != level && variable->width == 1) {
        spw_vcd_touch(vcd, number);
        variable->now = level;
    }
    return p + 1 + n;
}

/* "b10zx !" */
static inline const char *quick_vector(spw_vcd *vcd, const char *p) {
    const char *digits = p + 1, *end = digits;
    while (spw_vcd_digit[(unsigned char)*end] != 0)
        end++;
    if (end == digits || *end != ' ')
        return NULL;
    size_t n = word_length(end + 1);
    uint32_t number = spw_vcd_codes_find(&vcd->codes, end + 1, n);
    if (number == SPW_VCD_NONE || (size_t)(end - digits) > vcd->variables[number].width)
        return NULL;
    spw_vcd_set(vcd, number, digits, (size_t)(end - digits));
    return end + 1 + n;
}

/* As spw_vcd_step_end, where one scalar was touched, which is a channel. */
static inline spw_status quick_step_end(spw_vcd *vcd, const char *p) {
    spw_vcd_variable *variable = vcd->variables + (vcd->n_touched == 1 ? vcd->touched[0] : 0);
    if (vcd->n_touched != 1 || variable->tag >= SPW_VCD_CHANNELS_MAX || !variable->live) {
        vcd->text.at = (size_t)(p - vcd->text.data); /* for what may have to be said */
        return vcd->n_touched == 0 ? SPW_OK : spw_vcd_step_end(vcd);
    }
    vcd->n_touched = 0;
    variable->touched = false;
    if (variable->now == variable->was)
        return SPW_OK;
    variable->was = variable->now;
    return spw_emit_change(vcd->emitter, spw_vcd_seconds(&vcd->scale, vcd->time - vcd->first),
                           variable->tag, (spw_level)variable->now);
}

/* Value of eight digits at once, or false when they are not all digits. */
static inline bool eight_digits(const char *digits, uint64_t *value) {
#if __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
    const uint64_t high = UINT64_C(0xf0f0f0f0f0f0f0f0), sixes = UINT64_C(0x0606060606060606);
    uint64_t v;
    memcpy(&v, digits, 8);
    /* a digit is 3 in its high half, and still is with 6 added */
    if (((v & high) | ((v + sixes) & high) >> 4) != UINT64_C(0x3333333333333333))
        return false;
    v &= UINT64_C(0x0f0f0f0f0f0f0f0f);
    v = (v * 10 + (v >> 8)) & UINT64_C(0x00ff00ff00ff00ff); /* pairs, the first one lowest */
    v = (v * 100 + (v >> 16)) & UINT64_C(0x0000ffff0000ffff);
    *value = (v & 0xffff) * 10000 + (v >> 32);
    return true;
#else
    (void)digits, (void)value;
    return false;
#endif
}

/* "#1500" */
static inline const char *quick_time(spw_vcd *vcd, const char *p, const char *stop,
                                     spw_status *status) {
    const char *digits = p + 1, *at = digits;
    uint64_t time = 0;
    if (stop - digits > 8 && eight_digits(digits, &time))
        at += 8;
    for (unsigned digit; (digit = (unsigned)(unsigned char)*at - '0') < 10; at++)
        time = time * 10 + digit;
    /* 19 digits are below 2^64 */
    if ((size_t)(at - digits) - 1 >= 19 || !spw_vcd_white(*at) || time < vcd->time)
        return NULL;
    vcd->section = NULL;
    if (time == vcd->time)
        return at;
    *status = quick_step_end(vcd, p);
    vcd->time = time;
    return *status == SPW_OK ? at : NULL;
}

/* Line ends are counted on the way: most lines are seen here. */
spw_status spw_vcd_quick(spw_vcd *vcd) {
    spw_vcd_text *text = &vcd->text;
    size_t start = text->at;
    const char *p = text->data + start, *stop = text->data + spw_vcd_text_lines_end(text);
    if (p >= stop)
        return SPW_OK;
    (void)spw_vcd_text_line(text, p);
    spw_status status = SPW_OK;
    uint64_t lines = 0;
    for (; p < stop; p++) {
        const char *end = p;
        if (*p == '#')
            end = quick_time(vcd, p, stop, &status);
        else if (spw_vcd_digit[(unsigned char)*p] != 0)
            end = quick_scalar(vcd, p);
        else if (*p == 'b')
            end = quick_vector(vcd, p);
        else if (!spw_vcd_white(*p))
            break;
        if (end == NULL)
            break;
        p = end;
        lines += *p == '\n';
    }
    text->at = (size_t)(p - text->data);
    if (text->mark == start) { /* else something was said, which counted again */
        text->mark = text->at;
        text->lines += lines;
    }
    return status;
}
