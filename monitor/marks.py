"""The moments at which somebody said "there, I felt it"."""

from collections import deque
from dataclasses import dataclass

_KEPT = 20


@dataclass(frozen=True, slots=True)
class Mark:
    """One such moment, `time_s` seconds from the first sample; `number` counts from 1.

    `by` says what made it: key, signal, mqtt, or the input of a marker wire; `note` is free text.
    """

    number: int
    time_s: float
    by: str
    note: str = ""


class MarkBook:
    """Numbers marks as they come, and remembers the latest."""

    def __init__(self) -> None:
        self._made = 0
        self._latest: deque[Mark] = deque(maxlen=_KEPT)

    def note(self, time_s: float, by: str, note: str = "") -> Mark:
        """Make one."""
        self._made += 1
        mark = Mark(self._made, time_s, by, note)
        self._latest.appendleft(mark)
        return mark

    @property
    def latest(self) -> tuple[Mark, ...]:
        """The newest first, at most 20."""
        return tuple(self._latest)
