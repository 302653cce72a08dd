/* Threads that analyse sampled channels while the caller reads on. Every channel is
 * worked on by one of them, its samples in order, so the answers are those of one
 * thread. */
#ifndef SPW_CREW_H
#define SPW_CREW_H

#include "spanwright/base.h"

enum { SPW_CREW_MOST = 2 };

typedef struct spw_crew spw_crew;

/* Takes n samples of a lane, in a thread of the crew; samples NULL: there are no more. */
typedef spw_status (*spw_crew_work)(void *context, uint32_t lane, const float *samples, size_t n);

/* A crew of `hands` (1 ... SPW_CREW_MOST), or NULL where they cannot be had. */
spw_crew *spw_crew_new(size_t hands, spw_crew_work work, void *context);
/* Room for the next n samples of a lane, to be filled and given: then they are not copied. NULL
 * where so many do not fit. Waits while too much is waiting. */
float *spw_crew_place(spw_crew *crew, size_t hand, uint32_t lane, size_t n);
/* Hands samples of a lane on; they are copied. Waits while too much is waiting. A lane always
 * goes to the same hand. A failure may be of earlier work. */
spw_status spw_crew_give(spw_crew *crew, size_t hand, uint32_t lane, const float *samples,
                         size_t n) SPW_CHECKED;
/* No more samples of a lane. */
spw_status spw_crew_last(spw_crew *crew, size_t hand, uint32_t lane) SPW_CHECKED;
/* Waits until all work is done and frees the crew (which may be NULL); with `abandon`,
 * work that has not begun is left undone. The status of the work. */
spw_status spw_crew_end(spw_crew *crew, bool abandon);

/* Does something with thing i of several. */
typedef spw_status (*spw_crew_task)(void *context, size_t i);

/* Does it with things 0 ... n - 1, one in a thread of its own while the caller does the next
 * where `two` is set and the system has a thread. The first status that is not OK; what comes
 * after it may have been left undone. */
spw_status spw_crew_do(size_t n, bool two, spw_crew_task task, void *context) SPW_CHECKED;

#endif
