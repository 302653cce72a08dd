/* spanwright: all public headers. */
#ifndef SPANWRIGHT_H
#define SPANWRIGHT_H

#include "adapter.h"
#include "base.h"
#include "bench.h"
#include "capture.h"
#include "edges.h"
#include "pulses.h"
#include "report.h"
#include "span.h"
#include "stats.h"

#endif
