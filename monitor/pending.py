"""What was entered and is not in the ledger yet; bounded, as a disk may fail for hours."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeVar

from acquire.recording_guard import Dropped
from monitor.entries import Clip, Coverage, Entries, Event, Gap
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.marks import Mark

MOST_ROWS = 100_000
"""Of each kind: firings of 40 minutes of a six at idle, 65 MB."""

T = TypeVar("T")


@dataclass(slots=True)
class Pending:
    """Collects entries until they are taken; what could not be written is given back and waits in front.

    Of a flag only the newest state is kept.
    """

    most_rows: int = MOST_ROWS
    firings: list[Firing] = field(default_factory=list)
    flags: dict[int, Flag] = field(default_factory=dict)
    gaps: list[Gap] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    dropped: list[Dropped] = field(default_factory=list)
    clips: list[Clip] = field(default_factory=list)
    coverage: Coverage | None = None
    first_index: int | None = None
    rows_lost: int = 0
    """Rows given up for good, since the start."""

    def enter(self, firings: Iterable[Firing], flags: Iterable[Flag]) -> None:
        """Add what the analysis of one block brought."""
        self.firings += firings
        self.flags.update((flag.number, flag) for flag in flags)

    def take(self) -> Entries:
        """Give everything for one write; it is no longer here."""
        entries = Entries(
            self.firings,
            list(self.flags.values()),
            self.gaps,
            self.coverage,
            self.marks,
            self.events,
            self.dropped,
            self.clips,
            self.first_index,
        )
        self.firings, self.flags, self.gaps, self.marks = [], {}, [], []
        self.events, self.dropped, self.clips = [], [], []
        self.coverage = self.first_index = None
        return entries

    def give_back(self, entries: Entries) -> None:
        """Take back what could not be written; beyond the bound the oldest rows are lost, and that is booked."""
        firings = [*entries.firings, *self.firings]
        if lost := firings[: -self.most_rows]:
            detail = f"{len(lost)} firings, as the ledger could not be written"
            self.events.append(Event(lost[0].time_s, "firings-lost", detail, lost[-1].time_s - lost[0].time_s))
        self.firings = self._bounded(firings)
        flags = {flag.number: flag for flag in entries.flags} | self.flags
        self.flags = {flag.number: flag for flag in self._bounded(list(flags.values()))}
        self.gaps = self._bounded([*entries.gaps, *self.gaps])
        self.marks = self._bounded([*entries.marks, *self.marks])
        self.events = self._bounded([*entries.events, *self.events])
        self.dropped = self._bounded([*entries.dropped, *self.dropped])
        self.clips = self._bounded([*entries.clips, *self.clips])
        self.coverage = self.coverage or entries.coverage
        self.first_index = entries.first_index if self.first_index is None else self.first_index

    def give_up(self) -> None:
        """Count all that waits as lost."""
        rows = (self.firings, self.flags, self.gaps, self.marks, self.events, self.dropped, self.clips)
        self.rows_lost += sum(map(len, rows))

    def _bounded(self, rows: list[T]) -> list[T]:
        self.rows_lost += max(len(rows) - self.most_rows, 0)
        return rows[-self.most_rows :]
