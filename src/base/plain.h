/* Numbers in text whatever locale the caller's program has set: for a while, in this
 * thread alone, the decimal mark is '.'. */
#ifndef SPW_PLAIN_H
#define SPW_PLAIN_H

#include "spanwright/base.h"

#include <locale.h>

typedef struct spw_plain {
    locale_t plain, before;
} spw_plain;

/* False without memory; nothing is to be ended then. */
bool spw_plain_begin(spw_plain *plain) SPW_CHECKED;
void spw_plain_end(spw_plain *plain);

/* vsnprintf with '.' as decimal mark; -1 when it fails, or without memory. */
int spw_plain_print(char *out, size_t size, const char *format, va_list arguments)
    SPW_PRINTF(3, 0) SPW_CHECKED;

#endif
