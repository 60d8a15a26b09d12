"""What became of the latest turns of a cylinder."""

from collections import deque

from monitor.rates import Missed


class Window:
    """Misses among one cylinder's latest turns; None in place of a miss or none where a turn was not observed.

    A turn is an entry of the roll, so standing still and cuts take no room.
    """

    def __init__(self, turns: int) -> None:
        self._latest: deque[bool | None] = deque(maxlen=turns)
        self._misses = 0
        self._unobserved = 0

    def take(self, is_miss: bool | None) -> None:
        """Enter a turn; the oldest one leaves when the window is full."""
        latest = self._latest
        if len(latest) == latest.maxlen and latest[0] is not False:
            self._count(latest[0], -1)
        latest.append(is_miss)
        if is_miss is not False:
            self._count(is_miss, 1)

    def _count(self, is_miss: bool | None, step: int) -> None:
        if is_miss is None:
            self._unobserved += step
        else:
            self._misses += step

    @property
    def missed(self) -> Missed:
        """Misses and observed turns in the window."""
        return Missed(self._misses, len(self._latest) - self._unobserved)
