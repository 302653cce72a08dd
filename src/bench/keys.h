/* The one table of what a bench file may say. */
#ifndef SPW_BENCH_KEYS_H
#define SPW_BENCH_KEYS_H

#include "spanwright/bench.h"

typedef enum spw_key_kind {
    SPW_KEY_NUMBER, /* double within [low, high]; NAN when not told */
    SPW_KEY_TEXT,   /* char array of `size` bytes */
    SPW_KEY_YES_NO, /* bool */
    SPW_KEY_CHOICE, /* enum: index of the word */
    SPW_KEY_BITS    /* unsigned: the word's value */
} spw_key_kind;

typedef struct spw_key {
    const char *section, *name;
    spw_key_kind kind;
    size_t offset, size; /* in spw_bench */
    double low, high;    /* accepted numbers */
    double standard;     /* default: the number (NAN none), the index, or 0 */
    const char *words;   /* choices, separated by '|' */
    const char *meaning;
} spw_key;

extern const spw_key spw_bench_key[];
extern const size_t spw_bench_keys;

/* Stores a value as written. On failure *expected says what would do. */
spw_status spw_key_store(const spw_key *key, const char *value, spw_bench *bench,
                         char expected[128]) SPW_CHECKED;
/* Stores the key's default. */
void spw_key_standard(const spw_key *key, spw_bench *bench);
/* The key's default as a bench file would say it; "" when there is none. */
void spw_key_standard_text(const spw_key *key, char out[64]);
/* The word number `index` of a list "a|b|c"; its length in *length, 0 past the end. */
const char *spw_key_word(const char *words, size_t index, size_t *length);

#endif
