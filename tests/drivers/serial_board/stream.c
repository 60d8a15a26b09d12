/* Frames of the int16 samples on stdin, to stdout: stream INPUTS RATE_HZ SAMPLES_A_FRAME [REPEATS]
 *
 * A description comes first and then each second's worth of samples. With REPEATS the whole of stdin (at most 1 MiB) is
 * sent so many times over, as fast as it is taken.
 */
#include "coilcall_frames.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#define MOST_INPUTS 16

static int16_t counts[1 << 19];
static uint8_t out[COILCALL_STUFFED_(COILCALL_MOST_BYTES)];

static void send_all(const uint8_t *bytes, size_t left)
{
    while (left > 0) {
        const ssize_t done = write(STDOUT_FILENO, bytes, left);
        if (done <= 0)
            exit(3);
        bytes += done;
        left -= (size_t)done;
    }
}

int main(int argc, char **argv)
{
    const unsigned inputs = argc > 1 ? (unsigned)atoi(argv[1]) : 0, rate_hz = argc > 2 ? (unsigned)atoi(argv[2]) : 0;
    const unsigned per_frame = argc > 3 ? (unsigned)atoi(argv[3]) : 0, repeats = argc > 4 ? (unsigned)atoi(argv[4]) : 1;
    coilcall_frames frames = {0, 7, 0, 0};
    coilcall_input described[MOST_INPUTS];
    uint64_t next_description = 0;
    size_t samples, at;
    unsigned i, round;

    if (inputs < 1 || inputs > MOST_INPUTS || rate_hz == 0 || per_frame == 0)
        return 2;
    frames.inputs = (uint8_t)inputs;
    for (i = 0; i < inputs; i++) {
        described[i].nanovolts_per_count = 1000000 + (int32_t)i;
        described[i].offset_microvolts = -(int32_t)i;
        described[i].low_count = -32768;
        described[i].high_count = 32767;
    }
    samples = fread(counts, 2 * inputs, sizeof counts / (2 * inputs), stdin);
    send_all((const uint8_t *)"", 1);
    for (round = 0; round < repeats; round++)
        for (at = 0; at < samples;) {
            const unsigned now = samples - at < per_frame ? (unsigned)(samples - at) : per_frame;
            if (frames.index >= next_description) {
                send_all(out, coilcall_describe(&frames, rate_hz * 1000u, described, out));
                next_description += rate_hz;
            }
            send_all(out, coilcall_samples(&frames, counts + at * inputs, (uint16_t)now, out));
            at += now;
        }
    return 0;
}
