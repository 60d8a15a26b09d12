"""The count of a flex test: every interruption latched, until somebody begins anew."""

from collections import deque
from dataclasses import dataclass, field

from acquire.block import SampleBlock, StreamInfo
from monitor.analyzer import Step
from monitor.flags import Flag, Kind
from monitor.flex.interruptions import Interruption, Interruptions, shortest_s
from monitor.hookup import Hookup

_TURNING_S = 1.5
"""An engine without an entry of the roll for so long stands."""
_STARTING_S = 5.0
"""Answers of the last while before the first entry were taken for interruptions: whose they are is known later."""
_OF_THE_LINE = (Kind.MISSING_ACKNOWLEDGEMENT, Kind.ACKNOWLEDGEMENT_SILENT, Kind.STRAY_ACKNOWLEDGEMENT)


@dataclass(slots=True)
class WireTally:
    """One wire since the test began: when it was gone, for how long at most, and whether it still is."""

    input: str
    wire: str
    count: int = 0
    last_s: float = 0.0
    longest_us: float = 0.0
    is_lost: bool = False
    last_because: str = ""
    latest_s: deque[float] = field(default_factory=deque)
    """When, of the last seconds: what may still be withdrawn."""

    def add(self, at_s: float, because: str = "") -> None:
        """Count one, at so many seconds from the first sample."""
        self.count += 1
        self.last_s, self.last_because = at_s, because
        self.latest_s.append(at_s)
        while self.latest_s[0] < at_s - _STARTING_S:
            self.latest_s.popleft()

    def withdraw(self, from_s: float) -> None:
        """Take back what was counted from then on."""
        while self.latest_s and self.latest_s[-1] >= from_s:
            self.latest_s.pop()
            self.count -= 1


class FlexTest:
    """A Listener that counts only while it is on.

    While the engine turns, coils pull the line low themselves; then a low counts only when it is longer than any
    answer, and so does an answer that is missing or that nobody called for.
    """

    def __init__(self, hookup: Hookup, info: StreamInfo) -> None:
        self._hookup, self._info = hookup, info
        self._longest_answer_s = hookup.setup.limits.acknowledgement_held_low_ms / 1e3
        self._watch: Interruptions | None = None
        self._flags_seen: dict[int, int] = {}
        self._turned_s: float | None = None
        self._now_s = 0.0
        self.wires: tuple[WireTally, ...] = ()
        """What is watched, in the set-up's order."""

    @property
    def is_on(self) -> bool:
        """Whether it counts."""
        return self._watch is not None

    @property
    def shortest_us(self) -> float:
        """The shortest interruption that this sample rate shows, in microseconds."""
        return shortest_s(self._info.sample_rate_hz) * 1e6

    @property
    def is_turning(self) -> bool:
        """Whether the engine turns, as far as the roll tells."""
        return self._turned_s is not None and self._now_s - self._turned_s < _TURNING_S

    @property
    def count(self) -> int:
        """Interruptions of all wires."""
        return sum(wire.count for wire in self.wires)

    def begin(self) -> None:
        """Count from nothing."""
        self._watch = Interruptions(self._hookup, self._info)
        self.wires = tuple(WireTally(name, wire) for name, wire in self._watch.wires.items())

    def end(self) -> None:
        """Count no more; what was counted stays."""
        self._watch = None

    def forget(self) -> None:
        """The samples begin anew: what was counted of others counts no more."""
        self._flags_seen.clear()
        self._turned_s = None
        if self._watch is not None:
            self.begin()

    def take(self, block: SampleBlock, step: Step) -> None:
        """Note one block and what the analysis made of it."""
        self._now_s = block.end_index / self._info.sample_rate_hz
        if step.firings:
            self._note_turning(step.firings[-1].time_s)
        grown = [flag for flag in step.flags if self._has_grown(flag)]
        if self._watch is None:
            return
        for flag in grown:
            self._note_flag(flag)
        for interruption in self._watch.feed(block):
            self._note(interruption)
        for wire in self.wires:
            if wire.is_lost:
                wire.longest_us = max(wire.longest_us, (self._now_s - wire.last_s) * 1e6)

    def conclude(self, step: Step) -> None:
        """Nothing more is gone because the samples end."""

    def _note_turning(self, time_s: float) -> None:
        if not self.is_turning:
            for wire in self.wires:
                if wire.wire == "line":
                    wire.withdraw(time_s - _STARTING_S)
        self._turned_s = time_s

    def _has_grown(self, flag: Flag) -> bool:
        before, self._flags_seen[flag.number] = self._flags_seen.get(flag.number, 0), flag.count
        if flag.end_s is not None:
            del self._flags_seen[flag.number]
        return flag.count > before

    def _note_flag(self, flag: Flag) -> None:
        lines = [wire for wire in self.wires if wire.wire == "line"]
        if flag.kind in _OF_THE_LINE and lines:
            whose = f" (cylinder {flag.cylinder})" if flag.cylinder is not None else ""
            wire = next((one for one in lines if one.input == flag.input), lines[0])
            wire.add(self._now_s, f"{flag.kind}{whose}")

    def _note(self, seen: Interruption) -> None:
        wire = next(one for one in self.wires if one.input == seen.input)
        lasted_s = (self._now_s if seen.end_s is None else seen.end_s) - seen.start_s
        if seen.wire == "line" and self.is_turning and lasted_s < self._longest_answer_s:
            return
        if not wire.is_lost:
            wire.add(seen.start_s)
        wire.is_lost = seen.end_s is None
        wire.longest_us = max(wire.longest_us, lasted_s * 1e6)
