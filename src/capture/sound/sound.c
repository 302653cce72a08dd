/* Sound-card recordings, by libsndfile, front to back. */
#include "capture/reader.h"
#include "capture/sound/split.h"
#include "capture/sound/stream.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HEAD ((size_t)1 << 16)
#define FRAMES 4096
#define FRAMES_OF_BLOCKS 64
#define CHANNELS_MAX 64
/* A last block of which only a pad byte exists (GSM 6.10: 320 frames). */
#define PAD_FRAMES_MAX 320.0
/* More frames than this are no claim but a placeholder (at 192 kHz: 46 years). */
#define CLAIM_MAX ((sf_count_t)1 << 48)
/* What writers into pipes claim, in bytes: 2^31 less up to one page. */
#define PIPE_CLAIM_MIN ((double)0x7ffff000)
#define PIPE_CLAIM_MAX ((double)0x80000000)

typedef struct sound_player {
    spw_sound_stream stream;
    SF_INFO info;
    SNDFILE *file;
    sf_count_t claimed; /* frames by the header; 0 when it does not tell */
    uint64_t frames;    /* delivered */
    bool damaged;
    bool repaired;
    bool coded;   /* samples are codes of 16 bits, read as such: that is faster */
    float *mixed; /* FRAMES of all channels, interleaved; or: */
    short *codes;
    float *one; /* FRAMES of one channel */
} sound_player;

bool spw_audio_recognises(const char *head, size_t length, bool whole) {
    (void)whole;
    return spw_sound_recognise(head, length) != SPW_SOUND_NONE;
}

static spw_status unreadable(spw_error *error) {
    return spw_error_set(error, SPW_ERR_FORMAT,
                         "this begins like a sound file, but its header is cut off, damaged or of "
                         "a kind that is not read; convert it to WAV or FLAC and read that");
}

/* What of a sound file this reader does not read, by its first bytes. */
static spw_status prepare(sound_player *player, spw_error *error) {
    const char *head;
    size_t length;
    spw_sound_stream *stream = &player->stream;
    spw_status status = spw_source_look(stream->source, HEAD, &head, &length, error);
    if (status != SPW_OK)
        return status;
    spw_sound_kind kind = spw_sound_recognise(head, length);
    if (kind == SPW_SOUND_MPEG)
        return spw_error_set(error, SPW_ERR_UNSUPPORTED,
                             "this is an MP3 file, a codec that leaves out what edges are made of; "
                             "record WAV or FLAC and read that");
    uint32_t rate = spw_sound_rate(head, length);
    if (rate > INT32_MAX) /* libsndfile's own limit */
        return spw_error_set(error, SPW_ERR_LIMIT,
                             "the sound file's header claims %lu samples a second, and at most %ld "
                             "are read; record it again or write its header anew",
                             (unsigned long)rate, (long)INT32_MAX);
    stream->zeros = head[0] == 'f' ? 0 : SPW_SOUND_ZEROS; /* fLaC: none */
    stream->patches = spw_sound_repair(head, length, stream->patch);
    stream->told_length = spw_sound_end(head, length);
    player->repaired = stream->patches > 0;
    return kind == SPW_SOUND_WHOLE ? spw_sound_hold(stream) : SPW_OK;
}

static spw_status open_file(sound_player *player, spw_error *error) {
    spw_sound_stream *stream = &player->stream;
    SF_VIRTUAL_IO callbacks = spw_sound_callbacks();
    player->file = sf_open_virtual(&callbacks, SFM_READ, &player->info, stream);
    if (stream->status != SPW_OK)
        return stream->status;
    if (player->file == NULL)
        return unreadable(error);
    stream->playing = true;
    stream->lost = false; /* a look for chunks behind the samples is no loss */
    if (!player->repaired && player->info.frames < CLAIM_MAX)
        player->claimed = player->info.frames;
    return SPW_OK;
}

typedef enum codec {
    CODEC_PLAIN,     /* samples as they are */
    CODEC_LOSSLESS,  /* packed without loss */
    CODEC_COMPANDED, /* a coarse code a sample */
    CODEC_BLOCKS,    /* lossy, in blocks whose decoder makes up what a cut-off file lacks */
    CODEC_OTHER      /* not read: its length is only known after decoding it */
} codec;

static codec codec_of(int format) {
    switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_16:
    case SF_FORMAT_PCM_24:
    case SF_FORMAT_PCM_32:
    case SF_FORMAT_PCM_U8:
    case SF_FORMAT_FLOAT:
    case SF_FORMAT_DOUBLE:
        return (format & SF_FORMAT_TYPEMASK) == SF_FORMAT_FLAC ? CODEC_LOSSLESS : CODEC_PLAIN;
    case SF_FORMAT_ALAC_16:
    case SF_FORMAT_ALAC_20:
    case SF_FORMAT_ALAC_24:
    case SF_FORMAT_ALAC_32:
        return CODEC_LOSSLESS;
    case SF_FORMAT_ULAW:
    case SF_FORMAT_ALAW:
        return CODEC_COMPANDED;
    case SF_FORMAT_IMA_ADPCM:
    case SF_FORMAT_MS_ADPCM:
    case SF_FORMAT_GSM610:
    case SF_FORMAT_VORBIS:
    case SF_FORMAT_OPUS:
        return CODEC_BLOCKS;
    default:
        return CODEC_OTHER;
    }
}

