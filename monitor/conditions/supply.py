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


class SupplyWatch:
    """Sag by cylinder, dropouts, and the level between firings."""

    def __init__(self, book: FlagBook, limits: Limits, turns_per_cycle: int, input: str) -> None:  # noqa: A002
        self._book = book
        self._limits = limits
        self._input = input
        self._levels: deque[float] = deque(maxlen=turns_per_cycle)
        self._low_since: float | None = None

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        if firing.supply_before_v is None or firing.supply_low_v is None:
            return
        self._judge_sag(firing, firing.supply_before_v - firing.supply_low_v)
        self._levels.append(firing.supply_before_v)
        if len(self._levels) == self._levels.maxlen and firing.speed_rpm is not None:
            self._judge_level(firing.time_s, median(self._levels), firing.speed_rpm)

    def _judge_sag(self, firing: Firing, sag_v: float) -> None:
        limit = self._limits.supply_sag_v
        if sag_v > limit:
            detail = (
                f"the feed falls by {sag_v:.2f} V (limit {limit:g} V) to {firing.supply_low_v:.2f} V while charging"
            )
            self._book.note(
                Kind.SUPPLY_SAG,
                Severity.FAULT,
                firing.time_s,
                detail,
                cylinder=firing.cylinder,
                input=self._input,
            )
        elif sag_v < limit - _HYSTERESIS_V:
            self._book.clear(Kind.SUPPLY_SAG, firing.time_s, cylinder=firing.cylinder, input=self._input)

    def _judge_level(self, at_s: float, level_v: float, speed_rpm: float) -> None:
        cranking = speed_rpm < CRANKING_BELOW_RPM
        limit = self._limits.supply_low_cranking_v if cranking else self._limits.supply_low_running_v
        if level_v < limit:
            self._low_since = at_s if self._low_since is None else self._low_since
            if cranking or at_s - self._low_since >= _SETTLED_S:
                state = "cranking" if cranking else "running"
                severity = Severity.INFO if cranking else Severity.WARNING
                detail = f"the feed between firings is {level_v:.2f} V {state} (limit {limit:g} V)"
                self._book.note(Kind.SUPPLY_LOW, severity, self._low_since, detail, input=self._input)
        elif level_v > limit + _HYSTERESIS_V:
            self._low_since = None
            self._book.clear(Kind.SUPPLY_LOW, at_s, input=self._input)

    def dropout(self, start_s: float, end_s: float, lowest_v: float | None) -> None:
        """Note that the feed was gone from start to end."""
        detail = f"the feed was below {self._limits.supply_dropout_v:g} V for {(end_s - start_s) * 1e3:.1f} ms"
        if lowest_v is not None:
            detail += f", down to {lowest_v:.2f} V"
        self._book.once(Kind.SUPPLY_DROPOUT, Severity.FAULT, (start_s, end_s), detail, input=self._input)
