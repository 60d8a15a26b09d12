"""Coils without an acknowledgement line: whether the feed, or a clamp, shows the charge that was called for."""

from collections import deque
from statistics import median

from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity

_SHARE = 0.3
"""Part of the usual charge below which none took place; a charge of half the time still shows twice as much."""
_VISIBLE = {"V": 0.15, "A": 1.0}
"""Usual fall of the feed, and usual current, below which nothing can be told from them."""
_WHAT = {"V": "the feed", "A": "the clamp"}


class ChargeWatch:
    """Compares what each call draws with the latest ones of all coils.

    Another coil's charge at the same time can hide that one is missing, never make one seem so. The outcome of the turn
    stays what it is: a current is no answer.
    """

    def __init__(self, book: FlagBook, unanswering: frozenset[int], turns_per_cycle: int) -> None:
        """`unanswering` cylinders have no acknowledgement line."""
        self._book = book
        self._unanswering = unanswering
        latest = max(4 * turns_per_cycle, 12)
        self._latest: dict[str, deque[float]] = {unit: deque(maxlen=latest) for unit in _VISIBLE}

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        if not firing.called or firing.cylinder not in self._unanswering:
            return
        if firing.current_a is not None:
            self._judge(firing, firing.current_a, "A")
        elif firing.supply_before_v is not None and firing.supply_low_v is not None:
            self._judge(firing, firing.supply_before_v - firing.supply_low_v, "V")

    def _judge(self, firing: Firing, drawn: float, unit: str) -> None:
        latest = self._latest[unit]
        latest.append(drawn)
        usual = median(latest)
        if 2 * len(latest) < (latest.maxlen or 0) or usual < _VISIBLE[unit]:
            return
        kind = Kind.MISSING_ACKNOWLEDGEMENT
        if drawn < _SHARE * usual:
            detail = f"called, but {_WHAT[unit]} shows no charge: {drawn:.2f} {unit}, {usual:.2f} {unit} is usual"
            self._book.note(kind, Severity.WARNING, firing.time_s, detail, cylinder=firing.cylinder)
        else:
            self._book.clear(kind, firing.time_s, cylinder=firing.cylinder)
