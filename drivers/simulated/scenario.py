"""What the engine is asked to do: speed and mode over time."""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from acquire.errors import AddressError

STAND, CRANK, RUN, OVERRUN, LIMITER, CUT, OFF = "stand", "crank", "run", "overrun", "limiter", "cut", "off"
MODES = (STAND, CRANK, RUN, OVERRUN, LIMITER, CUT, OFF)
"""stand: key on, not fired; crank: by the starter, fired after a moment; run; overrun: fired, no fuel; limiter: all cut
for a couple of cycles, fired for a few; cut: turning, all cut; off: key off, no feed."""


class Knot(NamedTuple):
    """Speed passes through `rpm` at `time_s`, straight to the next knot; `mode` holds until then."""

    time_s: float
    rpm: float
    mode: str = RUN


@dataclass(frozen=True, slots=True)
class Scenario:
    """Knots in order of time from 0 on. After the last one its speed and mode go on for ever.

    `wander` is the share by which speed drifts gently up and down. `battery_v`, where given, is (time_s, volts) knots
    that replace battery and alternator. `marks_s` are the times at which somebody presses the marker.
    """

    knots: tuple[Knot, ...]
    wander: float = 0.01
    battery_v: tuple[tuple[float, float], ...] | None = None
    marks_s: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        times = [knot.time_s for knot in self.knots]
        if not times or times[0] != 0 or any(b <= a for a, b in pairwise(times)):
            raise AddressError("simulated engine: a scenario's times must start at 0 and rise")
        for knot in self.knots:
            if knot.mode not in MODES or not 0 <= knot.rpm <= 20000:
                raise AddressError(f"simulated engine: {knot}: rpm 0 to 20000, mode one of {', '.join(MODES)}")
        supply = self.battery_v if self.battery_v is not None else ((0.0, 0.0),)
        rising = all(a[0] < b[0] for a, b in pairwise(supply))
        if not supply or not rising or not all(math.isfinite(t) and 0.0 <= v <= 100.0 for t, v in supply):
            raise AddressError("simulated engine: battery: times must rise, volts lie within 0 and 100")

    def key_off(self) -> tuple[tuple[float, float], ...]:
        """Give the times at which the key is off, each from its turning to the next."""
        modes = [knot.mode for knot in self.knots]
        turns = [
            knot.time_s for i, knot in enumerate(self.knots) if (knot.mode == OFF) != (i > 0 and modes[i - 1] == OFF)
        ]
        return tuple(zip(turns[::2], [*turns[1::2], math.inf], strict=False))


def constant(rpm: float) -> Scenario:
    """Hold one speed for ever."""
    return Scenario((Knot(0.0, rpm),))


def named(name: str) -> Scenario:
    """Find a scenario by its name; AddressError tells which there are."""
    if name not in _NAMED:
        raise AddressError(f"simulated engine: scenario={name}: one of {', '.join(_NAMED)}")
    return Scenario(_NAMED[name])


def _knots(*rows: tuple[float, float, str]) -> tuple[Knot, ...]:
    return tuple(Knot(*row) for row in rows)


_NAMED: dict[str, tuple[Knot, ...]] = {
    "key-on": _knots((0, 0, STAND)),
    "idle": _knots((0, 800, RUN)),
    "cruise": _knots((0, 2500, RUN), (10, 2700, RUN), (25, 2400, RUN), (40, 2500, RUN)),
    "crank-and-idle": _knots(
        (0, 0, STAND), (1, 0, CRANK), (1.3, 220, CRANK), (2.4, 230, RUN), (2.9, 1500, RUN), (4.5, 900, RUN),
        (6, 800, RUN)
    ),
    "snap": _knots(
        (0, 800, RUN), (3, 800, RUN), (3.5, 5800, RUN), (3.8, 5800, OVERRUN), (5.5, 1200, RUN), (6.5, 800, RUN)
    ),
    "stop": _knots((0, 800, RUN), (5, 800, OFF), (6.2, 0, OFF)),
    "cold-start-drive": _knots(
        (0, 0, STAND), (1, 0, CRANK), (1.3, 210, CRANK), (2.4, 230, RUN), (2.9, 1700, RUN), (5, 1150, RUN),
        (12, 900, RUN), (18, 850, RUN), (18.4, 4850, RUN), (18.7, 4900, OVERRUN), (21, 1000, RUN), (26, 850, RUN),
        (28, 1500, RUN), (35, 3900, RUN), (35.2, 3900, CUT), (35.5, 2600, RUN), (42, 4200, RUN), (42.2, 4200, CUT),
        (42.5, 3000, RUN), (46, 2600, RUN), (62, 2700, RUN), (68, 6200, LIMITER), (68.5, 6100, LIMITER),
        (69, 6250, LIMITER), (70, 6150, CUT), (70.4, 4300, RUN), (74, 3200, RUN), (84, 3000, OVERRUN), (89, 1500, RUN),
        (90, 3200, RUN), (92, 3300, CUT), (95, 1300, RUN), (97, 850, RUN), (101, 800, STAND), (101.7, 0, STAND),
        (106, 0, CRANK), (106.2, 230, CRANK), (106.9, 260, RUN), (107.3, 1200, RUN), (109, 850, RUN), (117.5, 800, OFF),
        (118.6, 0, OFF),
    ),
}  # fmt: skip

NAMES = tuple(_NAMED)
"""The scenarios that have a name."""
