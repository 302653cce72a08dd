/* What the system says of a failure. */
#ifndef SPW_BASE_REASON_H
#define SPW_BASE_REASON_H

#include <stddef.h>

/* The text of an errno value; in the caller's buffer or constant. Never NULL. */
const char *spw_reason(int number, char *buffer, size_t room);

#endif
