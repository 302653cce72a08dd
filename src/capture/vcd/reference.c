/* A reference: the variable's own name with, perhaps, a bit or a range of
 * bits: "servo", "servo [2]", "port[7:0]", "\lid.arm+ [0:3]". */
#include "capture/vcd/vcd.h"

/* Reads "  -12 "; returns bytes taken, 0 when there is no number. */
static size_t scan_index(const char *text, size_t length, int32_t *index) {
    size_t at = 0, digits = 0;
    int64_t value = 0;
    while (at < length && text[at] == ' ')
        at++;
    bool negative = at < length && text[at] == '-';
    at += negative;
    for (; at < length && text[at] >= '0' && text[at] <= '9' && digits < 9; at++, digits++)
        value = value * 10 + (text[at] - '0');
    if (digits == 0)
        return 0;
    while (at < length && text[at] == ' ')
        at++;
    *index = (int32_t)(negative ? -value : value);
    return at;
}

/* Is text[0 .. length) "[i]" or "[i:j]"? */
static bool is_select(const char *text, size_t length, int32_t *left, int32_t *right, bool *range) {
    if (length < 3 || text[0] != '[' || text[length - 1] != ']')
        return false;
    size_t at = 1, taken = scan_index(text + at, length - at, left);
    if (taken == 0)
        return false;
    at += taken;
    *right = *left;
    *range = text[at] == ':';
    if (*range) {
        taken = scan_index(text + at + 1, length - at - 1, right);
        at += 1 + taken;
    }
    return taken > 0 && at == length - 1;
}

/* An escaped identifier's backslash is no part of it (IEEE Std 1364-2005
 * 3.7.1); VHDL's extended identifiers, \name\, keep both of theirs. */
static size_t drop_backslash(char *name, size_t length) {
    if (length < 2 || name[0] != '\\' || name[length - 1] == '\\')
        return length;
    memmove(name, name + 1, length - 1);
    return length - 1;
}

/* Blanks in front of a bracket go. */
static size_t close_up(char *name, size_t length) {
    size_t kept = 0;
    for (size_t i = 0; i < length; i++) {
        if (name[i] == '[')
            while (kept > 0 && name[kept - 1] == ' ')
                kept--;
        name[kept++] = name[i];
    }
    return kept;
}

/* Where the last bracket opens, or length. */
static size_t last_bracket(const char *name, size_t length) {
    for (size_t i = length; i > 0; i--)
        if (name[i - 1] == '[')
            return i - 1;
    return length;
}

size_t spw_vcd_reference(char *name, size_t length, spw_vcd_variable *variable) {
    length = drop_backslash(name, close_up(name, length));
    size_t at = last_bracket(name, length);
    int32_t left, right;
    bool range;
    variable->left = (int32_t)variable->width - 1;
    variable->ascending = false;
    if (at == 0 || !is_select(name + at, length - at, &left, &right, &range) || !range)
        return length;
    uint32_t width = (uint32_t)(left > right ? left - right : right - left) + 1;
    if (width != variable->width)
        return length; /* a range of something else: part of the name */
    if (width > 1) {
        variable->left = left;
        variable->ascending = right > left;
        return at;
    }
    const char *colon = memchr(name + at, ':', length - at); /* [3:3] is bit [3] */
    length = (size_t)(colon - name);
    name[length++] = ']';
    return length;
}
