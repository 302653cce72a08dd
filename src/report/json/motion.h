/* Odd pulses and moving stretches of a channel as JSON. */
#ifndef SPW_REPORT_JSON_MOTION_H
#define SPW_REPORT_JSON_MOTION_H

#include "report/json/write.h"
#include "spanwright/pulses.h"

/* null without odd pulses. */
json_t *spw_json_odd(spw_json *json, const spw_odd *odd);
/* The stretches in which the width changed evenly. */
json_t *spw_json_moves(spw_json *json, const spw_channel *channel);

#endif
