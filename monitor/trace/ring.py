"""The newest samples of every input, gaps and all, and on demand the lowest and highest of every few."""

from collections import deque
from collections.abc import Iterator
from typing import Any

import numpy as np

from acquire.block import Counts
from monitor.trace.piece import Piece

BLOCK = 128
"""Samples summed up as one lowest and one highest: drawing ten seconds at 1 MS/s must not look at every sample."""


class Ring:
    """Sample n of every input lies at place n modulo the size, in memory taken once. Taking a block is a copy."""

    def __init__(self, channels: int, dtype: np.dtype[np.signedinteger[Any]], samples: int) -> None:
        """Keeps the newest `samples` per input, rounded down to whole blocks, one at least."""
        blocks = max(samples // BLOCK, 1)
        self.size = blocks * BLOCK
        self._samples = np.zeros((channels, self.size), dtype)
        self._low = np.zeros((channels, blocks), dtype)
        self._high = np.zeros((channels, blocks), dtype)
        self._summed = 0
        self._runs: deque[tuple[int, int]] = deque()

    @property
    def start(self) -> int:
        """Index of the oldest sample held; of the next one while there is none."""
        return self._runs[0][0] if self._runs else 0

    @property
    def end(self) -> int:
        """Index after the newest sample held."""
        return self._runs[-1][1] if self._runs else 0

    def append(self, counts: Counts, first_index: int) -> None:
        """Take `counts` (channels, samples) that begin at sample `first_index`; a jump is a gap."""
        end = first_index + counts.shape[1]
        is_joined = bool(self._runs) and self._runs[-1][1] == first_index
        self._runs.append((self._runs.pop()[0] if is_joined else first_index, end))
        first = max(first_index, end - self.size)
        kept = counts[:, first - first_index :]
        place = first % self.size
        room = min(self.size - place, kept.shape[1])
        self._samples[:, place : place + room] = kept[:, :room]
        self._samples[:, : kept.shape[1] - room] = kept[:, room:]
        self._forget(end - self.size)

    def _forget(self, oldest: int) -> None:
        while self._runs[0][1] <= oldest:
            self._runs.popleft()
        if self._runs[0][0] < oldest:
            self._runs[0] = (oldest, self._runs[0][1])

    def pieces(self, row: int, start: int, end: int, *, coarse: bool = False) -> Iterator[Piece]:
        """What is held of samples start … end-1 of one input, in order, gaps left out.

        Coarse pieces have a step of BLOCK and stand on multiples of it; what is left at their ends comes in single
        samples. Views: good until the next `append`.
        """
        if coarse:
            self._sum_up()
        for run_start, run_end in self._runs:
            first, last = max(start, run_start), min(end, run_end)
            blocks_start = -(-first // BLOCK) * BLOCK
            blocks_end = min(last, self._summed) // BLOCK * BLOCK
            if not coarse or blocks_start >= blocks_end:
                yield from self._single(row, first, last)
                continue
            yield from self._single(row, first, blocks_start)
            for begin, stop in _unwrapped(blocks_start // BLOCK, blocks_end // BLOCK, self.size // BLOCK):
                places = slice(begin % (self.size // BLOCK), begin % (self.size // BLOCK) + stop - begin)
                yield Piece(begin * BLOCK, self._low[row, places], self._high[row, places], BLOCK)
            yield from self._single(row, blocks_end, last)

    def _single(self, row: int, start: int, end: int) -> Iterator[Piece]:
        for begin, stop in _unwrapped(start, end, self.size):
            samples = self._samples[row, begin % self.size : begin % self.size + stop - begin]
            yield Piece(begin, samples, samples)

    def _sum_up(self) -> None:
        """Catch up. Blocks over a gap hold leftovers; they are in no run, so nobody is given them."""
        size = self.size // BLOCK
        first = max(self._summed // BLOCK, -(-(self.end - self.size) // BLOCK), 0)
        for begin, stop in _unwrapped(first, self.end // BLOCK, size):
            places = slice(begin % size, begin % size + stop - begin)
            blocks = self._samples.reshape(len(self._samples), size, BLOCK)[:, places]
            blocks.min(axis=2, out=self._low[:, places])
            blocks.max(axis=2, out=self._high[:, places])
        self._summed = self.end // BLOCK * BLOCK


def _unwrapped(start: int, end: int, size: int) -> Iterator[tuple[int, int]]:
    """Cut start … end-1 where it passes a multiple of `size`; nothing where it is empty."""
    while start < end:
        stop = min(end, (start // size + 1) * size)
        yield start, stop
        start = stop
