"""Answers that nobody called for, told apart from repeated sparks."""

from collections import deque
from dataclasses import dataclass

from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity
from monitor.setup import Limits

_HABIT = 0.2
"""Share of turns with a further answer from which on the controller repeats its sparks, as many do at low speed."""
_LEAST_TURNS = 12


@dataclass(frozen=True, slots=True)
class Stray:
    """An answer that belongs to no turn of its own."""

    start_s: float
    end_s: float
    line: str


class StrayWatch:
    """Flags further answers; at speeds at which sparks are repeated, only where that is not the habit."""

    def __init__(self, book: FlagBook, limits: Limits, turns_per_cycle: int) -> None:
        self._book = book
        self._allowed = limits.stray_acknowledgements - 1
        self._around = max(2 * turns_per_cycle, _LEAST_TURNS)
        self._turns = 0
        self._waiting: deque[tuple[int, Stray]] = deque()
        self._extras: deque[int] = deque(maxlen=4 * self._around)

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        del firing
        self._turns += 1
        while self._waiting and self._turns - self._waiting[0][0] >= self._around:
            at, stray = self._waiting.popleft()
            near = {turn for turn in self._extras if abs(turn - at) <= self._around}
            if len(near) <= _HABIT * 2 * self._around:
                self.certain(stray)

    def doubtful(self, stray: Stray) -> None:
        """Note one that may be a repeated spark; what comes around it decides."""
        self._extras.append(self._turns)
        self._waiting.append((self._turns, stray))

    def certain(self, stray: Stray) -> None:
        """Note one that can be nothing else."""
        if self._allowed > 0:
            self._allowed -= 1
            return
        detail = f"an answer of {(stray.end_s - stray.start_s) * 1e3:.3f} ms that nobody called for"
        span_s = (stray.start_s, stray.end_s)
        self._book.once(Kind.STRAY_ACKNOWLEDGEMENT, Severity.WARNING, span_s, detail, input=stray.line)
