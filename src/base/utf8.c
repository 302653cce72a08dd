#include "base/utf8.h"

#include <string.h>

size_t spw_utf8_next(const char *in, size_t length, uint32_t *code) {
    if (length == 0)
        return 0;
    unsigned char first = (unsigned char)in[0];
    size_t size;
    uint32_t value, least;
    if (first < 0x80) {
        *code = first;
        return 1;
    } else if (first >= 0xC2 && first < 0xE0) {
        size = 2, value = first & 0x1Fu, least = 0x80;
    } else if (first >= 0xE0 && first < 0xF0) {
        size = 3, value = first & 0x0Fu, least = 0x800;
    } else if (first >= 0xF0 && first < 0xF5) {
        size = 4, value = first & 0x07u, least = 0x10000;
    } else {
        return 0;
    }
    if (length < size)
        return 0;
    for (size_t i = 1; i < size; i++) {
        unsigned char next = (unsigned char)in[i];
        if ((next & 0xC0u) != 0x80u)
            return 0;
        value = value << 6 | (next & 0x3Fu);
    }
    if (value < least || value > 0x10FFFF || (value >= 0xD800 && value <= 0xDFFF))
        return 0;
    *code = value;
    return size;
}

bool spw_utf8_showable(uint32_t code) {
    static const struct {
        uint32_t from, to;
    } hidden[] = {
        {0x0000, 0x001F},                                         /* C0 */
        {0x007F, 0x009F},                                         /* DEL, C1 */
        {0x00AD, 0x00AD},                                         /* soft hyphen */
        {0x034F, 0x034F},                                         /* grapheme joiner */
        {0x061C, 0x061C},                                         /* Arabic letter mark */
        {0x115F, 0x1160},                                         /* Hangul fillers */
        {0x17B4, 0x17B5},   {0x180B, 0x180F},   {0x200B, 0x200F}, /* zero width, direction marks */
        {0x2028, 0x202E},                     /* separators, embeddings, overrides */
        {0x2060, 0x206F},                     /* invisible operators, isolates */
        {0x3164, 0x3164},   {0xE000, 0xF8FF}, /* private use */
        {0xFE00, 0xFE0F},                     /* variation selectors */
        {0xFEFF, 0xFEFF},   {0xFFA0, 0xFFA0},   {0xFFF0, 0xFFFB},    {0xFFFE, 0xFFFF},
        {0x1BCA0, 0x1BCA3}, {0x1D173, 0x1D17A}, {0xE0000, 0x10FFFF}, /* tags, selectors, private use
                                                                      */
    };
    for (size_t i = 0; i < sizeof hidden / sizeof hidden[0]; i++)
        if (code >= hidden[i].from && code <= hidden[i].to)
            return false;
    return (code & 0xFFFEu) != 0xFFFEu;
}

size_t spw_utf8_safe(const char *in, size_t length, char piece[20], size_t *piece_size) {
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
