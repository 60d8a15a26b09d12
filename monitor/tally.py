"""How often each cylinder was called, answered, or did not."""

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from monitor.firing.records import Firing, Outcome
from monitor.snapshot import Counts

_RECENT = 400


class Spread:
    """Quantiles of a figure without keeping its values: a histogram of fixed resolution, flat in memory."""

    def __init__(self, resolution: float, most: float) -> None:
        """`most` is the largest value told apart; larger ones count as that."""
        self._resolution = resolution
        self._bins = np.zeros(round(most / resolution) + 1, np.int64)

    def add(self, value: float) -> None:
        """Count one value (negative ones as 0)."""
        place = round(value / self._resolution)
        self._bins[min(max(place, 0), len(self._bins) - 1)] += 1

    def quantile(self, part: float) -> float | None:
        """Value below which this part of all lie, to one step of the resolution; None without any."""
        reached = np.cumsum(self._bins)
        if not reached[-1]:
            return None
        place = int(np.searchsorted(reached, part * reached[-1], side="left"))
        return place * self._resolution


@dataclass(slots=True)
class CylinderTally:
    """One cylinder's counts and figures since the start."""

    outcomes: dict[Outcome, int] = field(default_factory=lambda: dict.fromkeys(Outcome, 0))
    calls: int = 0
    answers: int = 0
    recent: deque[Outcome] = field(default_factory=lambda: deque(maxlen=_RECENT))
    latest: Firing | None = None
    dwell_ms: Spread = field(default_factory=lambda: Spread(0.001, 20.0))
    delay_ms: Spread = field(default_factory=lambda: Spread(0.001, 20.0))
    sag_v: Spread = field(default_factory=lambda: Spread(0.01, 20.0))

    def take(self, firing: Firing) -> None:
        """Count one entry of the roll."""
        self.outcomes[firing.outcome] += 1
        self.calls += bool(firing.called)
        self.answers += firing.acknowledgement_width_ms is not None
        self.recent.append(firing.outcome)
        self.latest = firing
        if firing.dwell_ms is not None:
            self.dwell_ms.add(firing.dwell_ms)
        if firing.acknowledgement_delay_ms is not None:
            self.delay_ms.add(firing.acknowledgement_delay_ms)
        if firing.supply_before_v is not None and firing.supply_low_v is not None:
            self.sag_v.add(firing.supply_before_v - firing.supply_low_v)

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
