"""How a missing answer came about: alone, or while nobody on the line answered."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Self

from monitor.findings.evidence import Stop
from monitor.firing.records import Firing, Outcome
from monitor.tally import Spread

GIVEN_UP_AFTER = 3
"""Misses in a row after which a turn without call is the controller's answer to them. Several controllers stop after 6
in a row, others after 8 to 11 (service literature); fewer than 3 are no pattern."""
_LEAST_SILENT = 3
"""Misses in a row that make a line silent, however few coils it has."""


@dataclass(frozen=True, slots=True)
class Miss:
    """A turn without answer; feed's fall and current are None where another coil's charge may be in them."""

    cylinder: int
    time_s: float
    sag_v: float | None
    current_a: float | None

    @classmethod
    def of(cls, firing: Firing, *, is_clear: bool) -> Self:
        """Read it off the entry of the roll."""
        sag_v = None
        if is_clear and firing.supply_before_v is not None and firing.supply_low_v is not None:
            sag_v = firing.supply_before_v - firing.supply_low_v
        return cls(firing.cylinder, firing.time_s, sag_v, firing.current_a if is_clear else None)


@dataclass(slots=True)
class Drawn:
    """Whether current flowed in the turns missed: fall of the feed and current, each with its spread."""

    sag_v: Spread = field(default_factory=lambda: Spread(0.01, 20.0))
    current_a: Spread = field(default_factory=lambda: Spread(0.1, 50.0))

    def add(self, miss: Miss) -> None:
        """Count one."""
        if miss.sag_v is not None:
            self.sag_v.add(miss.sag_v)
        if miss.current_a is not None:
            self.current_a.add(miss.current_a)


@dataclass(slots=True)
class Notes(Drawn):
    """One cylinder's misses by how they came about, as in Coil."""

    alone: int = 0
    with_all: int = 0
    line_low: int = 0
    without_feed: int = 0
    feed_gone: int = 0
    given_up: int = 0
    stop: Stop | None = None
    _run: int = 0
    _run_s: float = 0.0
    _is_stopped: bool = False

    def follow(self, firing: Firing) -> None:
        """Tell a cylinder given up after misses from one that is not called for another reason."""
        if firing.outcome is Outcome.UNACKNOWLEDGED:
            self._run_s = self._run_s if self._run else firing.time_s
            self._run += 1
        elif firing.outcome is Outcome.UNCOMMANDED:
            if self._run >= GIVEN_UP_AFTER and not self._is_stopped:
                self._is_stopped = True
                self.stop = Stop(self._run, self._run_s, firing.time_s)
            self.given_up += self._is_stopped
            self._run = 0
        elif firing.outcome is Outcome.ACKNOWLEDGED:
            self._run = 0
            self._is_stopped = False


class LineBook(Drawn):
    """One acknowledgement line. Misses wait until somebody answers, or until its every coil has been passed over."""

    def __init__(self, input: str, cylinders: tuple[int, ...], *, is_shared: bool) -> None:  # noqa: A002
        """`is_shared` says whether more than one coil answers on it; the line of one coil cannot be told from it."""
        super().__init__()
        self.input = input
        self._is_shared = is_shared
        self.cylinders = tuple(sorted(cylinders))
        self.silent = 0
        self.since_s: float | None = None
        self._waiting: list[Miss] = []
        self._passed: set[int] = set()
        self._is_silent = False

    def missed(self, miss: Miss, notes: Mapping[int, Notes]) -> None:
        """Enter a miss that nothing else explains."""
        self._waiting.append(miss)
        self.passed(miss.cylinder)
        if not self._is_shared:
            self.answered(notes)
        elif self._is_silent or self._is_whole():
            self._book_silence(notes)

    def passed(self, cylinder: int) -> None:
        """Note a turn from which no answer was to be had."""
        self._passed.add(cylinder)

    def answered(self, notes: Mapping[int, Notes]) -> None:
        """Somebody answered: who is waiting has missed alone."""
        for miss in self._waiting:
            own = notes[miss.cylinder]
            own.alone += 1
            own.add(miss)
        self._waiting.clear()
        self._passed.clear()
        self._is_silent = False

    def open_misses(self, cylinder: int) -> int:
        """Misses of this cylinder of which is not yet known whether others answer: counted as its own until then."""
        return sum(miss.cylinder == cylinder for miss in self._waiting)

    def _is_whole(self) -> bool:
        return len(self._waiting) >= _LEAST_SILENT and self._passed.issuperset(self.cylinders)

    def _book_silence(self, notes: Mapping[int, Notes]) -> None:
        if not self._is_silent:
            self._is_silent, self.since_s = True, self._waiting[0].time_s
        for miss in self._waiting:
            notes[miss.cylinder].with_all += 1
            self.add(miss)
        self.silent += len(self._waiting)
        self._waiting.clear()
