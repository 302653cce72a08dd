#include "capture/vcd/codes.h"
#include "base/array.h"

#include <stdlib.h>

#define ONE 128
#define TWO ((size_t)128 * 128)
#define LONG_MARK (UINT64_C(1) << 63) /* never set in a key made of ASCII */

struct spw_vcd_long_code {
    uint32_t number;
    uint32_t length;
    char text[];
};

spw_status spw_vcd_codes_start(spw_vcd_codes *codes) {
    codes->one = malloc((ONE + TWO) * sizeof *codes->one);
    if (codes->one == NULL)
        return SPW_ERR_MEMORY;
    codes->two = codes->one + ONE;
    for (size_t i = 0; i < ONE + TWO; i++)
        codes->one[i] = SPW_VCD_NONE;
    return SPW_OK;
}

void spw_vcd_codes_free(spw_vcd_codes *codes) {
    for (size_t i = 0; i < codes->n_longer; i++)
        free(codes->longer[i]);
    free(codes->longer);
    free(codes->one);
    free(codes->keys);
    free(codes->found);
    *codes = (spw_vcd_codes){0};
}

/* Up to eight characters are their own key, none of them 0; more are hashed
 * (FNV-1a) and compared as text. */
static uint64_t key_of(const char *p, size_t n) {
    uint64_t key = 0;
    if (n <= 8) {
        memcpy(&key, p, n);
        return key;
    }
    key = UINT64_C(0xcbf29ce484222325);
    for (size_t i = 0; i < n; i++)
        key = (key ^ (unsigned char)p[i]) * UINT64_C(0x100000001b3);
    return key | LONG_MARK;
}

/* Finaliser of MurmurHash3 (Appleby, public domain). */
static size_t slot_of(const spw_vcd_codes *codes, uint64_t key) {
    key = (key ^ key >> 33) * UINT64_C(0xff51afd7ed558ccd);
    key = (key ^ key >> 33) * UINT64_C(0xc4ceb9fe1a85ec53);
    return (size_t)(key ^ key >> 33) & (codes->slots - 1);
}

uint32_t spw_vcd_codes_find_long(const spw_vcd_codes *codes, const char *p, size_t n) {
    if (codes->slots == 0 || n > codes->longest || p[n - 1] == '\0')
        return SPW_VCD_NONE;
    uint64_t key = key_of(p, n);
    if (n <= 8 && (key & LONG_MARK) != 0)
        return SPW_VCD_NONE;
    for (size_t i = slot_of(codes, key); codes->keys[i] != 0; i = (i + 1) & (codes->slots - 1)) {
        if (codes->keys[i] != key)
            continue;
        if (n <= 8)
            return codes->found[i];
        const struct spw_vcd_long_code *known = codes->longer[codes->found[i]];
        if (known->length == n && memcmp(known->text, p, n) == 0)
            return known->number;
    }
    return SPW_VCD_NONE;
}

static void place(spw_vcd_codes *codes, uint64_t key, uint32_t found) {
    size_t i = slot_of(codes, key);
    while (codes->keys[i] != 0)
        i = (i + 1) & (codes->slots - 1);
    codes->keys[i] = key;
    codes->found[i] = found;
}

/* At most half full. */
static spw_status make_room(spw_vcd_codes *codes) {
    if (codes->used < codes->slots / 2)
        return SPW_OK;
    spw_vcd_codes grown = *codes;
    grown.slots = codes->slots == 0 ? 256 : 2 * codes->slots;
    grown.keys = calloc(grown.slots, sizeof *grown.keys);
    grown.found = malloc(grown.slots * sizeof *grown.found);
    if (grown.keys == NULL || grown.found == NULL) {
        free(grown.keys);
        free(grown.found);
        return SPW_ERR_MEMORY;
    }
    for (size_t i = 0; i < codes->slots; i++)
        if (codes->keys[i] != 0)
            place(&grown, codes->keys[i], codes->found[i]);
    free(codes->keys);
    free(codes->found);
    *codes = grown;
    return SPW_OK;
}

static spw_status keep_text(spw_vcd_codes *codes, const char *p, size_t n, uint32_t number) {
    size_t bytes = sizeof(struct spw_vcd_long_code) + n;
    if (bytes > SPW_VCD_LONG_CODES_MAX - codes->longer_bytes)
        return SPW_ERR_LIMIT;
    spw_status status = spw_array_room((void **)&codes->longer, &codes->longer_room,
                                       codes->n_longer, 1, sizeof(struct spw_vcd_long_code *));
    if (status != SPW_OK)
        return status;
    struct spw_vcd_long_code *code = malloc(bytes);
    if (code == NULL)
        return SPW_ERR_MEMORY;
    code->number = number;
    code->length = (uint32_t)n;
    memcpy(code->text, p, n);
    codes->longer[codes->n_longer++] = code;
    codes->longer_bytes += bytes;
    return SPW_OK;
}

spw_status spw_vcd_codes_add(spw_vcd_codes *codes, const char *p, size_t n, uint32_t number) {
    if (n > codes->longest)
        codes->longest = n;
    if (n == 1) {
        codes->one[(unsigned char)p[0]] = number;
        return SPW_OK;
    }
    if (n == 2) {
        codes->two[(size_t)(unsigned char)p[0] << 7 | (unsigned char)p[1]] = number;
        return SPW_OK;
    }
    spw_status status = make_room(codes);
    if (status == SPW_OK && n > 8) {
        status = keep_text(codes, p, n, number);
        number = (uint32_t)codes->n_longer - 1;
    }
    if (status != SPW_OK)
        return status;
    place(codes, key_of(p, n), number);
    codes->used++;
    return SPW_OK;
}
