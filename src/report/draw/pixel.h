/* A length of a picture as text. */
#ifndef SPW_REPORT_DRAW_PIXEL_H
#define SPW_REPORT_DRAW_PIXEL_H

#include "spanwright/base.h"

/* In tenths of a px, at most a million; 0 when not finite. */
void spw_pixel(spw_text *out, double px);

#endif
