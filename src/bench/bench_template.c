/* Defaults, and a bench file that says them all. */
#include "bench/keys.h"

#include <string.h>

spw_bench spw_bench_defaults(void) {
    spw_bench bench;
    memset(&bench, 0, sizeof bench);
    for (size_t i = 0; i < spw_bench_keys; i++)
        spw_key_standard(&spw_bench_key[i], &bench);
    return bench;
}

static void print_key(const spw_key *key, spw_text *text) {
    char standard[64];
    spw_key_standard_text(key, standard);
    spw_text_printf(text, "; %s", key->meaning);
    if (key->kind == SPW_KEY_NUMBER)
        spw_text_printf(text, " (%.7g to %.7g)", key->low, key->high);
    else if (key->kind == SPW_KEY_BITS)
        spw_text_printf(text, " (%s)", key->words);
    spw_text_puts(text, "\n");
    if (standard[0] != '\0')
        spw_text_printf(text, "%s = %s\n", key->name, standard);
    else
        spw_text_printf(text, ";%s =\n", key->name);
}

spw_status spw_bench_template(spw_text *text) {
    spw_text_puts(
        text, "; A bench file: what a person knows and no capture shows.\n"
              "; A line is [section], key = value, or a comment after ';'. Each key names its\n"
              "; unit. What is left out has the value shown; keys shown behind ';' have none.\n");
    for (size_t i = 0; i < spw_bench_keys; i++) {
        const spw_key *key = &spw_bench_key[i];
        if (i == 0 || strcmp(key->section, spw_bench_key[i - 1].section) != 0)
            spw_text_printf(text, "\n[%s]\n", key->section);
        print_key(key, text);
    }
    return spw_text_status(text);
}
