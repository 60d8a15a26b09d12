"""Edges into pulses: glitches out, pairs made, what lasts too long said while it lasts."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pulse:
    """One stay in the active state, from 50 % crossing to 50 % crossing (IEEE Std 181), in ticks."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Overlong:
    """The active state began at `start` and has lasted longer than any pulse can; `end` is None while it lasts."""

    start: int
    end: int | None


class PulseFinder:
    """Pairs the edges of one input into pulses of its active state.

    Two edges closer than `shortest` ticks are a glitch and both vanish. A pulse longer than `longest` ticks comes out
    as Overlong, twice: when that is certain, and when it ends.
    """

    def __init__(self, *, active_high: bool, shortest: int, longest: int) -> None:
        self._active_high = active_high
        self._shortest = shortest
        self._longest = longest
        self._pending: tuple[int, bool] | None = None
        self._start: int | None = None
        self._overlong = False

    def reset(self) -> None:
        """Forget what was under way: samples were lost."""
        self._pending = self._start = None
        self._overlong = False

    def feed(self, edges: Iterable[tuple[int, bool]], seen_to: int) -> list[Pulse | Overlong]:
        """Take the edges found and the tick up to which all edges are known; give what is certain by then."""
        made: list[Pulse | Overlong] = []
        for edge in edges:
            if self._pending is not None and edge[0] - self._pending[0] < self._shortest:
                self._pending = None
                continue
            self._settle(made)
            self._pending = edge
        if self._pending is not None and seen_to - self._pending[0] >= self._shortest:
            self._settle(made)
        waiting_end = self._pending[0] if self._pending is not None else seen_to
        self._note_overlong(min(waiting_end, seen_to), made)
        return made

    def _settle(self, made: list[Pulse | Overlong]) -> None:
        if self._pending is None:
            return
        tick, rising = self._pending
        self._pending = None
        if rising == self._active_high:
            self._start = tick
        elif self._start is not None:
            self._note_overlong(tick, made)
            made.append(Overlong(self._start, tick) if self._overlong else Pulse(self._start, tick))
            self._start, self._overlong = None, False

    def _note_overlong(self, now: int, made: list[Pulse | Overlong]) -> None:
        if self._start is not None and not self._overlong and now - self._start > self._longest:
            self._overlong = True
            made.append(Overlong(self._start, None))
