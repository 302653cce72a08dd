/* Growable arrays of plain values.
 *
 * Growth is by a quarter, so that at most a quarter of a long array is spare. */
#ifndef SPW_ARRAY_H
#define SPW_ARRAY_H

#include "spanwright/base.h"

/* Makes room for `more` values after *n of them; keeps the content.
 *   data      pointer to the caller's array pointer (NULL to start)
 *   capacity  values there is room for
 *   size      bytes a value
 * SPW_ERR_MEMORY leaves everything as it was. */
spw_status spw_array_room(void **data, size_t *capacity, size_t n, size_t more,
                          size_t size) SPW_CHECKED;

/* Says that new memory (or NULL) will be filled soon: where there are large pages, the system
 * gives those, which take much less time to touch. */
void spw_array_soon(void *data, size_t bytes);

/* A duplicate of `length` bytes with a NUL behind them, or NULL without memory. */
char *spw_duplicate(const char *bytes, size_t length) SPW_CHECKED;

#endif