static bool is_lossy(int format) {
    return codec_of(format) == CODEC_COMPANDED || codec_of(format) == CODEC_BLOCKS;
}

/* How far a codec moves a width, in sample periods: see spw_channel_info. Found by simulation:
 * rms of 150 to 400 widths of one hold, 8 to 96 kHz, steps of a tenth of full scale and more,
 * frames locked to the sampling and free; the worst of 30 recordings was 4.0 (IMA ADPCM), 2.3 (MS
 * ADPCM), 2.1 (GSM), 0.28 (Opus at its least), 0.20 (Vorbis at its least), 0.02. */
static double codec_samples(int format) {
    switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_IMA_ADPCM:
    case SF_FORMAT_MS_ADPCM:
    case SF_FORMAT_GSM610:
        return 3;
    case SF_FORMAT_ULAW:
    case SF_FORMAT_ALAW:
        return 0.02;
    default:
        return is_lossy(format) ? 0.25 : 0;
    }
}

static spw_status check_info(const SF_INFO *info, spw_error *error) {
    if (info->samplerate < 1 || info->channels < 1)
        return unreadable(error);
    if (codec_of(info->format) == CODEC_OTHER)
        return spw_error_set(error, SPW_ERR_UNSUPPORTED,
                             "the sound file's codec is not read; convert it to WAV or FLAC and "
                             "read that");
    if (info->channels > CHANNELS_MAX)
        return spw_error_set(error, SPW_ERR_LIMIT,
                             "the sound file has %d channels and %d are read; save the channels "
                             "that matter on their own",
                             info->channels, CHANNELS_MAX);
    return SPW_OK;
}

/* The smallest magnitude that may be a clipped sample. The largest positive
 * code of b bits is 1 - 2^(1-b). Longer codes often hold samples of 16-bit
 * converters, whose largest code lies 2^-15 below full scale. */
static double clip_magnitude(int format) {
    switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
        return 1 - 0x1p-7;
    case SF_FORMAT_ULAW: /* ITU-T G.711: largest decoded value 8031 of 8192 */
        return 8031.0 / 8192;
    case SF_FORMAT_ALAW: /* 4032 of 4096 */
        return 4032.0 / 4096;
    default:
        return 1 - 0x1p-15;
    }
}

static spw_status announce(const SF_INFO *info, const spw_sink *sink) {
    for (int i = 0; i < info->channels; i++) {
        char name[16];
        (void)snprintf(name, sizeof name, "ch%d", i);
        spw_channel_info channel = {.name = name,
                                    .name_length = strlen(name),
                                    .kind = SPW_KIND_ANALOGUE,
                                    .unit = SPW_UNIT_FULL_SCALE,
                                    .resolution_s = 1.0 / info->samplerate,
                                    .sample_rate_hz = info->samplerate,
                                    .lossy = is_lossy(info->format),
                                    .codec_samples = codec_samples(info->format),
                                    .full_scale = clip_magnitude(info->format)};
        spw_status status = sink->channel(sink->context, (uint32_t)i, &channel);
        if (status != SPW_OK)
            return status;
    }
    return SPW_OK;
}

static spw_status deliver(sound_player *player, const spw_sink *sink, size_t frames) {
    size_t channels = (size_t)player->info.channels;
    for (size_t c = 0; c < channels; c++) {
        float *place = sink->place != NULL ? sink->place(sink->context, (uint32_t)c, frames) : NULL;
        float *one = place != NULL ? place : player->one;
        if (player->coded)
            spw_sound_split_codes(player->codes, frames, channels, c, one);
        else
            spw_sound_split(player->mixed, frames, channels, c, one);
        spw_status status = sink->samples(sink->context, (uint32_t)c, player->frames, one, frames);
        if (status != SPW_OK)
            return status;
    }
    player->frames += frames;
    return SPW_OK;
}

