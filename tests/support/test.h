/* What every test program includes: cmocka in the order it wants. */
#ifndef SPW_TEST_H
#define SPW_TEST_H

/* clang-format off */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>
/* clang-format on */

#include "spanwright/spanwright.h"

#endif
