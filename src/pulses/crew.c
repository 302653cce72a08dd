#include "pulses/crew.h"

#include "base/thread.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* Blocks are small enough to stay in the caches. A side that waits is woken for AT_ONCE of
 * them: waking costs as much as looking through a block. An only hand has so many blocks
 * that reading goes on while it learns. */
enum { BLOCK_SAMPLES = 4096, BLOCKS = 12, BLOCKS_ALONE = 512, AT_ONCE = 6 };

typedef struct block {
    uint32_t lane;
    bool last;
    size_t n;
    float sample[BLOCK_SAMPLES];
} block;

typedef struct hand {
    const spw_crew *crew;
    pthread_t thread;
    pthread_mutex_t lock; /* of: */
    pthread_cond_t filled, emptied;
    size_t waiting; /* blocks that are full; they end before `next` */
    bool stop, abandoned;
    spw_status status;
    /* the giver's */
    block *ring;
    size_t blocks;
    size_t next;
    block *open; /* being filled, or NULL */
} hand;

struct spw_crew {
    spw_crew_work work;
    void *context;
    size_t hands;
    hand hand[SPW_CREW_MOST];
};

static void *work(void *context) {
    hand *h = context;
    const spw_crew *crew = h->crew;
    pthread_mutex_lock(&h->lock);
    for (size_t at = 0;; at = (at + 1) % h->blocks) {
        while (h->waiting == 0 && !h->stop)
            pthread_cond_wait(&h->filled, &h->lock);
        if (h->waiting == 0)
            break;
        spw_status status = h->status;
        bool left = h->abandoned;
        const block *b = &h->ring[at];
        pthread_mutex_unlock(&h->lock);
        if (status == SPW_OK && !left && b->n > 0)
            status = crew->work(crew->context, b->lane, b->sample, b->n);
        if (status == SPW_OK && !left && b->last)
            status = crew->work(crew->context, b->lane, NULL, 0);
        pthread_mutex_lock(&h->lock);
        h->status = h->status == SPW_OK ? status : h->status;
        if (--h->waiting == h->blocks - AT_ONCE)
            pthread_cond_signal(&h->emptied);
    }
    pthread_mutex_unlock(&h->lock);
    return NULL;
}

static void put_away(hand *h) {
    (void)pthread_cond_destroy(&h->emptied);
    (void)pthread_cond_destroy(&h->filled);
    (void)pthread_mutex_destroy(&h->lock);
    free(h->ring);
}

static bool start(hand *h, const spw_crew *crew, size_t blocks) {
    h->crew = crew;
    h->blocks = blocks;
    h->ring = malloc(blocks * sizeof *h->ring);
    if (h->ring == NULL)
        return false;
    if (pthread_mutex_init(&h->lock, NULL) == 0) {
        if (pthread_cond_init(&h->filled, NULL) == 0) {
            if (pthread_cond_init(&h->emptied, NULL) == 0) {
                if (spw_thread_start(&h->thread, work, h))
                    return true;
                (void)pthread_cond_destroy(&h->emptied);
            }
            (void)pthread_cond_destroy(&h->filled);
        }
        (void)pthread_mutex_destroy(&h->lock);
    }
    free(h->ring);
    return false;
}

spw_crew *spw_crew_new(size_t hands, spw_crew_work work_, void *context) {
    spw_crew *crew = calloc(1, sizeof *crew);
    if (crew == NULL)
        return NULL;
    crew->work = work_;
    crew->context = context;
    while (crew->hands < hands && crew->hands < SPW_CREW_MOST) {
        if (!start(&crew->hand[crew->hands], crew, hands > 1 ? BLOCKS : BLOCKS_ALONE)) {
            (void)spw_crew_end(crew, true);
            return NULL;
        }
        crew->hands++;
    }
    return crew;
}

