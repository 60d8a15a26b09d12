"""Charges that are shorter or longer than what this engine does at this speed and supply."""

from collections import deque
from statistics import median

from monitor.conditions.supply import CRANKING_BELOW_RPM
from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity
from monitor.setup import Limits

_KINDS = (Kind.DWELL_SHORT, Kind.DWELL_LONG)
_USUAL_V = 12.0
_STEADY = 0.1
"""Part by which the feed may differ before and after a charge; while it moves, nobody knows what was computed from."""
_FASTER = 1.5
"""Speed against that of the charges compared with beyond which the controller may have changed its mind."""


class DwellWatch:
    """Compares each charge with the engine's latest ones.

    A controller charges to one current, so the dwell goes as one over the supply (t ~ L I / V): what is compared is the
    dwell times the feed before it. At speed it charges for a share of the cycle; that moves with the latest charges.
    Each is judged when the next turn shows where the feed stands behind it.
    """

    def __init__(self, book: FlagBook, limits: Limits, turns_per_cycle: int) -> None:
        self._book = book
        self._band = limits.dwell_band
        self._latest: deque[tuple[float, float]] = deque(maxlen=max(2 * turns_per_cycle, 8))
        self._open: Firing | None = None

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        before, self._open = self._open, firing
        if before is not None and _is_steady(before.supply_before_v, firing.supply_before_v):
            self._judge(before)

    def _judge(self, firing: Firing) -> None:
        if firing.dwell_ms is None or firing.speed_rpm is None or firing.speed_rpm < CRANKING_BELOW_RPM:
            return
        charge = firing.dwell_ms * (firing.supply_before_v or _USUAL_V)
        known = [charge for charge, rpm in self._latest if rpm / _FASTER < firing.speed_rpm < rpm * _FASTER]
        self._latest.append((charge, firing.speed_rpm))
        if len(known) < (self._latest.maxlen or 0) // 2:
            return
        usual = median(known)
        part = charge / usual
        for kind, wrong in zip(_KINDS, (part < 1.0 - self._band, part > 1.0 + self._band), strict=True):
            if wrong:
                usual_ms = firing.dwell_ms / part
                detail = f"charged for {firing.dwell_ms:.2f} ms where {usual_ms:.2f} ms is usual"
                self._book.note(kind, Severity.WARNING, firing.time_s, detail, cylinder=firing.cylinder)
            else:
                self._book.clear(kind, firing.time_s, cylinder=firing.cylinder)


def _is_steady(before_v: float | None, after_v: float | None) -> bool:
    return before_v is None or after_v is None or abs(after_v - before_v) <= _STEADY * max(before_v, after_v)
