"""The moments at which somebody said "there, I felt it"."""

from collections import deque
from collections.abc import Container, Iterable
from dataclasses import dataclass

from monitor.flags import Flag
from monitor.presses import Press

_KEPT = 20
LATE_S = 3.0
"""People are late: what they felt lies up to so long before their mark (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One such moment, `time_s` seconds from the first sample; `number` counts from 1.

    `by` says what made it: key, signal, mqtt, browser, or which button, as `marker in4`; `note` is free text.
    """

    number: int
    time_s: float
    by: str
    note: str = ""


class MarkBook:
    """Numbers marks as they come, on from those that were `made` before, and remembers the latest."""

    def __init__(self, made: int = 0) -> None:
        self._made = made
        self._latest: deque[Mark] = deque(maxlen=_KEPT)

    def note(self, time_s: float, by: str, note: str = "") -> Mark:
        """Make one."""
        self._made += 1
        mark = Mark(self._made, time_s, by, note)
        self._latest.appendleft(mark)
        return mark

    @property
    def latest(self) -> tuple[Mark, ...]:
        """The newest first, at most 20. A press is known a little later than the key of the same moment."""
        return tuple(sorted(self._latest, key=lambda mark: mark.time_s, reverse=True))


def marks_of(recorded: Iterable[Mark], presses: Iterable[Press], buttons: Container[str]) -> list[Mark]:
    """A recording's marks in the order of time, numbered from 1.

    Presses of the buttons named are taken as the samples show them, everything else as it was written down.
    """
    kept = [(mark.time_s, mark.by, mark.note) for mark in recorded if mark.by not in buttons]
    found = [(press.time_s, press.by, "") for press in presses]
    return [Mark(number, *one) for number, one in enumerate(sorted(kept + found), 1)]


def flags_before(mark: Mark, flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """The flags that lasted or were raised within LATE_S before the mark, in the order given."""
    return tuple(
        flag
        for flag in flags
        if flag.start_s <= mark.time_s and (flag.end_s is None or flag.end_s >= mark.time_s - LATE_S)
    )
