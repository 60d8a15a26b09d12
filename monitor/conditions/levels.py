"""Levels that a wire has to keep: the line at rest and when pulled, the control, the coil's ground."""

from collections import deque
from statistics import median

from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity
from monitor.setup import Limits

_HYSTERESIS_V = 0.1
_CLEAR_V = 0.5
"""So far beyond its limit one reading is enough; nearer to it hum may be at work, and the middle of a few decides."""
_FEW = 5


class LevelWatch:
    """Raises a flag where a level is out of its limits and clears it when it is back by a tenth of a volt."""

    def __init__(self, book: FlagBook, limits: Limits, turns_per_cycle: int) -> None:
        self._book = book
        self._limits = limits
        self._latest: dict[tuple[Kind, int], deque[float]] = {}
        self._rests: deque[float] = deque(maxlen=max(turns_per_cycle, 3))

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        limits = self._limits
        if firing.acknowledgement_rest_v is not None:
            self._judge_rest(firing.time_s, firing.acknowledgement_rest_v)
        if firing.acknowledgement_low_v is not None:
            limit = limits.acknowledgement_low_level_v
            detail = f"pulls the line to {firing.acknowledgement_low_v:.2f} V (limit {limit:g} V)"
            self._judge(Kind.ACKNOWLEDGEMENT_LOW_LEVEL, firing, firing.acknowledgement_low_v - limit, detail)
        if firing.control_high_v is not None and firing.control_low_v is not None:
            beyond_v = max(limits.control_high_v - firing.control_high_v, firing.control_low_v - limits.control_low_v)
            detail = (
                f"call {firing.control_high_v:.2f} V high, {firing.control_low_v:.2f} V low "
                f"(limits {limits.control_high_v:g} V and {limits.control_low_v:g} V)"
            )
            self._judge(Kind.CONTROL_LEVEL, firing, beyond_v, detail)
        if firing.ground_v is not None:
            detail = f"ground pin at {firing.ground_v:.2f} V while charging (limit {limits.ground_rise_v:g} V)"
            self._judge(Kind.GROUND_RISE, firing, firing.ground_v - limits.ground_rise_v, detail, Severity.FAULT)

    def _judge(
        self, kind: Kind, firing: Firing, beyond_v: float, detail: str, severity: Severity = Severity.WARNING
    ) -> None:
        latest = self._latest.setdefault((kind, firing.cylinder), deque(maxlen=_FEW))
        latest.append(beyond_v)
        usual_v = median(latest) if len(latest) == _FEW else 0.0
        if beyond_v > _CLEAR_V or min(beyond_v, usual_v) > 0.0:
            self._book.note(kind, severity, firing.time_s, detail, cylinder=firing.cylinder)
        elif max(beyond_v, usual_v) < -_HYSTERESIS_V:
            self._book.clear(kind, firing.time_s, cylinder=firing.cylinder)

    def _judge_rest(self, at_s: float, volts: float) -> None:
        """One reading may fall into another coil's answer; the middle of a cycle's readings does not."""
        self._rests.append(volts)
        if len(self._rests) < (self._rests.maxlen or 0):
            return
        rest_v = median(self._rests)
        low_v, high_v = self._limits.acknowledgement_rest_low_v, self._limits.acknowledgement_rest_high_v
        if not low_v <= rest_v <= high_v:
            detail = f"the line rests at {rest_v:.2f} V (limits {low_v:g} to {high_v:g} V)"
            self._book.note(Kind.ACKNOWLEDGEMENT_REST_LEVEL, Severity.WARNING, at_s, detail)
        elif low_v + _HYSTERESIS_V <= rest_v <= high_v - _HYSTERESIS_V:
            self._book.clear(Kind.ACKNOWLEDGEMENT_REST_LEVEL, at_s)
