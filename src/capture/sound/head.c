/* What the first bytes of a sound file tell. The samples and the rest of the
 * header are libsndfile's business. */
#include "capture/sound/stream.h"

#include <string.h>

/* GUIDs of W64 chunks. */
static const char w64_riff[] = "riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00";
static const char w64_data[] = "data\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a";

static bool has(const char *head, size_t length, size_t at, const char *bytes, size_t n) {
    return length >= at + n && memcmp(head + at, bytes, n) == 0;
}

/* Length in bytes of an MPEG audio layer III frame by its header (ISO/IEC
 * 11172-3, 2.4.1.3 and 2.4.2.3; 13818-3 for the halved rates); 0: none. */
static size_t mpeg_frame(const unsigned char *b) {
    static const unsigned short kbits[2][15] = {
        {0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320},
        {0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160}};
    static const unsigned hz[3] = {44100, 48000, 32000};
    if (b[0] != 0xff || (b[1] & 0xe0) != 0xe0 || (b[1] >> 1 & 3) != 1)
        return 0;
    unsigned version = b[1] >> 3 & 3; /* 3: 1, 2: 2, 0: 2.5 */
    unsigned bits = b[2] >> 4, rate = b[2] >> 2 & 3;
    if (version == 1 || bits == 0 || bits == 15 || rate == 3)
        return 0;
    unsigned halvings = version == 3 ? 0 : version == 2 ? 1 : 2;
    unsigned samples_8 = version == 3 ? 144 : 72;
    return samples_8 * kbits[version != 3][bits] * 1000u / (hz[rate] >> halvings) + (b[2] >> 1 & 1);
}

/* A frame mark is eleven ones, and a logic dump may begin so: three frames in
 * a row make it a sound file. */
static bool is_mpeg(const char *head, size_t length) {
    size_t at = 0;
    for (int frame = 0; frame < 3; frame++) {
        if (length < 4 || at > length - 4)
            return false;
        size_t size = mpeg_frame((const unsigned char *)head + at);
        if (size == 0)
            return false;
        at += size;
    }
    return true;
}

spw_sound_kind spw_sound_recognise(const char *head, size_t length) {
    bool wave = has(head, length, 8, "WAVE", 4);
    bool form = has(head, length, 0, "FORM", 4);
    bool caf = has(head, length, 0, "caff", 4);
    if (caf && has(head, length, 28, "alac", 4)) /* its packet table may follow the samples */
        return SPW_SOUND_WHOLE;
    if (caf ||
        (wave && (has(head, length, 0, "RIFF", 4) || has(head, length, 0, "RIFX", 4) ||
                  has(head, length, 0, "RF64", 4))) ||
        (form && (has(head, length, 8, "AIFF", 4) || has(head, length, 8, "AIFC", 4))) ||
        has(head, length, 0, w64_riff, 16) || has(head, length, 0, "fLaC", 4) ||
        has(head, length, 0, ".snd", 4) || has(head, length, 0, "dns.", 4))
        return SPW_SOUND_FORWARD;
    if (has(head, length, 0, "OggS", 4))
        return SPW_SOUND_WHOLE;
    if (has(head, length, 0, "ID3", 3) || is_mpeg(head, length))
        return SPW_SOUND_MPEG;
    return SPW_SOUND_NONE;
}

static uint32_t number(const unsigned char *b, bool big) {
    return big ? (uint32_t)b[0] << 24 | (uint32_t)b[1] << 16 | (uint32_t)b[2] << 8 | b[3]
               : (uint32_t)b[3] << 24 | (uint32_t)b[2] << 16 | (uint32_t)b[1] << 8 | b[0];
}

/* A WAV whose data chunk claims 0 bytes or nearly 2^32. libsndfile reads to
 * the end of the file when the RIFF size is 8 and the data size 0. */
static size_t repair_wav(const char *head, size_t length, spw_sound_patch *patch) {
    const unsigned char *b = (const unsigned char *)head;
    bool big = b[3] == 'X';
    size_t at = 12;
    if (length < at)
        return 0;
    while (length - at >= 8 && memcmp(b + at, "data", 4) != 0) {
        size_t size = number(b + at + 4, big);
        size += 8 + (size & 1);
        if (size > length - at)
            return 0;
        at += size;
    }
    if (length - at < 8)
        return 0;
    uint32_t claim = number(b + at + 4, big);
    if (claim != 0 && claim < UINT32_C(0xffffff00))
        return 0;
    patch[0] = (spw_sound_patch){.at = 4, .length = 4, .bytes = {big ? 0 : 8, 0, 0, big ? 8 : 0}};
    patch[1] = (spw_sound_patch){.at = at + 4, .length = 4};
    return 2;
}

static uint64_t number64(const unsigned char *b, bool big) {
    uint64_t first = number(b, big), second = number(b + 4, big);
    return big ? first << 32 | second : second << 32 | first;
}