static spw_status play(sound_player *player, const spw_sink *sink) {
    size_t channels = (size_t)player->info.channels;
    player->coded = (player->info.format & SF_FORMAT_SUBMASK) == SF_FORMAT_PCM_16;
    if (player->coded)
        player->codes = calloc(FRAMES * channels, sizeof *player->codes);
    else
        player->mixed = calloc(FRAMES * channels, sizeof *player->mixed);
    player->one = calloc(FRAMES, sizeof *player->one);
    if ((player->mixed == NULL && player->codes == NULL) || player->one == NULL)
        return spw_error_set(player->stream.error, SPW_ERR_MEMORY, "out of memory");
    bool made_up = codec_of(player->info.format) == CODEC_BLOCKS;
    /* Little reads, so that few good frames go with the made-up block. */
    sf_count_t step = made_up ? FRAMES_OF_BLOCKS : FRAMES;
    for (;;) {
        sf_count_t got = player->coded ? sf_readf_short(player->file, player->codes, step)
                                       : sf_readf_float(player->file, player->mixed, step);
        if (player->stream.status != SPW_OK)
            return player->stream.status;
        bool ended = player->stream.ended;
        player->damaged = sf_error(player->file) != SF_ERR_NO_ERROR || player->stream.lost;
        /* Past a damage in mid-file a decoder goes on, out of step: nothing of
         * that read is sure. At the file's end nothing can be out of step, but
         * the decoder of a lossy block makes up its rest. */
        if (got <= 0 || (player->damaged && !ended) || (ended && made_up))
            return SPW_OK;
        spw_status status = deliver(player, sink, (size_t)got);
        if (status != SPW_OK || player->damaged)
            return status;
    }
}

static spw_status warn_of_length(const sound_player *player, spw_capture_summary *summary) {
    double rate_hz = player->info.samplerate, end_s = (double)player->frames / rate_hz;
    double claimed = (double)player->claimed;
    double bytes = claimed * player->info.channels; /* by 1 to 8 bytes a sample */
    if (player->damaged && !player->stream.ended) {
        summary->truncated = true;
        return spw_notes_add(&summary->warnings,
                             "the sound file is damaged after %.6g s; what comes before was read",
                             end_s);
    }
    if (claimed == 0 && player->stream.held != NULL) {
        summary->truncated = true;
        return spw_notes_add(&summary->warnings, "the sound file ends early, after %.6g s", end_s);
    }
    bool placeholder = false;
    for (int size = 1; size <= 8 && !placeholder; size++)
        placeholder = bytes * size >= PIPE_CLAIM_MIN - 64 && bytes * size <= PIPE_CLAIM_MAX;
    if (claimed == 0 || (placeholder && (double)player->frames < claimed))
        return spw_notes_add(&summary->warnings,
                             "the sound file's header does not say how long it is (its writer was "
                             "cut off or wrote into a pipe); it was read to its end, %.6g s",
                             end_s);
    double slack = codec_of(player->info.format) == CODEC_BLOCKS ? PAD_FRAMES_MAX : 0;
    if ((double)player->frames + slack >= claimed)
        return SPW_OK;
    summary->truncated = true;
    return spw_notes_add(&summary->warnings, "the sound file ends after %.6g s of %.6g s", end_s,
                         claimed / rate_hz);
}

static spw_status describe(const sound_player *player, spw_capture_summary *summary) {
    SF_FORMAT_INFO major = {.format = player->info.format & SF_FORMAT_TYPEMASK};
    SF_FORMAT_INFO packing = {.format = player->info.format & SF_FORMAT_SUBMASK};
    if (sf_command(NULL, SFC_GET_FORMAT_INFO, &major, sizeof major) != 0 || major.name == NULL)
        major.name = "sound file";
    if (sf_command(NULL, SFC_GET_FORMAT_INFO, &packing, sizeof packing) != 0 ||
        packing.name == NULL)
        packing.name = "samples";
    spw_status status = spw_notes_add(&summary->recognised, "%s, %s, %d Hz, %d channel%s",
                                      major.name, packing.name, player->info.samplerate,
                                      player->info.channels, player->info.channels == 1 ? "" : "s");
    if (status == SPW_OK && is_lossy(player->info.format))
        status = spw_notes_add(&summary->warnings,
                               "lossy codec (%s): it moves edges by an unknown amount; record WAV "
                               "or FLAC for figures that count",
                               packing.name);
    return status;
}

static spw_status read_file(sound_player *player, const spw_sink *sink,
                            spw_capture_summary *summary, spw_error *error) {
    spw_status status = prepare(player, error);
    if (status == SPW_OK)
        status = open_file(player, error);
    if (status == SPW_OK)
        status = check_info(&player->info, error);
    if (status == SPW_OK)
        status = announce(&player->info, sink);
    if (status == SPW_OK)
        status = describe(player, summary);
    if (status == SPW_OK)
        status = play(player, sink);
    if (status != SPW_OK)
        return status;
    if (player->frames == 0)
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "the sound file holds no samples that can be read; record it again");
    summary->channels = (uint32_t)player->info.channels;
    summary->duration_s = (double)player->frames / player->info.samplerate;
    return warn_of_length(player, summary);
}

spw_status spw_audio_read(spw_source *source, const spw_read_options *options, spw_emitter *emitter,
                          spw_capture_summary *summary, spw_error *error) {
    (void)options;
    sound_player player = {.stream = {.source = source, .error = error}};
    spw_status status = read_file(&player, emitter->sink, summary, error);
    if (player.file != NULL)
        (void)sf_close(player.file);
    free(player.stream.held);
    free(player.mixed);
    free(player.codes);
    free(player.one);
    return status;
}
