"""What the simulated engine is made of."""

import math
from dataclasses import dataclass, field
from itertools import pairwise

from acquire.errors import AddressError
from drivers.simulated.coil import Coil

DURING_CHARGE = "during-charge"
AT_SPARK = "at-spark"

COMMON_ORDERS: dict[int, tuple[int, ...]] = {
    1: (1,),
    2: (1, 2),
    3: (1, 2, 3),
    4: (1, 3, 4, 2),
    5: (1, 2, 4, 5, 3),
    6: (1, 4, 2, 5, 3, 6),
    8: (1, 8, 4, 3, 6, 5, 7, 2),
    10: (1, 10, 9, 4, 3, 6, 5, 8, 7, 2),
    12: (1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10),
}


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """When a coil pulls its line low.

    During charge: while its current passes from `low_a` to `high_a`. At spark: `delay_s` after the cut, for `width_s`,
    provided that at least `low_a` was cut.
    """

    timing: str = DURING_CHARGE
    low_a: float = 2.0
    high_a: float = 4.0
    delay_s: float = 0.1e-3
    width_s: float = 0.8e-3

    def __post_init__(self) -> None:
        require(self.timing in (DURING_CHARGE, AT_SPARK), f"timing={self.timing}: during-charge or at-spark")
        require(
            0 < self.low_a < self.high_a, f"answer from {self.low_a} to {self.high_a} A: low_a must be below high_a"
        )
        require(self.delay_s >= 0 and self.width_s > 0, "answer at spark: delay_s >= 0 and width_s > 0")


@dataclass(frozen=True, slots=True)
class Line:
    """One acknowledgement line: pulled up to 5 V by the controller, pulled down by a coil's transistor."""

    pull_up_ohm: float = 1000.0
    leak_ohm: float = 100e3
    capacitance_f: float = 3e-9
    saturation_v: float = 0.7

    def rest_v(self, pull_up_ohm: float) -> float:
        """Give the level with nobody pulling: the divider of pull-up and leak."""
        return 5.0 * self.leak_ohm / (pull_up_ohm + self.leak_ohm)

    def low_v(self, pull_up_ohm: float, pull_down_ohm: float) -> float:
        """Give the level with one coil pulling through `pull_down_ohm`."""
        rest_v = self.rest_v(pull_up_ohm)
        source_ohm = pull_up_ohm * self.leak_ohm / (pull_up_ohm + self.leak_ohm)
        return self.saturation_v + (rest_v - self.saturation_v) * pull_down_ohm / (pull_down_ohm + source_ohm)

    def recovery_s(self, pull_up_ohm: float) -> float:
        """Give the time constant of the rise after the coil lets go."""
        return self.capacitance_f * pull_up_ohm * self.leak_ohm / (pull_up_ohm + self.leak_ohm)


@dataclass(frozen=True, slots=True)
class Advance:
    """Spark before top dead centre: a straight line over speed with a ceiling, jitter, and steps back and forth."""

    idle_deg: float = 10.0
    per_krpm_deg: float = 6.0
    most_deg: float = 32.0
    jitter_deg: float = 1.0
    step_deg: float = 0.0
    step_period_s: float = 1.0


@dataclass(frozen=True, slots=True)
class Dwell:
    """The controller charges until `target_a` by its battery voltage, within a share of the coil's period."""

    target_a: float = 6.5
    longest_s: float = 8e-3
    most_share: float = 0.7


