#include "base/array.h"

#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

/* Less has no large page. */
#define LARGE ((size_t)1 << 21)

spw_status spw_array_room(void **data, size_t *capacity, size_t n, size_t more, size_t size) {
    if (more <= *capacity - n)
        return SPW_OK;
    if (more > SIZE_MAX / size - n)
        return SPW_ERR_MEMORY;
    size_t wanted = n + more;
    size_t grown = *capacity + *capacity / 4 + 16;
    if (grown < wanted || grown > SIZE_MAX / size)
        grown = wanted;
    void *moved = realloc(*data, grown * size);
    if (moved == NULL)
        return SPW_ERR_MEMORY;
    *data = moved;
    *capacity = grown;
    return SPW_OK;
}

void spw_array_soon(void *data, size_t bytes) {
#if defined(MADV_HUGEPAGE)
    long page = sysconf(_SC_PAGESIZE);
    if (data == NULL || bytes < LARGE || page <= 0)
        return;
    size_t before = (uintptr_t)data % (size_t)page; /* the page's beginning: a wish hurts nobody */
    (void)madvise((char *)data - before, bytes + before, MADV_HUGEPAGE);
#else
    (void)data;
    (void)bytes;
#endif
}

char *spw_duplicate(const char *bytes, size_t length) {
    if (length == SIZE_MAX)
        return NULL;
    char *copy = malloc(length + 1);
    if (copy == NULL)
        return NULL;
    if (length > 0)
        memcpy(copy, bytes, length);
    copy[length] = '\0';
    return copy;
}
