"""The frames of FRAMES.md, written a second time and plainly, so that encoder and decoder are held to the text."""

import binascii
import struct

import numpy as np
from numpy.typing import NDArray

INPUTS = [(1_000_000, 0, -32768, 32767), (2_000_000, -5_000_000, -2048, 2047), (-500, 7, 0, 4095), (3, 0, -1, 1)]
RATE_MILLIHERTZ = 50_000_000


def stuff(plain: bytes) -> bytes:
    """COBS, straight from the paper's description: each group is a length and the bytes up to a zero or 254 of them."""
    stuffed = b""
    groups = plain.split(b"\0")
    for number, group in enumerate(groups):
        is_last = number + 1 == len(groups)
        while len(group) >= 254:
            stuffed += b"\xff" + group[:254]
            group = group[254:]
            if not group and is_last:
                return stuffed
        stuffed += bytes([len(group) + 1]) + group
    return stuffed


def frame(kind: int, inputs: int, sequence: int, index: int, body: bytes, run: int = 7) -> bytes:
    plain = struct.pack("<BBHIQ", kind, inputs, run, sequence % 2**32, index) + body
    return stuff(plain + struct.pack("<I", binascii.crc32(plain))) + b"\0"


def description(sequence: int, index: int, inputs: int = 3, run: int = 7, version: int = 1) -> bytes:
    body = struct.pack("<HHI", version, 0, RATE_MILLIHERTZ)
    body += b"".join(struct.pack("<iihh", *one) for one in INPUTS[:inputs])
    return frame(1, inputs, sequence, index, body, run)


def samples(sequence: int, index: int, counts: NDArray[np.int16], run: int = 7) -> bytes:
    """`counts` is (inputs, samples)."""
    return frame(2, len(counts), sequence, index, counts.T.astype("<i2").tobytes(), run)


def stream(counts: NDArray[np.int16], per_frame: int, described_each: int, start: int = 0) -> list[bytes]:
    """All frames of counts (inputs, samples), with a description before every so many."""
    frames: list[bytes] = []
    for number, first in enumerate(range(0, counts.shape[1], per_frame)):
        if number % described_each == 0:
            frames.append(description(len(frames), start + first, len(counts)))
        frames.append(samples(len(frames), start + first, counts[:, first : first + per_frame]))
    return frames
