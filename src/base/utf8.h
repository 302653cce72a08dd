/* One character at a time from bytes that claim to be UTF-8. */
#ifndef SPW_UTF8_H
#define SPW_UTF8_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Length of the valid UTF-8 character at in[0 .. length), its code point in
 * *code; 0 when the bytes are no valid character (overlong, surrogate, cut). */
size_t spw_utf8_next(const char *in, size_t length, uint32_t *code);

/* May this character be shown as it is? Not: C0, C1, DEL, bidirectional
 * controls, zero-width and other invisible format characters, line and
 * paragraph separators, noncharacters, private use, tags. */
bool spw_utf8_showable(uint32_t code);

/* The next of in[0 .. length), length > 0, made safe: a character that may be shown as
 * it is, or \xNN a byte. *piece_size: bytes of it. Returns how many bytes of `in` it
 * stands for. */
size_t spw_utf8_safe(const char *in, size_t length, char piece[20], size_t *piece_size);

#endif
