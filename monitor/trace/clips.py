"""The surroundings of the latest flags, copied out before the ring lets go of them."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from acquire.block import Counts
from monitor.firing.records import Firing
from monitor.trace.piece import Piece
from monitor.trace.ring import Ring

BEFORE_S, AFTER_S = 0.3, 0.2
"""At 600 rpm a cycle lasts 0.2 s: the one before, the one of the flag, and most of the one after."""
_MOST_CLIPS = 200
"""As many as flags are remembered: every firing is looked up in each."""
_ENOUGH = 0.5
"""A flag with this share of its surroundings in a clip already needs none of its own."""


@dataclass(slots=True, eq=False)
class Clip:
    """Samples start … end-1 of every input as runs without gaps, (first index, counts); and the firings among them."""

    start: int
    end: int
    runs: tuple[tuple[int, Counts], ...]
    firings: list[Firing] = field(default_factory=list)

    @property
    def bytes(self) -> int:
        """Memory taken."""
        return sum(counts.nbytes for _, counts in self.runs)

    def pieces(self, row: int, start: int, end: int) -> Iterator[Piece]:
        """What it holds of samples start … end-1 of one input."""
        for first, counts in self.runs:
            begin, stop = max(start, first), min(end, first + counts.shape[1])
            if begin < stop:
                samples = counts[row, begin - first : stop - first]
                yield Piece(begin, samples, samples)


class Clips:
    """Cuts a clip as soon as the samples after the flag are there; the oldest go when the memory allowed is full."""

    def __init__(self, rate_hz: float, channels: int, most_bytes: int) -> None:
        self._before, self._after = round(BEFORE_S * rate_hz), round(AFTER_S * rate_hz)
        self._channels = channels
        self._most_bytes = most_bytes
        self._bytes = 0
        self._awaited: deque[int] = deque()
        self.kept: deque[Clip] = deque()
        """In the order in which they were cut."""

    def want(self, index: int) -> None:
        """Keep the surroundings of this sample, unless most of them are kept or wanted already."""
        wanted = [(at - self._before, at + self._after) for at in self._awaited]
        before, after = round(self._before * _ENOUGH), round(self._after * _ENOUGH)
        for start, end in [*wanted, *((clip.start, clip.end) for clip in self.kept)]:
            if start <= max(index - before, 0) and index + after <= end:
                return
        self._awaited.append(index)

    def cut(self, ring: Ring, reached: int) -> list[Clip]:
        """Copy out of the ring what is whole now that no sample before `reached` will come any more."""
        made = []
        while self._awaited and self._awaited[0] + self._after <= reached:
            made += self._cut(ring, self._awaited.popleft())
        return made

    def _cut(self, ring: Ring, index: int) -> list[Clip]:
        start, end = max(index - self._before, 0), index + self._after
        rows = [list(ring.pieces(row, start, end)) for row in range(self._channels)]
        runs = tuple((pieces[0].first, np.stack([one.low for one in pieces])) for pieces in zip(*rows, strict=True))
        if not runs:
            return []
        clip = Clip(start, end, runs)
        self.kept.append(clip)
        self._bytes += clip.bytes
        while self._bytes > self._most_bytes or len(self.kept) > _MOST_CLIPS:
            self._bytes -= self.kept.popleft().bytes
        return [clip]
