#include "capture/source/read_ahead.h"

#include "base/thread.h"

#include <pthread.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

/* A side that waits is woken for AT_ONCE blocks: waking costs as much as unpacking one. */
#define BLOCKS 32
#define AT_ONCE 8
#define BLOCK ((size_t)1 << 15)

typedef struct block {
    ssize_t length; /* as spw_unpacker_read says */
    uint64_t done;  /* bytes of the file read by then */
    char data[BLOCK];
} block;

/* Blocks taken .. made are the reader's, the others the thread's. */
struct spw_ahead {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t filled, emptied;
    uint64_t made, taken;
    bool quit;
    spw_input *input;
    spw_unpacker *unpacker;
    spw_read_options options; /* its progress */
    uint64_t told;
    size_t at; /* in the block that is being taken */
    char damage[SPW_AHEAD_DAMAGE];
    block blocks[BLOCKS];
};

/* Waits for a free block; NULL when none is wanted any more. */
static block *free_block(spw_ahead *ahead) {
    pthread_mutex_lock(&ahead->lock);
    while (ahead->made - ahead->taken == BLOCKS && !ahead->quit)
        pthread_cond_wait(&ahead->emptied, &ahead->lock);
    block *b = ahead->quit ? NULL : &ahead->blocks[ahead->made % BLOCKS];
    pthread_mutex_unlock(&ahead->lock);
    return b;
}

static void *run(void *context) {
    spw_ahead *ahead = context;
    block *b;
    bool more = true;
    while (more && (b = free_block(ahead)) != NULL) {
        b->length =
            spw_unpacker_read(ahead->unpacker, b->data, BLOCK, ahead->damage, SPW_AHEAD_DAMAGE);
        b->done = ahead->input->done;
        more = b->length > 0;
        pthread_mutex_lock(&ahead->lock);
        ahead->made++;
        if (!more || ahead->made - ahead->taken == AT_ONCE)
            pthread_cond_signal(&ahead->filled);
        pthread_mutex_unlock(&ahead->lock);
    }
    return NULL;
}

spw_ahead *spw_ahead_new(spw_input *input, spw_unpacker *unpacker) {
    spw_ahead *ahead = malloc(sizeof *ahead);
    if (ahead == NULL)
        return NULL;
    memset(ahead, 0, offsetof(spw_ahead, blocks));
    ahead->input = input;
    ahead->unpacker = unpacker;
    ahead->options = input->options;
    ahead->told = input->done;
    bool locked = pthread_mutex_init(&ahead->lock, NULL) == 0;
    bool filled = locked && pthread_cond_init(&ahead->filled, NULL) == 0;
    bool emptied = filled && pthread_cond_init(&ahead->emptied, NULL) == 0;
    input->options.progress = NULL;
    if (emptied && spw_thread_start(&ahead->thread, run, ahead))
        return ahead;
    input->options = ahead->options;
    if (emptied)
        pthread_cond_destroy(&ahead->emptied);
    if (filled)
        pthread_cond_destroy(&ahead->filled);
    if (locked)
        pthread_mutex_destroy(&ahead->lock);
    free(ahead);
    return NULL;
}

static block *next_block(spw_ahead *ahead) {
    pthread_mutex_lock(&ahead->lock);
    while (ahead->made == ahead->taken)
        pthread_cond_wait(&ahead->filled, &ahead->lock);
    pthread_mutex_unlock(&ahead->lock);
    return &ahead->blocks[ahead->taken % BLOCKS];
}

static void give_back(spw_ahead *ahead) {
    ahead->at = 0;
    pthread_mutex_lock(&ahead->lock);
    ahead->taken++;
    if (ahead->made - ahead->taken == BLOCKS - AT_ONCE)
        pthread_cond_signal(&ahead->emptied);
    pthread_mutex_unlock(&ahead->lock);
}

static void tell_progress(spw_ahead *ahead, const block *b) {
    if (ahead->options.progress == NULL || b->done <= ahead->told)
        return;
    ahead->told = b->done;
    ahead->options.progress(ahead->options.progress_context, b->done, ahead->input->total);
}

/* The last block, of the end or of damage, is never given back; another one only when what
 * follows it is wanted. */
ssize_t spw_ahead_look(spw_ahead *ahead, const char **data, char *damage) {
    block *b = next_block(ahead);
    if (b->length > 0 && ahead->at == (size_t)b->length) {
        give_back(ahead);
        b = next_block(ahead);
    }
    tell_progress(ahead, b);
    if (b->length <= 0) {
        memcpy(damage, ahead->damage, SPW_AHEAD_DAMAGE);
        return b->length;
    }
    *data = b->data + ahead->at;
    return b->length - (ssize_t)ahead->at;
}

void spw_ahead_take(spw_ahead *ahead, size_t n) {
    ahead->at += n;
}

ssize_t spw_ahead_read(spw_ahead *ahead, char *data, size_t room, char *damage) {
    const char *from;
    ssize_t rest = spw_ahead_look(ahead, &from, damage);
    if (rest <= 0)
        return rest;
    size_t n = (size_t)rest < room ? (size_t)rest : room;
    memcpy(data, from, n);
    spw_ahead_take(ahead, n);
    return (ssize_t)n;
}

void spw_ahead_free(spw_ahead *ahead) {
    if (ahead == NULL)
        return;
    pthread_mutex_lock(&ahead->lock);
    ahead->quit = true;
    pthread_cond_signal(&ahead->emptied);
    pthread_mutex_unlock(&ahead->lock);
    (void)pthread_join(ahead->thread, NULL);
    pthread_cond_destroy(&ahead->emptied);
    pthread_cond_destroy(&ahead->filled);
    pthread_mutex_destroy(&ahead->lock);
    free(ahead);
}
