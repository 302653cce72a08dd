#include "base/plain.h"

#include <stdio.h>

bool spw_plain_begin(spw_plain *plain) {
    plain->plain = newlocale(LC_NUMERIC_MASK, "C", (locale_t)0);
    if (plain->plain == (locale_t)0)
        return false;
    plain->before = uselocale(plain->plain);
    return true;
}

void spw_plain_end(spw_plain *plain) {
    (void)uselocale(plain->before);
    freelocale(plain->plain);
}

int spw_plain_print(char *out, size_t size, const char *format, va_list arguments) {
    spw_plain plain;
    if (!spw_plain_begin(&plain))
        return -1;
    int length = vsnprintf(out, size, format, arguments);
    spw_plain_end(&plain);
    return length;
}
