"""Bytes flipped, lost, doubled, put in and cut off, and what must be true of the samples that are left."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray

from acquire.block import SampleBlock
from drivers.serial_board.frames import Frames
from tests.drivers.serial_board import encoding

INPUTS, PER_FRAME, DESCRIBED_EACH, START = 3, 7, 5, 12_345
KINDS = ("flip", "lose", "double", "put", "cut")


@dataclass(frozen=True)
class Edit:
    """Something happens to `length` bytes from `at`; `salt` says how bits flip and what is put in."""

    kind: str
    at: int
    length: int
    salt: int


def damaged(whole: bytes, edits: Sequence[Edit]) -> tuple[bytes, NDArray[np.bool_]]:
    """Give what comes, and which bytes of `whole` were touched or have something new right before them."""
    touched = np.zeros(len(whole) + 1, np.bool_)
    limit = len(whole)
    for edit in sorted(edits, key=lambda one: -one.at):
        end, limit = min(edit.at + edit.length, limit), min(edit.at, limit)  # what follows was damaged already
        bits = np.random.default_rng(edit.salt)
        before, middle, after = whole[: edit.at], whole[edit.at : end], whole[end:]
        if edit.kind == "flip":
            middle = bytes(byte ^ int(bits.integers(1, 256)) for byte in middle)
        elif edit.kind == "lose":
            middle = b""
        elif edit.kind == "double":
            middle *= 2
        elif edit.kind == "put":
            middle = bits.bytes(edit.length) + middle
        else:
            middle = after = b""
            touched[edit.at :] = True
        touched[edit.at : end + 1] = True
        whole = before + middle + after
    return whole, touched


def random_edits(rng: np.random.Generator, size: int, most: int) -> list[Edit]:
    """Up to `most` edits, short ones mostly."""
    return [
        Edit(str(rng.choice(KINDS)), int(rng.integers(size)), int(rng.geometric(0.1)), int(rng.integers(2**32)))
        for _ in range(rng.integers(1, most + 1))
    ]


def received(wire: bytes, cuts: Sequence[int]) -> tuple[list[SampleBlock], int]:
    """What a receiver makes of the bytes, cut so; and the board's index of its sample 0."""
    frames = Frames("board")
    edges = [0, *sorted(cuts), len(wire)]
    blocks = [block for start, end in pairwise(edges) for block in frames.feed(wire[start:end])]
    return blocks, frames._zero


def check(counts: NDArray[np.int16], edits: Sequence[Edit], cuts: Sequence[int]) -> int:
    """Assert that no sample is wrong and none is missing whose frame came whole; give how many samples came."""
    frames = encoding.stream(counts, PER_FRAME, DESCRIBED_EACH, START)
    wire, touched = damaged(b"".join(frames), edits)
    blocks, zero = received(wire, [cut % (len(wire) + 1) for cut in cuts])
    came = np.zeros(counts.shape[1], np.bool_)
    end = 0
    for block in blocks:
        assert block.first_index >= end, "went back"
        end = block.end_index
        first = block.first_index + zero - START
        assert np.array_equal(block.counts, counts[:, first : first + block.samples]), "a wrong sample"
        came[first : first + block.samples] = True
    assert not (whole_frames(frames, touched, counts.shape[1]) & ~came).any(), "lost a frame that was whole"
    return int(came.sum())


def whole_frames(frames: Sequence[bytes], touched: NDArray[np.bool_], total: int) -> NDArray[np.bool_]:
    """Which samples stand in frames that came whole, with the delimiter before, after a description that did."""
    expected = np.zeros(total, np.bool_)
    ends = [0, *accumulate(map(len, frames))]
    described, first = False, 0
    for number, (start, end) in enumerate(pairwise(ends)):
        is_whole = not touched[max(start - 1, 0) : end].any()
        if number % (DESCRIBED_EACH + 1) == 0:
            described |= is_whole
            continue
        expected[first : first + PER_FRAME] = is_whole and described
        first += PER_FRAME
    return expected