static void close_block(hand *h) {
    if (h->open == NULL)
        return;
    h->open = NULL;
    h->next = (h->next + 1) % h->blocks;
    pthread_mutex_lock(&h->lock);
    if (++h->waiting == AT_ONCE)
        pthread_cond_signal(&h->filled);
    pthread_mutex_unlock(&h->lock);
}

/* A block of the lane with room in it. */
static spw_status open_block(hand *h, uint32_t lane) {
    if (h->open != NULL && (h->open->lane != lane || h->open->n == BLOCK_SAMPLES))
        close_block(h);
    if (h->open != NULL)
        return SPW_OK;
    pthread_mutex_lock(&h->lock);
    while (h->waiting == h->blocks)
        pthread_cond_wait(&h->emptied, &h->lock);
    spw_status status = h->status;
    pthread_mutex_unlock(&h->lock);
    h->open = &h->ring[h->next];
    h->open->lane = lane;
    h->open->last = false;
    h->open->n = 0;
    return status;
}

float *spw_crew_place(spw_crew *crew, size_t at, uint32_t lane, size_t n) {
    hand *h = &crew->hand[at];
    if (n > BLOCK_SAMPLES)
        return NULL;
    if (h->open != NULL && BLOCK_SAMPLES - h->open->n < n)
        close_block(h);
    return open_block(h, lane) == SPW_OK ? h->open->sample + h->open->n : NULL;
}

spw_status spw_crew_give(spw_crew *crew, size_t at, uint32_t lane, const float *samples, size_t n) {
    hand *h = &crew->hand[at];
    while (n > 0) {
        spw_status status = open_block(h, lane);
        if (status != SPW_OK)
            return status;
        size_t room = BLOCK_SAMPLES - h->open->n, part = n < room ? n : room;
        float *place = h->open->sample + h->open->n;
        if (samples != place)
            memcpy(place, samples, part * sizeof *samples);
        h->open->n += part;
        samples += part;
        n -= part;
        if (part == room)
            close_block(h);
    }
    return SPW_OK;
}

spw_status spw_crew_last(spw_crew *crew, size_t at, uint32_t lane) {
    hand *h = &crew->hand[at];
    spw_status status = open_block(h, lane);
    h->open->last = true;
    close_block(h);
    return status;
}

spw_status spw_crew_end(spw_crew *crew, bool abandon) {
    spw_status status = SPW_OK;
    if (crew == NULL)
        return SPW_OK;
    for (size_t i = 0; i < crew->hands; i++) {
        hand *h = &crew->hand[i];
        close_block(h);
        pthread_mutex_lock(&h->lock);
        h->abandoned = abandon;
        h->stop = true;
        pthread_cond_signal(&h->filled);
        pthread_mutex_unlock(&h->lock);
    }
    for (size_t i = 0; i < crew->hands; i++) {
        hand *h = &crew->hand[i];
        (void)pthread_join(h->thread, NULL);
        status = status == SPW_OK ? h->status : status;
        put_away(h);
    }
    free(crew);
    return status;
}

typedef struct tasks {
    spw_crew_task task;
    void *context;
    size_t n;
    _Atomic size_t next;
} tasks;

typedef struct doer {
    tasks *all;
    size_t failed_at; /* the thing, and ... */
    spw_status status;
} doer;

static void *do_tasks(void *context) {
    doer *d = context;
    while (d->status == SPW_OK && (d->failed_at = d->all->next++) < d->all->n)
        d->status = d->all->task(d->all->context, d->failed_at);
    return NULL;
}

spw_status spw_crew_do(size_t n, bool two, spw_crew_task task, void *context) {
    tasks all = {.task = task, .context = context, .n = n};
    doer one = {.all = &all}, other = {.all = &all};
    pthread_t thread;
    bool started = two && n > 1 && spw_thread_start(&thread, do_tasks, &other);
    (void)do_tasks(&one);
    if (started)
        (void)pthread_join(thread, NULL);
    bool others =
        other.status != SPW_OK && (one.status == SPW_OK || other.failed_at < one.failed_at);
    return others ? other.status : one.status;
}