/* A 64-bit length of 0 or one that no file has (all ones: not known), told as 2^61. */
static size_t repair64(const unsigned char *b, size_t at, bool big, spw_sound_patch *patch) {
    uint64_t claim = number64(b + at, big);
    if (claim != 0 && claim < UINT64_C(1) << 61)
        return 0;
    *patch = (spw_sound_patch){.at = at, .length = 8, .bytes = {[0] = big ? 0x20 : 0}};
    if (!big)
        patch->bytes[7] = 0x20;
    return 1;
}

/* RF64 (EBU Tech 3306): the data size is in the ds64 chunk, which comes first. */
static size_t repair_rf64(const char *head, size_t length, spw_sound_patch *patch) {
    const unsigned char *b = (const unsigned char *)head;
    if (!has(head, length, 12, "ds64", 4) || length < 36)
        return 0;
    return repair64(b, 28, false, patch);
}

/* CAF: a data chunk of size -1 goes to the file's end. */
static size_t repair_caf(const char *head, size_t length, spw_sound_patch *patch) {
    const unsigned char *b = (const unsigned char *)head;
    size_t at = 8;
    while (at <= length && length - at >= 12) {
        if (memcmp(b + at, "data", 4) == 0)
            return repair64(b, at + 4, true, patch);
        uint64_t size = number64(b + at + 4, true);
        if (size > length)
            return 0;
        at += 12 + (size_t)size;
    }
    return 0;
}

/* A FLAC whose STREAMINFO counts no samples: RFC 9639, 8.2 (36 bits, from bit
 * 4 of byte 13 of the block; "0: not known"). Told as the largest count. */
static size_t repair_flac(const char *head, size_t length, spw_sound_patch *patch) {
    const unsigned char *b = (const unsigned char *)head;
    static const unsigned char none[4] = {0};
    if (length < 26 || (b[4] & 0x7f) != 0 || (b[21] & 15) != 0 || memcmp(b + 22, none, 4) != 0)
        return 0;
    patch[0] = (spw_sound_patch){
        .at = 21, .length = 5, .bytes = {(unsigned char)(b[21] | 15), 255, 255, 255, 255}};
    return 1;
}

/* AU (.snd): a size of all ones is "not known"; one of nearly 2 GiB
 * or more, with which libsndfile's 32-bit sums go over, is told as that. */
static size_t repair_au(const char *head, size_t length, bool big, spw_sound_patch *patch) {
    if (length < 12 || number((const unsigned char *)head + 8, big) < UINT32_C(0x7f000000))
        return 0;
    *patch = (spw_sound_patch){.at = 8, .length = 4, .bytes = {255, 255, 255, 255}};
    return 1;
}

/* Where a chunk of a RIFF file begins behind its head, or 0. */
static size_t find_chunk(const char *head, size_t length, const char *name, size_t room) {
    const unsigned char *b = (const unsigned char *)head;
    size_t at = 12;
    while (at <= length && length - at >= 8) {
        size_t size = number(b + at + 4, b[3] == 'X');
        if (memcmp(b + at, name, 4) == 0)
            return length - at >= 8 + room ? at + 8 : 0;
        if (size > length)
            return 0;
        at += 8 + size + (size & 1);
    }
    return 0;
}

uint32_t spw_sound_rate(const char *head, size_t length) {
    const unsigned char *b = (const unsigned char *)head;
    bool snd = has(head, length, 0, ".snd", 4);
    if ((snd || has(head, length, 0, "dns.", 4)) && length >= 20)
        return number(b + 16, snd);
    size_t at = has(head, length, 8, "WAVE", 4) ? find_chunk(head, length, "fmt ", 8) : 0;
    return at > 0 ? number(b + at + 4, b[3] == 'X') : 1;
}

size_t spw_sound_repair(const char *head, size_t length, spw_sound_patch patch[SPW_SOUND_PATCHES]) {
    if (has(head, length, 0, "RIFF", 4) || has(head, length, 0, "RIFX", 4))
        return repair_wav(head, length, patch);
    if (has(head, length, 0, "RF64", 4))
        return repair_rf64(head, length, patch);
    if (has(head, length, 0, "caff", 4))
        return repair_caf(head, length, patch);
    if (has(head, length, 0, "fLaC", 4))
        return repair_flac(head, length, patch);
    if (has(head, length, 0, ".snd", 4) || has(head, length, 0, "dns.", 4))
        return repair_au(head, length, head[0] == '.', patch);
    return 0;
}

uint64_t spw_sound_end(const char *head, size_t length) {
    const unsigned char *b = (const unsigned char *)head;
    if (!has(head, length, 0, w64_riff, 16))
        return 0;
    /* A chunk: GUID, 64-bit size that counts these 24 bytes, filled up to 8. */
    size_t at = 40;
    while (at <= length && length - at >= 24) {
        uint64_t size = number64(b + at + 16, false);
        if (size < 24 || size > (uint64_t)SPW_SOUND_ENDLESS / 2)
            return 0;
        if (memcmp(b + at, w64_data, 16) == 0)
            return size > 24 ? at + size : 0;
        if (size > length)
            return 0;
        at += ((size_t)size + 7) & ~(size_t)7;
    }
    return 0;
}
