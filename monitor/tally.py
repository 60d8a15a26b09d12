"""How often each cylinder was called, answered, or did not."""

from array import array
from collections import deque

import numpy as np

from monitor.bands import SPEED_RPM, SUPPLY_V, Bands
from monitor.firing.records import Firing, Outcome
from monitor.rates import Missed
from monitor.snapshot import Counts
from monitor.windows import Window

_RECENT = 400
_IS_MISS = {
    Outcome.ACKNOWLEDGED: False,
    Outcome.UNACKNOWLEDGED: True,
    Outcome.UNCOMMANDED: True,
    Outcome.UNOBSERVED: None,
}


class Spread:
    """Quantiles of a figure without keeping its values: a histogram of fixed resolution, flat in memory."""

    def __init__(self, resolution: float, most: float) -> None:
        """`most` is the largest value told apart; larger ones count as that."""
        self._resolution = resolution
        self._last = round(most / resolution)
        self._bins = array("q", bytes(8 * (self._last + 1)))

    def add(self, value: float) -> None:
        """Count one value (negative ones as 0)."""
        place = round(value / self._resolution)
        self._bins[self._last if place > self._last else place if place > 0 else 0] += 1

    def quantile(self, part: float) -> float | None:
        """Value that this part of all (at least one) do not exceed, to one step of the resolution; None without any."""
        reached = np.cumsum(self._bins)
        if not reached[-1]:
            return None
        place = int(np.searchsorted(reached, max(part * reached[-1], 1), side="left"))
        return place * self._resolution


class CylinderTally:
    """One cylinder's counts and figures since the start; it has a turn every `period_rev` crank revolutions.

    Misfire is judged over 200 revolutions (damage to the catalyst) and over 1000 (emissions): 13 CCR 1968.2 (e)(3).
    """

    def __init__(self, period_rev: float) -> None:
        self.outcomes = dict.fromkeys(Outcome, 0)
        self.calls = 0
        self.answers = 0
        self.recent: deque[Outcome] = deque(maxlen=_RECENT)
        self.latest: Firing | None = None
        self.last_200 = Window(round(200 / period_rev))
        self.last_1000 = Window(round(1000 / period_rev))
        self.dwell_ms = Spread(0.001, 20.0)
        self.delay_ms = Spread(0.001, 20.0)
        self.sag_v = Spread(0.01, 20.0)
        self.by_speed = Bands(SPEED_RPM)
        self.by_supply = Bands(SUPPLY_V)
        self._was_miss = False

    def take(self, firing: Firing) -> None:
        """Count one entry of the roll."""
        self.outcomes[firing.outcome] += 1
        self.calls += bool(firing.called)
        self.answers += firing.outcome is Outcome.ACKNOWLEDGED
        self.recent.append(firing.outcome)
        self.latest = firing
        self._judge(firing, _IS_MISS[firing.outcome])
        if firing.dwell_ms is not None:
            self.dwell_ms.add(firing.dwell_ms)
        if firing.acknowledgement_delay_ms is not None:
            self.delay_ms.add(firing.acknowledgement_delay_ms)
        if firing.supply_before_v is not None and firing.supply_low_v is not None:
            self.sag_v.add(firing.supply_before_v - firing.supply_low_v)

    def _judge(self, firing: Firing, is_miss: bool | None) -> None:
        self.last_200.take(is_miss)
        self.last_1000.take(is_miss)
        if is_miss is None:
            return
        is_start = is_miss and not self._was_miss
        self._was_miss = is_miss
        if firing.speed_rpm is not None:
            self.by_speed.take(firing.speed_rpm, is_miss, is_start)
        if firing.supply_before_v is not None:
            self.by_supply.take(firing.supply_before_v, is_miss, is_start)

    @property
    def misses(self) -> int:
        """Turns without call or without answer."""
        return self.outcomes[Outcome.UNACKNOWLEDGED] + self.outcomes[Outcome.UNCOMMANDED]

    @property
    def missed(self) -> Missed:
        """Misses and observed turns since the start."""
        return Missed(self.misses, self.misses + self.outcomes[Outcome.ACKNOWLEDGED])

    def counts(self, *, is_called: bool, is_answering: bool) -> Counts:
        """Counts so far; what no wire could show is None."""
        return Counts(
            opportunities=sum(self.outcomes.values()),
            commanded=self.calls if is_called else None,
            acknowledged=self.answers if is_answering else None,
            unacknowledged=self.outcomes[Outcome.UNACKNOWLEDGED],
            uncommanded=self.outcomes[Outcome.UNCOMMANDED],
            unobserved=self.outcomes[Outcome.UNOBSERVED],
        )
