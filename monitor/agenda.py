"""What is to be done at which instant of the recording, in that order however the samples arrive."""

from collections.abc import Callable
from heapq import heappop, heappush


class Agenda:
    """Actions by tick. Of one tick, those of lower rank come first; equal ranks of one tick must not matter.

    Everything that the analyzer concludes happens in here, at an instant that the samples alone decide; that is why the
    same recording gives the same result however it is cut into blocks.
    """

    def __init__(self) -> None:
        self._entries: list[tuple[int, tuple[int, ...], int, Callable[[], None]]] = []
        self._serial = 0
        self.now = 0
        """Tick of the action under way or, between runs, of the latest one."""

    def at(self, tick: int, rank: tuple[int, ...], action: Callable[[], None]) -> None:
        """Enter an action; one whose tick has passed is done next."""
        self._serial += 1
        heappush(self._entries, (tick, rank, self._serial, action))

    def run(self, until: int | None) -> None:
        """Do everything up to and including this tick; None for all there is."""
        while self._entries and (until is None or self._entries[0][0] <= until):
            tick, _, _, action = heappop(self._entries)
            self.now = max(self.now, tick)
            action()
