/* Encoder of the frames that FRAMES.md specifies. C99, one header, no allocation, any byte order.
 *
 *     static coilcall_frames frames;                               // all zero; set run where there is something random
 *     static uint8_t out[COILCALL_FRAME_BYTES(3, 128)];
 *     frames.inputs = 3;
 *     send(out, coilcall_describe(&frames, 50000000, inputs, out));        // before the first samples, then each second
 *     send(out, coilcall_samples(&frames, counts, 128, out));              // counts[128][3]
 *     coilcall_skip(&frames, 40);                                  // 40 samples could not be taken or sent
 *
 * Free for any use, without warranty.
 */
#ifndef COILCALL_FRAMES_H
#define COILCALL_FRAMES_H

#include <stddef.h>
#include <stdint.h>

#define COILCALL_MOST_BYTES 8192u /* before stuffing */
#define COILCALL_STUFFED_(n) ((n) + (n) / 254u + 2u)
/* What `out` must hold for a frame of samples, and for a description. */
#define COILCALL_FRAME_BYTES(inputs, samples) COILCALL_STUFFED_(20u + 2u * (inputs) * (samples))
#define COILCALL_DESCRIPTION_BYTES(inputs) COILCALL_STUFFED_(28u + 12u * (inputs))

typedef struct {
    uint8_t inputs;
    uint16_t run;      /* differs from start to start, else 0 */
    uint32_t sequence; /* of the next frame */
    uint64_t index;    /* of the next sample */
} coilcall_frames;

typedef struct {
    int32_t nanovolts_per_count;
    int32_t offset_microvolts;
    int16_t low_count, high_count;
} coilcall_input;

/* COBS and CRC-32 as the bytes go by. */
typedef struct {
    uint8_t *begin, *code, *next;
    uint32_t crc;
} coilcall_writer_;

static inline void coilcall_stuff_(coilcall_writer_ *w, uint8_t byte)
{
    if (w->next - w->code == 255) { /* a full group: no zero stands after it */
        *w->code = 255;
        w->code = w->next++;
    }
    if (byte != 0) {
        *w->next++ = byte;
    } else {
        *w->code = (uint8_t)(w->next - w->code);
        w->code = w->next++;
    }
}

static inline void coilcall_put_(coilcall_writer_ *w, uint64_t value, unsigned bytes)
{
    static const uint32_t nibble[16] = {
        0x00000000u, 0x1db71064u, 0x3b6e20c8u, 0x26d930acu, 0x76dc4190u, 0x6b6b51f4u, 0x4db26158u, 0x5005713cu,
        0xedb88320u, 0xf00f9344u, 0xd6d6a3e8u, 0xcb61b38cu, 0x9b64c2b0u, 0x86d3d2d4u, 0xa00ae278u, 0xbdbdf21cu};
    for (; bytes != 0; bytes--, value >>= 8) {
        const uint8_t byte = (uint8_t)(value & 0xffu);
        w->crc = nibble[(w->crc ^ byte) & 15u] ^ (w->crc >> 4);
        w->crc = nibble[(w->crc ^ (byte >> 4)) & 15u] ^ (w->crc >> 4);
        coilcall_stuff_(w, byte);
    }
}

static inline coilcall_writer_ coilcall_begin_(coilcall_frames *f, uint8_t kind, uint8_t *out)
{
    coilcall_writer_ w;
    w.begin = w.code = out;
    w.next = out + 1;
    w.crc = 0xffffffffu;
    coilcall_put_(&w, kind, 1);
    coilcall_put_(&w, f->inputs, 1);
    coilcall_put_(&w, f->run, 2);
    coilcall_put_(&w, f->sequence++, 4);
    coilcall_put_(&w, f->index, 8);
    return w;
}

static inline size_t coilcall_end_(coilcall_writer_ *w)
{
    coilcall_put_(w, w->crc ^ 0xffffffffu, 4);
    *w->code = (uint8_t)(w->next - w->code);
    *w->next++ = 0;
    return (size_t)(w->next - w->begin);
}

/* Write a description to `out`; returns its length in bytes. `inputs` holds f->inputs entries. */
static inline size_t coilcall_describe(coilcall_frames *f, uint32_t rate_millihertz, const coilcall_input *inputs,
                                       uint8_t *out)
{
    coilcall_writer_ w = coilcall_begin_(f, 1, out);
    unsigned i;
    coilcall_put_(&w, 1, 4); /* version, and two bytes that mean nothing yet */
    coilcall_put_(&w, rate_millihertz, 4);
    for (i = 0; i < f->inputs; i++) {
        coilcall_put_(&w, (uint32_t)inputs[i].nanovolts_per_count, 4);
        coilcall_put_(&w, (uint32_t)inputs[i].offset_microvolts, 4);
        coilcall_put_(&w, (uint16_t)inputs[i].low_count, 2);
        coilcall_put_(&w, (uint16_t)inputs[i].high_count, 2);
    }
    return coilcall_end_(&w);
}

/* Write a frame of interleaved samples to `out`; returns its length, or 0 where it would be too long or empty. */
static inline size_t coilcall_samples(coilcall_frames *f, const int16_t *counts, uint16_t samples, uint8_t *out)
{
    const uint32_t values = (uint32_t)samples * f->inputs;
    coilcall_writer_ w;
    uint32_t i;
    if (values == 0 || 20u + 2u * values > COILCALL_MOST_BYTES)
        return 0;
    w = coilcall_begin_(f, 2, out);
    for (i = 0; i < values; i++)
        coilcall_put_(&w, (uint16_t)counts[i], 2);
    f->index += samples;
    return coilcall_end_(&w);
}

/* Count samples that were not taken or could not be sent; they become a gap of exactly this length. */
static inline void coilcall_skip(coilcall_frames *f, uint64_t samples)
{
    f->index += samples;
}

#endif
