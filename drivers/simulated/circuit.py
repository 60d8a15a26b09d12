"""The charging circuit in time: coils switched on and off, currents between, and pulls on the line that they cause."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drivers.simulated.coil import Charging, Network
from drivers.simulated.faults import FaultBook
from drivers.simulated.model import DURING_CHARGE, EngineModel
from drivers.simulated.schedule import Turn

Floats = NDArray[np.float64]


@dataclass(slots=True, eq=False)
class Charge:
    """One call of one coil: `pulls` are [start, end] of its answers so far, end None while it pulls."""

    turn: Turn
    rise_s: float
    cut_s: float
    repeat: int = 0
    switched: bool = True
    current_a: float = 0.0
    pulls: list[list[float | None]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Segment:
    """Currents of `coils` between two moments at which nothing is switched; `ohms` are the branches' extra ohms."""

    start_s: float
    end_s: float
    coils: tuple[int, ...]
    charging: Charging
    feed_ohm: float
    ground_ohm: float
    feed_extra: tuple[float, ...]
    ground_extra: tuple[float, ...]

    def total_a(self, times_s: Floats) -> Floats:
        """Give the current through the shared feed."""
        return self.charging.currents_a(None, times_s - self.start_s)

    def branch_a(self, coil: int, times_s: Floats) -> Floats:
        """Give the current of one coil; zero where it is not charging."""
        if coil not in self.coils:
            return np.zeros(times_s.shape)
        return self.charging.currents_a(self.coils.index(coil), times_s - self.start_s)

    def extra_ohm(self, coil: int) -> tuple[float, float]:
        """Give the extra ohms in this coil's own feed and ground; zero where it is not charging."""
        if coil not in self.coils:
            return 0.0, 0.0
        return self.feed_extra[self.coils.index(coil)], self.ground_extra[self.coils.index(coil)]


class Circuit:
    """Advanced from event to event. Battery voltage counts as constant within a segment, taken at its middle."""

    def __init__(self, model: EngineModel, book: FaultBook) -> None:
        self._model, self._book = model, book
        self._answer = model.acknowledgement
        self._active: dict[int, Charge] = {}
        self.time_s = -1.0

    def switch_on(self, charge: Charge) -> None:
        """Let `charge` draw current from now on."""
        self._active[charge.turn.coil] = charge

    def switch_off(self, charge: Charge) -> None:
        """Cut its current; `charge.current_a` keeps what was cut."""
        if self._active.get(charge.turn.coil) is charge:
            del self._active[charge.turn.coil]
        _release(charge, self.time_s)

    def advance(self, time_s: float, battery_v: Callable[[float], float]) -> Segment | None:
        """Let time pass to `time_s`, with no switching on the way. None if no current flows."""
        start_s, self.time_s = self.time_s, time_s
        if time_s <= start_s or not self._active:
            return None
        middle_s = 0.5 * (start_s + time_s)
        live = [c for c in self._active.values() if not self._open(c.turn.coil, middle_s)]
        for charge in self._active.values():
            if charge not in live:
                charge.current_a = 0.0
                _release(charge, start_s)
        return self._charge(live, start_s, time_s, battery_v(middle_s)) if live else None

    def _charge(self, live: list[Charge], start_s: float, end_s: float, battery_v: float) -> Segment:
        middle_s = 0.5 * (start_s + end_s)
        feed_ohm, *feed = self._ohms("feed-resistance", live, middle_s)
        ground_ohm, *ground = self._ohms("ground-resistance", live, middle_s)
        feed_ohm += self._model.feed_resistance_ohm
        ohms = tuple(self._model.coil.resistance_ohm + f + g for f, g in zip(feed, ground, strict=True))
        network = Network(ohms, feed_ohm + ground_ohm, self._model.coil.inductance_h)
        charging = network.charge(tuple(c.current_a for c in live), battery_v)
        for k, charge in enumerate(live):
            self._watch(charge, charging, k, start_s, end_s)
        return Segment(
            start_s, end_s, tuple(c.turn.coil for c in live), charging, feed_ohm, ground_ohm, tuple(feed), tuple(ground)
        )

    def _watch(self, charge: Charge, charging: Charging, k: int, start_s: float, end_s: float) -> None:
        """Note where its current passes the answer's levels."""
        begin_a, charge.current_a = charge.current_a, charging.current_a(k, end_s - start_s)
        if self._answer.timing != DURING_CHARGE:
            return
        if begin_a < self._answer.low_a <= charge.current_a:
            charge.pulls.append([start_s + charging.reaches_s(k, self._answer.low_a, end_s - start_s), None])
        if begin_a < self._answer.high_a <= charge.current_a:
            _release(charge, start_s + charging.reaches_s(k, self._answer.high_a, end_s - start_s))

    def _ohms(self, kind: str, live: list[Charge], time_s: float) -> list[float]:
        """Give the extra ohms that all share, then those of each charge's own branch."""
        windows = self._book.at(kind, time_s)
        if not windows:
            return [0.0] * (1 + len(live))
        places = (None, *(charge.turn.coil for charge in live))
        return [sum(w.number for w in windows if w.cylinder == place) for place in places]

    def _open(self, coil: int, time_s: float) -> bool:
        return any(w.cylinder in (None, coil) for w in self._book.at("feed-dropout", time_s))


def _release(charge: Charge, time_s: float) -> None:
    if charge.pulls and charge.pulls[-1][1] is None:
        charge.pulls[-1][1] = time_s
