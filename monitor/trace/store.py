"""What the trace view can show: the newest samples, the surroundings of the latest flags, and the firings there."""

from collections import deque
from collections.abc import Iterator
from itertools import chain

from acquire.block import SampleBlock, StreamInfo
from monitor.analyzer import Step
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.trace.clips import AFTER_S, Clips
from monitor.trace.piece import Piece
from monitor.trace.ring import Ring

NEWEST_S = 10.0
NEWEST_BYTES = 20_000_000
"""The newest samples: so many seconds, or so much memory, whichever is less."""
CLIPS_BYTES = 20_000_000
"""Little enough that a watch at four inputs of 1 MS/s, with all that it does, stays below 250 MB."""
_FLAGS = 200
_LOSSES = 1000


class TraceStore:
    """A Listener: every block is copied in, nothing is worked out. Asked from the same event loop."""

    def __init__(self, info: StreamInfo, newest_bytes: int = NEWEST_BYTES, clips_bytes: int = CLIPS_BYTES) -> None:
        self.rate_hz = info.sample_rate_hz
        self._info, self._newest_bytes, self._clips_bytes = info, newest_bytes, clips_bytes
        self.forget()

    def forget(self) -> None:
        """Keep nothing of what was there: the samples begin anew, wherever that is."""
        channels, dtype = len(self._info.channels), self._info.dtype
        fitting = self._newest_bytes // (channels * dtype.itemsize)
        self._ring = Ring(channels, dtype, min(round(NEWEST_S * self.rate_hz), fitting))
        self._clips = Clips(self.rate_hz, channels, self._clips_bytes)
        self._firings: deque[Firing] = deque()
        self._flags: dict[int, Flag] = {}
        self._losses: deque[tuple[int, int]] = deque(maxlen=_LOSSES)

    @property
    def end(self) -> int:
        """Index after the newest sample."""
        return self._ring.end

    @property
    def size(self) -> int:
        """Samples per input that the newest stretch can hold."""
        return self._ring.size

    @property
    def oldest(self) -> int:
        """Index of the oldest sample still kept, in the newest stretch or with a flag."""
        return min([self._ring.start, *(clip.start for clip in self._clips.kept)])

    @property
    def newest_start(self) -> int:
        """Index of the oldest sample of the newest stretch."""
        return self._ring.start

    @property
    def flags(self) -> tuple[Flag, ...]:
        """The latest 200, as they stand, by number."""
        return tuple(self._flags.values())

    def index(self, time_s: float) -> int:
        """Sample nearest to a moment."""
        return round(time_s * self.rate_hz)

    def time_s(self, index: int) -> float:
        """When a sample was taken, in seconds from the first."""
        return index / self.rate_hz

    def take(self, block: SampleBlock, step: Step) -> None:
        """Keep a block that was just analysed."""
        if block.first_index > self._ring.end:
            # A long gap empties the ring: what is awaited of the time before it is copied first.
            self._losses.append((self._ring.end, block.first_index))
            self._cut(block.first_index)
        self._ring.append(block.counts, block.first_index)
        self._note(step)
        self._cut(block.end_index)
        oldest_s = self.time_s(self._ring.start)
        while self._firings and self._firings[0].time_s < oldest_s:
            self._firings.popleft()

    def conclude(self, step: Step) -> None:
        """Note the last turns, and cut out what is awaited: no sample comes any more."""
        self._note(step)
        self._cut(self._ring.end + round(AFTER_S * self.rate_hz))

    def _note(self, step: Step) -> None:
        for firing in step.firings:
            self._note_firing(firing)
        for flag in step.flags:
            self._note_flag(flag)

    def _cut(self, reached: int) -> None:
        for clip in self._clips.cut(self._ring, reached):
            clip.firings += [one for one in self._firings if clip.start <= self.index(one.time_s) < clip.end]

    def _note_flag(self, flag: Flag) -> None:
        if flag.number not in self._flags:
            self._clips.want(self.index(flag.start_s))
        self._flags[flag.number] = flag
        if len(self._flags) > _FLAGS:
            del self._flags[min(self._flags)]

    def _note_firing(self, firing: Firing) -> None:
        """The turn of a firing is sure only some turns later, when the samples may be cut out already."""
        self._firings.append(firing)
        at = self.index(firing.time_s)
        for clip in self._clips.kept:
            if clip.start <= at < clip.end:
                clip.firings.append(firing)

    def pieces(self, row: int, start: int, end: int, *, coarse: bool = False) -> Iterator[Piece]:
        """What is kept of samples start … end-1 of one input, in order, none twice. Views, good until `take`."""
        at = start
        for clip in sorted(self._clips.kept, key=lambda clip: clip.start):
            for piece in clip.pieces(row, max(at, start), min(end, self._ring.start)):
                yield piece
                at = piece.end
        yield from self._ring.pieces(row, start, end, coarse=coarse)

    def losses(self, start: int, end: int) -> list[tuple[int, int]]:
        """Stretches of samples start … end-1 that never arrived, in order."""
        return [(max(a, start), min(b, end)) for a, b in self._losses if a < end and b > start]

    def count(self, row: int, index: int) -> int | None:
        """One sample, None where it is not kept."""
        return next((int(piece.low[0]) for piece in self.pieces(row, index, index + 1)), None)

    def firings(self, start: int, end: int) -> list[Firing]:
        """Kept firings whose spark is among samples start … end-1, in order of time."""
        clips = [clip for clip in self._clips.kept if clip.start < end and clip.end > start]
        kept = {(one.time_s, one.cylinder): one for one in chain(self._firings, *(clip.firings for clip in clips))}
        low_s, high_s = self.time_s(start), self.time_s(end)
        return [kept[key] for key in sorted(kept) if low_s <= key[0] < high_s]
