"""Where one reader stands in the ring's log of segments. Nothing here locks or waits; the ring does."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from acquire.block import Counts, SampleBlock

LOST_RANGES_KEPT = 1000


@dataclass(slots=True, eq=False)
class Segment:
    """Consecutive samples in memory of shape (channels, segment_samples); `serial` is the place in the log."""

    counts: Counts
    serial: int = 0
    first_index: int = 0
    filled: int = 0
    holders: int = 0

    @property
    def end_index(self) -> int:
        """Index of the sample that would be written next."""
        return self.first_index + self.filled


@dataclass(frozen=True, slots=True)
class ReaderStatistics:
    """What became of one reader's samples (per channel).

    `lost_ranges` are the [first, end) sample indices that were overwritten before this reader came: the newest 1000
    ranges, while `samples_lost` counts all. `lag_samples` are written and not yet read.
    """

    samples_read: int
    samples_lost: int
    lag_samples: int
    lost_ranges: tuple[tuple[int, int], ...]


@dataclass(slots=True, eq=False)
class Cursor:
    """The next sample to read is number `offset` of the segment with that `serial`, or the first of a later one."""

    serial: int
    offset: int = 0
    held: Segment | None = None
    samples_read: int = 0
    samples_lost: int = 0
    lost_ranges: deque[tuple[int, int]] = field(default_factory=lambda: deque(maxlen=LOST_RANGES_KEPT))

    def unread(self, segment: Segment) -> range:
        """Offsets in the segment that this reader has still to see."""
        if segment.serial < self.serial:
            return range(0)
        return range(self.offset if segment.serial == self.serial else 0, segment.filled)

    def hold(self, segment: Segment) -> SampleBlock:
        """Move past all of the segment's unread samples and give a read-only view of them."""
        unread = self.unread(segment)
        counts = segment.counts[:, unread.start : unread.stop]
        counts.flags.writeable = False
        segment.holders += 1
        self.held, self.serial, self.offset = segment, segment.serial, segment.filled
        self.samples_read += len(unread)
        return SampleBlock(segment.first_index + unread.start, counts)

    def release(self) -> None:
        """Let go of the segment given last."""
        if self.held:
            self.held.holders -= 1
            self.held = None

    def lose(self, segment: Segment) -> None:
        """Note what this reader will never see of a segment that is taken away."""
        unread = self.unread(segment)
        if not unread:
            return
        first, end = segment.first_index + unread.start, segment.first_index + unread.stop
        self.samples_lost += len(unread)
        if self.lost_ranges and self.lost_ranges[-1][1] == first:
            first = self.lost_ranges.pop()[0]
        self.lost_ranges.append((first, end))

    def statistics(self, log: Iterable[Segment]) -> ReaderStatistics:
        """Count up, where `log` is every segment kept."""
        lag_samples = sum(len(self.unread(segment)) for segment in log)
        return ReaderStatistics(self.samples_read, self.samples_lost, lag_samples, tuple(self.lost_ranges))
