/* Captures that are refused, each with its exact words. */
#ifndef SPW_TEST_REFUSED_H
#define SPW_TEST_REFUSED_H

#include "spanwright/base.h"

typedef spw_status refused_read(const char *bytes, size_t length, spw_error *error);

/* Every file of the pattern has a NAME.expected beside it: "status: line N: sentence". Fails
 * with fewer than `least` of them. */
void refused_check(const char *pattern, size_t least, refused_read *read);

#endif
