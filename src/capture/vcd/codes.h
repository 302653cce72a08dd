/* Identifier codes of a dump: printable ASCII of any length, most often one
 * to five characters, each naming one variable. */
#ifndef SPW_CAPTURE_VCD_CODES_H
#define SPW_CAPTURE_VCD_CODES_H

#include "spanwright/base.h"

#include <string.h>

#define SPW_VCD_CODE_MAX 255                     /* characters */
#define SPW_VCD_LONG_CODES_MAX ((size_t)4 << 20) /* bytes of all codes of more than 8 */
#define SPW_VCD_NONE UINT32_MAX

typedef struct spw_vcd_codes {
    uint32_t *one;   /* 128: codes of one character */
    uint32_t *two;   /* 128 * 128 */
    uint64_t *keys;  /* longer ones: open addressing, 0 is free */
    uint32_t *found; /* beside keys */
    size_t slots;    /* a power of two */
    size_t used;
    struct spw_vcd_long_code **longer; /* codes of more than 8 characters */
    size_t n_longer;
    size_t longer_room;
    size_t longer_bytes;
    size_t longest; /* characters of the longest code */
} spw_vcd_codes;

spw_status spw_vcd_codes_start(spw_vcd_codes *codes) SPW_CHECKED;
void spw_vcd_codes_free(spw_vcd_codes *codes);
/* Adds a code that is not in it; every byte in ! .. ~, n <= SPW_VCD_CODE_MAX.
 * SPW_ERR_LIMIT: SPW_VCD_LONG_CODES_MAX. */
spw_status spw_vcd_codes_add(spw_vcd_codes *codes, const char *p, size_t n,
                             uint32_t number) SPW_CHECKED;
uint32_t spw_vcd_codes_find_long(const spw_vcd_codes *codes, const char *p, size_t n);

/* The variable of a code, SPW_VCD_NONE when there is none. Any bytes. */
static inline uint32_t spw_vcd_codes_find(const spw_vcd_codes *codes, const char *p, size_t n) {
    unsigned char first = n > 0 ? (unsigned char)p[0] : 0x80;
    unsigned char second = n > 1 ? (unsigned char)p[1] : 0;
    if ((first | second) & 0x80)
        return SPW_VCD_NONE;
    if (n == 1)
        return codes->one[first];
    if (n == 2)
        return codes->two[(size_t)first << 7 | second];
    return spw_vcd_codes_find_long(codes, p, n);
}

#endif
