"""Which stretches of a recording become clips, and when. Nothing here knows of a disk."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from monitor.disk_terms import Surroundings

MOST_WANTED = 1000
"""Stretches that may wait while no clip can be written; beyond that the oldest is given up."""


@dataclass(frozen=True, slots=True)
class Span:
    """Samples from `first_index` to before `end_index`."""

    first_index: int
    end_index: int


class ClipPlan:
    """Takes moments, and gives stretches around them: in order of time, those that touch as one, none too long."""

    def __init__(self, rate_hz: float, near: Surroundings) -> None:
        self._before, self._after = round(near.before_s * rate_hz), round(near.after_s * rate_hz)
        self._longest, self._late = round(near.longest_s * rate_hz), round(near.late_s * rate_hz)
        self._wanted: list[Span] = []
        self._analysed_index = self._settled_index = 0
        self.given_up = 0
        """Clips that will never be cut, since the start."""

    def want(self, index: int) -> None:
        """Keep what surrounds this sample."""
        first, end = max(index - self._before, 0), index + self._after
        touching = [span for span in self._wanted if span.first_index <= end and first <= span.end_index]
        apart = [span for span in self._wanted if span not in touching]
        first = min([first, *(span.first_index for span in touching)])
        end = max([end, *(span.end_index for span in touching)])
        self._wanted = sorted([*apart, Span(first, end)], key=lambda span: span.first_index)
        self._give_up(self._wanted[:-MOST_WANTED])
        self._wanted = self._wanted[-MOST_WANTED:]

    def analysed(self, end_index: int) -> None:
        """Note how far the analysis is; moments before it may be told a little later."""
        self._analysed_index = end_index

    def booked(self, end_index: int) -> None:
        """Note how far the analysis was when it was written down last: what no flag can change any more is settled."""
        self._settled_index = end_index - self._late

    def next_span(self, kept_index: int, *, is_last: bool = False) -> Span | None:
        """Give the oldest stretch that is settled, and on the disk up to `kept_index`; with `is_last`, the oldest."""
        if not self._wanted:
            return None
        first, end = self._wanted[0].first_index, self._wanted[0].end_index
        span = Span(first, min(end, first + self._longest))
        return span if is_last or span.end_index <= min(kept_index, self._settled_index) else None

    def done(self, done: Span) -> None:
        """Forget a stretch; what has come to be wanted before or behind it stays."""
        before = [Span(span.first_index, min(span.end_index, done.first_index)) for span in self._wanted]
        behind = [Span(max(span.first_index, done.end_index), span.end_index) for span in self._wanted]
        left = [span for span in before + behind if span.first_index < span.end_index]
        self._wanted = sorted(left, key=lambda span: span.first_index)

    def give_up(self) -> None:
        """Count all that waits as given up."""
        self._give_up(self._wanted)
        self._wanted = []

    def _give_up(self, spans: Iterable[Span]) -> None:
        self.given_up += sum(math.ceil((span.end_index - span.first_index) / self._longest) for span in spans)

    @property
    def needed_from(self) -> int:
        """Index from which on samples are wanted, or may be yet."""
        may_be = self._analysed_index - self._late - self._before
        return min(self._wanted[0].first_index, may_be) if self._wanted else may_be
