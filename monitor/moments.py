"""Where a replay may jump to: shortly before each flag and each mark."""

from bisect import bisect_left, insort
from dataclasses import dataclass

from monitor.flags import Flag
from monitor.marks import LATE_S, Mark
from monitor.text import elapsed

BEFORE_S = 1.0
"""So much is still to be seen before it happens."""
_APART_S = 0.01
"""Places nearer to one another than this are one."""


@dataclass(frozen=True, slots=True, order=True)
class Moment:
    """A place to jump to, in seconds from the first sample, and in words what comes then."""

    at_s: float
    what: str = ""


def before_flag(flag: Flag) -> Moment:
    """The place from which a flag can be seen coming."""
    return Moment(max(flag.start_s - BEFORE_S, 0.0), f"{elapsed(flag.start_s)} {flag.what('cyl')}")


def before_mark(mark: Mark) -> Moment:
    """The place from which all can be seen that was felt when somebody marked it: people are late."""
    return Moment(max(mark.time_s - LATE_S - BEFORE_S, 0.0), f"{elapsed(mark.time_s)} mark by {mark.by}")


class Moments:
    """Places in the order of time, none twice."""

    def __init__(self) -> None:
        self._kept: list[Moment] = []

    def add(self, moment: Moment) -> None:
        """Know one more."""
        place = bisect_left(self._kept, moment)
        if self._kept[place : place + 1] != [moment]:
            insort(self._kept, moment)

    def after(self, at_s: float) -> Moment | None:
        """The first behind a place, None if none is known."""
        place = bisect_left(self._kept, Moment(at_s + _APART_S))
        return self._kept[place] if place < len(self._kept) else None

    def before(self, at_s: float) -> Moment | None:
        """The last before a place, None if none is known."""
        place = bisect_left(self._kept, Moment(at_s - _APART_S))
        return self._kept[place - 1] if place else None
