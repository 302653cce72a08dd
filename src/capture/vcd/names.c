/* Names of channels: scopes and the variable joined with '.'.
 *
 * Every scope and variable is stored once, as a record: 4 bytes where the
 * outer scope is, 2 bytes length, the name. Whole names are made when a
 * channel is announced. */
#include "base/array.h"
#include "capture/vcd/vcd.h"

#include <stdio.h>
#include <stdlib.h>

#define PLACES 8192u   /* a power of two, twice the channels */
#define SUFFIX_ROOM 16 /* "~4096" */

static spw_status keep(spw_vcd_names *names, const char *name, size_t length, uint32_t *where) {
    if (length > SPW_VCD_LEAF_MAX)
        length = SPW_VCD_LEAF_MAX;
    uint16_t size = (uint16_t)length;
    size_t bytes = sizeof names->scope + sizeof size + length;
    names->full = names->full || bytes > SPW_VCD_NAMES_MAX - names->length;
    if (names->full)
        return SPW_ERR_LIMIT;
    spw_status status =
        spw_array_room((void **)&names->bytes, &names->capacity, names->length, bytes, 1);
    if (status != SPW_OK)
        return status;
    char *record = names->bytes + names->length;
    memcpy(record, &names->scope, sizeof names->scope);
    memcpy(record + sizeof names->scope, &size, sizeof size);
    memcpy(record + sizeof names->scope + sizeof size, name, length);
    *where = (uint32_t)names->length;
    names->length += bytes;
    return SPW_OK;
}

spw_status spw_vcd_names_enter(spw_vcd_names *names, const char *name, size_t length) {
    uint32_t where;
    if (names->full)
        return SPW_ERR_LIMIT;
    if (names->depth >= SPW_VCD_DEPTH_MAX) { /* counted, not named */
        names->depth++;
        return SPW_OK;
    }
    spw_status status = keep(names, name, length, &where);
    if (status == SPW_OK) {
        names->scope = where;
        names->depth++;
    }
    return status;
}

/* A record's outer scope, its name and length. */
static const char *record_at(const spw_vcd_names *names, uint32_t where, uint32_t *outer,
                             size_t *length) {
    uint16_t size;
    const char *record = names->bytes + where;
    memcpy(outer, record, sizeof *outer);
    memcpy(&size, record + sizeof *outer, sizeof size);
    *length = size;
    return record + sizeof *outer + sizeof size;
}

void spw_vcd_names_leave(spw_vcd_names *names) {
    size_t length;
    if (names->depth == 0 || names->full)
        return;
    if (names->depth-- <= SPW_VCD_DEPTH_MAX)
        (void)record_at(names, names->scope, &names->scope, &length);
}

spw_status spw_vcd_names_keep(spw_vcd_names *names, const char *name, size_t length,
                              uint32_t *where) {
    return keep(names, name, length, where);
}

/* Text put in front of what is in buffer[*start ..). */
static bool put_before(char *buffer, size_t *start, const char *text, size_t length) {
    if (length > *start)
        return false;
    *start -= length;
    memcpy(buffer + *start, text, length);
    return true;
}

size_t spw_vcd_name_whole(const spw_vcd_names *names, const spw_vcd_variable *variable, int64_t bit,
                          char name[SPW_VCD_NAME_MAX], bool *cut) {
    size_t end = SPW_VCD_NAME_MAX - 1 - SUFFIX_ROOM, start = end, length;
    uint32_t outer;
    const char *text = record_at(names, variable->name, &outer, &length);
    *cut = false;
    name[0] = '\0';
    if (length == 0)
        return 0;
    if (bit >= 0) {
        char index[24];
        (void)snprintf(index, sizeof index, "[%lld]",
                       (long long)variable->left + (variable->ascending ? bit : -bit));
        (void)put_before(name, &start, index, strlen(index));
    }
    (void)put_before(name, &start, text, length); /* these two always fit */
    while (outer != SPW_VCD_NONE && !*cut) {
        text = record_at(names, outer, &outer, &length);
        if (length > 0)
            *cut = length + 1 > start || !put_before(name, &start, ".", 1) ||
                   !put_before(name, &start, text, length);
    }
    length = end - start;
    memmove(name, name + start, length);
    name[length] = '\0';
    return length;
}

static uint32_t place_of(const char *name) {
    uint64_t hash = UINT64_C(0xcbf29ce484222325); /* FNV-1a */
    for (; *name != '\0'; name++)
        hash = (hash ^ (unsigned char)*name) * UINT64_C(0x100000001b3);
    return (uint32_t)(hash ^ hash >> 32) & (PLACES - 1);
}

/* The place of a name in the hash, or the free one where it would be. */
static uint32_t look_up(const spw_vcd_names *names, const char *name) {
    uint32_t place = place_of(name);
    while (names->places[place] != 0 && strcmp(names->taken[names->places[place] - 1], name) != 0)
        place = (place + 1) & (PLACES - 1);
    return place;
}

spw_status spw_vcd_name_claim(spw_vcd_names *names, char name[SPW_VCD_NAME_MAX], size_t length,
                              uint32_t number) {
    if (names->taken == NULL) {
        names->taken = calloc(SPW_VCD_CHANNELS_MAX, sizeof *names->taken);
        names->places = calloc(PLACES, sizeof *names->places);
    }
    if (names->taken == NULL || names->places == NULL)
        return SPW_ERR_MEMORY;
    if (length == 0)
        length = (size_t)snprintf(name, SPW_VCD_NAME_MAX, "ch%u", number);
    uint32_t place = look_up(names, name);
    for (unsigned again = 2; names->places[place] != 0; again++) {
        (void)snprintf(name + length, SUFFIX_ROOM, "~%u", again);
        place = look_up(names, name);
    }
    names->taken[number] = spw_duplicate(name, strlen(name));
    if (names->taken[number] == NULL)
        return SPW_ERR_MEMORY;
    names->places[place] = (uint16_t)(number + 1);
    return SPW_OK;
}

void spw_vcd_names_free(spw_vcd_names *names) {
    for (size_t i = 0; names->taken != NULL && i < SPW_VCD_CHANNELS_MAX; i++)
        free(names->taken[i]);
    free(names->taken);
    free(names->places);
    free(names->bytes);
    *names = (spw_vcd_names){0};
}