@dataclass(frozen=True, slots=True)
class EngineModel:
    """An engine, its coils and their wiring. Raises AddressError where it cannot be built.

    `firing_angles_deg` are crank angles of top dead centre in firing order, rising within one cycle; even when left
    out. With two sparks per cycle, entries i and i + cylinders / 2 of the order share one coil. `lines` holds the
    cylinders of each acknowledgement line; one line for all when left out. `repeated_sparks` is the most extra sparks
    after the first one below 1500 rpm.
    """

    cylinders: int = 6
    firing_order: tuple[int, ...] = ()
    sparks_per_cycle: int = 1
    firing_angles_deg: tuple[float, ...] | None = None
    strokes: int = 4
    coil: Coil = field(default_factory=Coil)
    feed_resistance_ohm: float = 0.08
    acknowledgement: Acknowledgement = field(default_factory=Acknowledgement)
    line: Line = field(default_factory=Line)
    lines: tuple[tuple[int, ...], ...] = ()
    advance: Advance = field(default_factory=Advance)
    dwell: Dwell = field(default_factory=Dwell)
    repeated_sparks: int = 0

    def __post_init__(self) -> None:
        require(self.cylinders >= 1, f"cylinders={self.cylinders}: at least 1")
        everyone = tuple(range(1, self.cylinders + 1))
        if not self.firing_order:
            object.__setattr__(self, "firing_order", COMMON_ORDERS.get(self.cylinders, everyone))
        if not self.lines:
            object.__setattr__(self, "lines", (everyone,))
        require(tuple(sorted(self.firing_order)) == everyone, f"order must hold each cylinder 1 to {everyone[-1]} once")
        require(self.strokes in (2, 4), f"strokes={self.strokes}: 2 or 4")
        require(self.feed_resistance_ohm >= 0, "feed resistance must not be negative")
        require(0 <= self.repeated_sparks <= 5, f"repeats={self.repeated_sparks}: 0 to 5")
        self._check_lines()
        self._check_angles()
        self._check_sharing()

    def _check_lines(self) -> None:
        named = [cylinder for line in self.lines for cylinder in line]
        known = set(self.firing_order)
        require(len(named) == len(set(named)) and set(named) <= known, "lines: each cylinder on one line at most")

    def _check_angles(self) -> None:
        angles = self.firing_angles_deg
        if angles is None:
            return
        rising = all(a < b for a, b in pairwise(angles))
        fits = len(angles) == self.cylinders and rising and angles[0] >= 0 and angles[-1] < self.cycle_deg
        require(
            fits, f"angles must be {self.cylinders} rising crank angles from 0 to below {self.cycle_deg:.0f} degrees"
        )

    def _check_sharing(self) -> None:
        require(self.sparks_per_cycle in (1, 2), f"sparks={self.sparks_per_cycle}: 1 or 2 per cycle")
        if self.sparks_per_cycle == 1:
            return
        half = self.cylinders // 2
        require(
            self.strokes == 4 and self.cylinders % 2 == 0, "two sparks per cycle need four strokes and even cylinders"
        )
        apart = [self.angles_deg[i + half] - self.angles_deg[i] for i in range(half)]
        require(all(math.isclose(a, 360.0) for a in apart), "cylinders that share a coil must fire 360 degrees apart")

    @property
    def cycle_deg(self) -> float:
        """Crank degrees of one cycle."""
        return 180.0 * self.strokes

    @property
    def angles_deg(self) -> tuple[float, ...]:
        """Crank angle of each entry of the firing order."""
        return self.firing_angles_deg or tuple(i * self.cycle_deg / self.cylinders for i in range(self.cylinders))

    def sharers(self, cylinder: int) -> tuple[int, ...]:
        """Give all cylinders on the coil of this one, itself first."""
        if self.sparks_per_cycle == 1:
            return (cylinder,)
        half = self.cylinders // 2
        return (cylinder, self.firing_order[(self.firing_order.index(cylinder) + half) % self.cylinders])

    def coil_of(self, cylinder: int) -> int:
        """Give the coil's name: the lowest cylinder number on it."""
        return min(self.sharers(cylinder))

    def line_of(self, cylinder: int) -> int | None:
        """Give the index of the acknowledgement line its coil answers on."""
        mine = set(self.sharers(cylinder))
        return next((i for i, line in enumerate(self.lines) if mine & set(line)), None)


def require(holds: bool, message: str) -> None:
    """Raise AddressError unless it holds."""
    if not holds:
        raise AddressError(f"simulated engine: {message}")
