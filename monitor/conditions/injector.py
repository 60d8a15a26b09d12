"""An injector that falls silent: the controller gave the cylinder up, or the engine is on overrun."""

from collections import deque

from monitor.firing.records import Firing, Outcome
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity
from monitor.setup import Limits

_GIVEN_UP_AFTER = 3
"""Misses among the latest turns that make a silent injector the controller's answer to them. Several controllers stop
after 6 in a row, others after 8 to 11 (service literature); fewer than 3 are no pattern."""
_TURNS = 16


class InjectorWatch:
    """Counts the turns of a cylinder that pass without a pulse of its injector."""

    def __init__(self, book: FlagBook, limits: Limits) -> None:
        self._book = book
        self._limits = limits
        self._pulses: dict[int, deque[float]] = {}
        self._last_turn_s: dict[int, float] = {}
        self._silent: dict[int, int] = {}
        self._outcomes: dict[int, deque[Outcome]] = {}

    def pulse(self, cylinder: int, start_s: float) -> None:
        """Note a pulse of this cylinder's injector."""
        self._pulses.setdefault(cylinder, deque(maxlen=64)).append(start_s)

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        cylinder = firing.cylinder
        pulses = self._pulses.get(cylinder)
        if pulses is None:
            return
        since_s, self._last_turn_s[cylinder] = self._last_turn_s.get(cylinder), firing.time_s
        outcomes = self._outcomes.setdefault(cylinder, deque(maxlen=_TURNS))
        outcomes.append(firing.outcome)
        if since_s is None or firing.outcome is Outcome.UNOBSERVED:
            return
        if any(since_s < start_s <= firing.time_s for start_s in pulses):
            self._silent[cylinder] = 0
            self._book.clear(Kind.INJECTOR_OFF, firing.time_s, cylinder=cylinder)
            return
        self._silent[cylinder] = self._silent.get(cylinder, 0) + 1
        if self._silent[cylinder] >= self._limits.injector_off_turns:
            self._raise(firing, sum(one in (Outcome.UNACKNOWLEDGED, Outcome.UNCOMMANDED) for one in outcomes))

    def _raise(self, firing: Firing, misses: int) -> None:
        if misses >= _GIVEN_UP_AFTER:
            severity, detail = Severity.FAULT, f"injector silent after {misses} misses in {_TURNS} turns"
        else:
            severity, detail = Severity.INFO, "injector silent without misses before: overrun, or its own circuit"
        self._book.note(Kind.INJECTOR_OFF, severity, firing.time_s, detail, cylinder=firing.cylinder)
