"""The coils' feed: sag under a charge, gone for a moment, low altogether."""

from collections import deque
from statistics import median

from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity
from monitor.setup import Limits

CRANKING_BELOW_RPM = 400.0
"""Starters turn engines at 100 to 300 rpm and engines idle above 500 (common practice, no source)."""
_HYSTERESIS_V = 0.2
_SETTLED_S = 1.0
"""After a start the alternator needs a moment; a low feed counts once it has lasted this long."""
_FEED_DROP_V = 0.5
"""Feed within 0.5 V of the battery (service literature); beyond that twice over it is a fault and no reading error."""
_CHARGE_A = 6.5
"""Current at the end of a usual charge, where no clamp measures it (a driver data sheet's test coil)."""


class SupplyWatch:
    """Sag by cylinder, dropouts, and the level between firings.

    A sag is what the feed gains back once the charge is over: each is judged when the next turn shows where the feed
    stands then. What stays low is the rail's own fall (a starter, a load elsewhere) and no resistance in the feed.
    """

    def __init__(self, book: FlagBook, limits: Limits, turns_per_cycle: int, input: str) -> None:  # noqa: A002
        self._book = book
        self._limits = limits
        self._input = input
        self._levels: deque[float] = deque(maxlen=turns_per_cycle)
        self._drops: deque[float] = deque(maxlen=turns_per_cycle)
        self._ohms: dict[int, deque[float]] = {}
        self._low_since: float | None = None
        self._open: Firing | None = None

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        if firing.supply_before_v is None or firing.supply_low_v is None:
            return
        self._conclude(firing.supply_before_v)
        self._open = firing
        self._levels.append(firing.supply_before_v)
        if firing.battery_v is not None:
            self._drops.append(firing.battery_v - firing.supply_before_v)
        if len(self._levels) == self._levels.maxlen and firing.speed_rpm is not None:
            self._judge_level(firing.time_s, median(self._levels), firing.speed_rpm)

    def _conclude(self, after_v: float) -> None:
        """Judge the turn before, now that the feed behind it is known."""
        before = self._open
        if before is not None and before.supply_before_v is not None and before.supply_low_v is not None:
            self._judge_sag(before, min(before.supply_before_v, after_v) - before.supply_low_v)

    def _judge_sag(self, firing: Firing, sag_v: float) -> None:
        limit = self._limits.supply_sag_v
        if sag_v > limit:
            detail = f"feed falls by {sag_v:.2f} V (limit {limit:g} V) while charging; {self._cause(firing, sag_v)}"
            self._note(Kind.SUPPLY_SAG, Severity.FAULT, firing.time_s, detail, firing.cylinder)
        elif sag_v < limit - _HYSTERESIS_V:
            self._ohms.pop(firing.cylinder, None)
            self._book.clear(Kind.SUPPLY_SAG, firing.time_s, cylinder=firing.cylinder, input=self._input)

    def _cause(self, firing: Firing, sag_v: float) -> str:
        """What the fall points to: a resistance, but not where the feed was gone."""
        if (firing.supply_low_v or 0.0) < self._limits.supply_dropout_v:
            return f"gone, at {firing.supply_low_v:.2f} V, rather than weak"
        ohms = self._ohms.setdefault(firing.cylinder, deque(maxlen=50))
        ohms.append(sag_v / _charge_a(firing, sag_v))
        return _resistance(ohms, firing)

    def _judge_level(self, at_s: float, level_v: float, speed_rpm: float) -> None:
        """Judge against the battery where it is connected, for then the starter's load is no excuse nor a fault."""
        cranking = speed_rpm < CRANKING_BELOW_RPM
        limit = self._limits.supply_low_cranking_v if cranking else self._limits.supply_low_running_v
        short_v = limit - level_v
        severity = Severity.INFO if cranking else Severity.WARNING
        detail = f"feed {level_v:.2f} V between firings, {'cranking' if cranking else 'running'} (limit {limit:g} V)"
        if len(self._drops) == self._drops.maxlen and median(self._drops) > 2 * _FEED_DROP_V:
            short_v, severity = median(self._drops), Severity.WARNING
            detail = f"feed {median(self._drops):.2f} V below the battery between firings"
        if short_v > 0.0:
            self._low_since = at_s if self._low_since is None else self._low_since
            if at_s - self._low_since >= _SETTLED_S:
                self._note(Kind.SUPPLY_LOW, severity, self._low_since, detail)
        elif short_v < -_HYSTERESIS_V:
            self._low_since = None
            self._book.clear(Kind.SUPPLY_LOW, at_s, input=self._input)

    def dropout(self, start_s: float, end_s: float, lowest_v: float | None) -> None:
        """Note that the feed was gone from start to end."""
        detail = f"feed below {self._limits.supply_dropout_v:g} V for {(end_s - start_s) * 1e3:.1f} ms"
        if lowest_v is not None:
            detail += f", down to {lowest_v:.2f} V"
        self._book.once(Kind.SUPPLY_DROPOUT, Severity.FAULT, (start_s, end_s), detail, input=self._input)

    def _note(self, kind: Kind, severity: Severity, at_s: float, detail: str, cylinder: int | None = None) -> None:
        self._book.note(kind, severity, at_s, detail, cylinder=cylinder, input=self._input)


def _charge_a(firing: Firing, sag_v: float) -> float:
    """Current at the end of the charge: measured, else the usual one, less what the sag kept from the coil.

    The fall grows about evenly with the current, so that over the charge the coil misses half of it.
    """
    return firing.current_a or _CHARGE_A * (1.0 - 0.5 * sag_v / max(firing.supply_before_v or 0.0, sag_v))


def _resistance(ohms: deque[float], firing: Firing) -> str:
    """An estimate of the feed's resistance with its spread: the sag over the current, measured or assumed."""
    ordered = sorted(ohms)
    low, middle, high = (ordered[round(part * (len(ordered) - 1))] for part in (0.05, 0.5, 0.95))
    current = f"{firing.current_a:.1f} A measured" if firing.current_a else f"{_CHARGE_A} A at full feed assumed"
    return f"feed resistance about {middle:.2f} ohm ({low:.2f} to {high:.2f}) at {current}"
