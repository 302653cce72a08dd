#include "capture/relay.h"

#include <pthread.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

/* A thread pays from here on (0.7 s of two channels at 192 kHz). */
#define SAMPLES_MIN ((uint64_t)1 << 18)
#define PARCELS 16
#define PARCEL 4096 /* samples */
/* A side that waits is woken for so many at once: waking costs as much as an
 * analysed parcel may. */
#define AT_ONCE (PARCELS / 2)

/* Samples of one channel, or changes. */
typedef struct parcel {
    bool changes;
    uint32_t channel;
    uint64_t first;
    size_t n;
    union {
        float samples[PARCEL];
        spw_change changes[PARCEL * sizeof(float) / sizeof(spw_change)];
    } data;
} parcel;

#define CHANGES (sizeof((parcel *)0)->data.changes / sizeof(spw_change))

/* Parcels taken .. sent are the thread's, the others the reader's. */
struct spw_relay {
    const spw_sink *to;
    uint64_t samples;
    bool tried, running;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    uint64_t sent, taken;
    bool ended;
    spw_status status; /* of the other sink */
    parcel parcels[PARCELS];
};

static spw_status hand_on(const spw_relay *relay, const parcel *p) {
    const spw_sink *to = relay->to;
    return p->changes ? to->changes(to->context, p->data.changes, p->n)
                      : to->samples(to->context, p->channel, p->first, p->data.samples, p->n);
}

/* After the sink has had enough, parcels are only taken. */
static void *run(void *context) {
    spw_relay *relay = context;
    pthread_mutex_lock(&relay->lock);
    for (;;) {
        while (relay->sent == relay->taken && !relay->ended)
            pthread_cond_wait(&relay->changed, &relay->lock);
        if (relay->sent == relay->taken)
            break;
        const parcel *p = &relay->parcels[relay->taken % PARCELS];
        spw_status status = relay->status;
        pthread_mutex_unlock(&relay->lock);
        if (status == SPW_OK)
            status = hand_on(relay, p);
        pthread_mutex_lock(&relay->lock);
        relay->status = status;
        relay->taken++;
        if (relay->sent - relay->taken == AT_ONCE || relay->sent == relay->taken)
            pthread_cond_signal(&relay->changed);
    }
    pthread_mutex_unlock(&relay->lock);
    return NULL;
}

static void start(spw_relay *relay) {
    relay->tried = true;
    bool locked = pthread_mutex_init(&relay->lock, NULL) == 0;
    bool waited = locked && pthread_cond_init(&relay->changed, NULL) == 0;
    relay->running = waited && pthread_create(&relay->thread, NULL, run, relay) == 0;
    if (!relay->running && waited)
        pthread_cond_destroy(&relay->changed);
    if (!relay->running && locked)
        pthread_mutex_destroy(&relay->lock);
}

/* Waits for a free parcel; what the other sink said so far. */
static spw_status free_parcel(spw_relay *relay, parcel **p) {
    pthread_mutex_lock(&relay->lock);
    while (relay->sent - relay->taken == PARCELS)
        pthread_cond_wait(&relay->changed, &relay->lock);
    spw_status status = relay->status;
    *p = &relay->parcels[relay->sent % PARCELS];
    pthread_mutex_unlock(&relay->lock);
    return status;
}

static void send(spw_relay *relay) {
    pthread_mutex_lock(&relay->lock);
    relay->sent++;
    if (relay->sent - relay->taken == AT_ONCE)
        pthread_cond_signal(&relay->changed);
    pthread_mutex_unlock(&relay->lock);
}

/* Waits until everything is handed on. */
static spw_status drain(spw_relay *relay) {
    pthread_mutex_lock(&relay->lock);
    pthread_cond_signal(&relay->changed);
    while (relay->sent != relay->taken)
        pthread_cond_wait(&relay->changed, &relay->lock);
    spw_status status = relay->status;
    pthread_mutex_unlock(&relay->lock);
    return status;
}

static spw_status on_channel(void *context, uint32_t index, const spw_channel_info *info) {
    spw_relay *relay = context;
    spw_status status = relay->running ? drain(relay) : SPW_OK;
    return status == SPW_OK ? relay->to->channel(relay->to->context, index, info) : status;
}

static spw_status on_changes(void *context, const spw_change *changes, size_t n) {
    spw_relay *relay = context;
    if (!relay->running)
        return relay->to->changes(relay->to->context, changes, n);
    spw_status status = SPW_OK;
    while (n > 0 && status == SPW_OK) {
        parcel *p;
        status = free_parcel(relay, &p);
        p->changes = true;
        p->n = n < CHANGES ? n : CHANGES;
        memcpy(p->data.changes, changes, p->n * sizeof *changes);
        changes += p->n;
        n -= p->n;
        send(relay);
    }
    return status;
}

static spw_status on_samples(void *context, uint32_t index, uint64_t first, const float *values,
                             size_t n) {
    spw_relay *relay = context;
    relay->samples += n;
    if (!relay->tried && relay->samples > SAMPLES_MIN)
        start(relay);
    if (!relay->running)
        return relay->to->samples(relay->to->context, index, first, values, n);
    spw_status status = SPW_OK;
    while (n > 0 && status == SPW_OK) {
        parcel *p;
        status = free_parcel(relay, &p);
        p->changes = false;
        p->channel = index;
        p->first = first;
        p->n = n < PARCEL ? n : PARCEL;
        memcpy(p->data.samples, values, p->n * sizeof *values);
        values += p->n;
        first += p->n;
        n -= p->n;
        send(relay);
    }
    return status;
}

/* Counted changes come of captures without samples: there is no thread then. */
static double on_pass_s(void *context, uint32_t channel) {
    spw_relay *relay = context;
    return relay->running ? 0 : relay->to->pass_s(relay->to->context, channel);
}

static spw_status on_passed(void *context, uint32_t channel, uint64_t n, double last_s,
                            spw_level level) {
    spw_relay *relay = context;
    spw_status status = relay->running ? drain(relay) : SPW_OK;
    return status == SPW_OK ? relay->to->passed(relay->to->context, channel, n, last_s, level)
                            : status;
}

spw_relay *spw_relay_new(const spw_sink *to) {
    spw_relay *relay = malloc(sizeof *relay);
    if (relay == NULL)
        return NULL;
    memset(relay, 0, offsetof(spw_relay, parcels));
    relay->to = to;
    return relay;
}

spw_sink spw_relay_sink(spw_relay *relay) {
    bool passes = relay->to->pass_s != NULL && relay->to->passed != NULL;
    return (spw_sink){.context = relay,
                      .channel = on_channel,
                      .changes = on_changes,
                      .samples = on_samples,
                      .pass_s = passes ? on_pass_s : NULL,
                      .passed = passes ? on_passed : NULL};
}

spw_status spw_relay_end(spw_relay *relay) {
    spw_status status = SPW_OK;
    if (relay->running) {
        pthread_mutex_lock(&relay->lock);
        relay->ended = true;
        pthread_cond_signal(&relay->changed);
        pthread_mutex_unlock(&relay->lock);
        (void)pthread_join(relay->thread, NULL);
        status = relay->status;
        pthread_cond_destroy(&relay->changed);
        pthread_mutex_destroy(&relay->lock);
    }
    free(relay);
    return status;
}
