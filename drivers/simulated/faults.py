"""What goes wrong, when and how often."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.errors import AddressError
from drivers.simulated.draws import uniform

TURN_KINDS: dict[str, float | str] = {
    "no-answer": "branch",
    "no-call": 0.0,
    "weak-pull-down": 500.0,
    "stray-answer": 0.6e-3,
    "glitch": 3e-6,
    "dwell": 0.5,
    "weak-control": 3.0,
    "no-injection": 0.0,
}
"""Faults that strike single turns, with their default value: "branch" loses the answer on its wire only, "coil" does
not switch the current; ohms in the coil's pull-down; width in seconds of a stray answer and of a glitch; share of the
usual dwell, at most 2; volts of the control's high level."""

WINDOW_KINDS: dict[str, float | str] = {
    "feed-dropout": 0.0,
    "feed-resistance": 0.4,
    "ground-resistance": 0.15,
    "line-held-low": 0.1,
    "line-open": "coil",
    "weak-pull-up": 20e3,
    "lost-samples": 0.0,
}
"""Faults that last, with their default value: extra ohms; volts of the short; which side of the break the lead is on
("coil" side of the lead is off: it rests high; "controller" side is off: it floats); ohms of the pull-up."""

FAIL_SAFE = "fail-safe"
KINDS: dict[str, float | str] = TURN_KINDS | WINDOW_KINDS | {FAIL_SAFE: 6.0}
_TEXTS = {"no-answer": ("branch", "coil"), "line-open": ("coil", "controller")}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that goes wrong between `start_s` and `end_s`. Raises AddressError on nonsense.

    `cylinder` None means any cylinder, or what all share. A lasting fault with probability 1 holds all that time; with
    less it comes for `duration_s` in that share of turns. `value` is the fault's measure; see the two tables above.
    `fail-safe` is the controller's: after `value` misses in a row it stops calling (and fuelling) that cylinder.
    """

    kind: str
    cylinder: int | None = None
    probability: float = 1.0
    start_s: float = 0.0
    end_s: float = math.inf
    value: float | str | None = None
    duration_s: float = 0.01

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise AddressError(f"simulated engine: fault={self.kind}: one of {', '.join(KINDS)}")
        if self.value is None:
            object.__setattr__(self, "value", KINDS[self.kind])
        self._check_value()
        if self.kind == "dwell" and not 0.0 < self.number <= 2.0:
            raise AddressError(f"simulated engine: fault=dwell: value={self.value}: above 0, at most 2")
        if not 0.0 <= self.probability <= 1.0:
            raise AddressError(f"simulated engine: fault={self.kind}: probability={self.probability}: 0 to 1")
        if not self.start_s < self.end_s or not 0 < self.duration_s < math.inf:
            raise AddressError(f"simulated engine: fault={self.kind}: start_s before end_s, duration_s above 0")

    def _check_value(self) -> None:
        texts = _TEXTS.get(self.kind)
        if texts is not None and self.value not in texts:
            raise AddressError(f"simulated engine: fault={self.kind}: value={self.value}: {' or '.join(texts)}")
        if texts is None and not (isinstance(self.value, (int, float)) and 0 <= self.value < math.inf):
            raise AddressError(f"simulated engine: fault={self.kind}: value={self.value}: a number, 0 or more")

    @property
    def number(self) -> float:
        """The value of a fault measured by a number."""
        return float(self.value) if isinstance(self.value, (int, float)) else 0.0


@dataclass(frozen=True, slots=True)
class Window:
    """A lasting fault's one appearance."""

    kind: str
    cylinder: int | None
    start_s: float
    end_s: float
    value: float | str
    number: float
    """The fault's own."""


class FaultBook:
    """All faults of a run: which turns they strike, and the windows opened so far and not yet forgotten."""

    def __init__(self, faults: tuple[Fault, ...], seed: int) -> None:
        self._seed = seed
        self.faults = faults
        self._windows: dict[str, list[Window]] = {kind: [] for kind in WINDOW_KINDS}
        for fault in faults:
            if fault.kind in WINDOW_KINDS and fault.probability == 1.0:
                self._windows[fault.kind].append(_window(fault, fault.start_s, fault.end_s))
        self._turn_faults = [(i, f) for i, f in enumerate(faults) if f.kind in TURN_KINDS]
        self._episode_faults = [(i, f) for i, f in enumerate(faults) if f.kind in WINDOW_KINDS and f.probability < 1.0]

    def struck(self, turns: NDArray[Any], cylinders: NDArray[Any], times_s: NDArray[Any]) -> list[dict[str, Fault]]:
        """Give for each turn the single-turn faults that strike it, by kind."""
        hits: list[dict[str, Fault]] = [{} for _ in turns]
        for number, fault in self._turn_faults:
            for i in self._drawn(number, fault, turns, cylinders, times_s):
                hits[i][fault.kind] = fault
        return hits

    def open_windows(
        self, turns: NDArray[Any], cylinders: NDArray[Any], times_s: NDArray[Any], intervals_s: NDArray[Any]
    ) -> list[Window]:
        """Open and remember the windows that these turns bring.

        Each starts somewhere between just before its turn's spark and halfway to the next.
        """
        fresh: list[Window] = []
        for number, fault in self._episode_faults:
            before_s = np.minimum(0.5 * intervals_s, 0.01)
            starts_s = times_s - before_s + uniform(self._seed, 2000 + number, turns) * (before_s + 0.5 * intervals_s)
            for i in self._drawn(number, fault, turns, cylinders, times_s):
                start_s = float(starts_s[i])
                fresh.append(_window(fault, start_s, start_s + fault.duration_s))
                self._windows[fault.kind].append(fresh[-1])
        return fresh

    def of(self, kind: str) -> list[Window]:
        """Give all windows of this kind that are not forgotten."""
        return self._windows[kind]

    def all(self) -> list[Window]:
        """Give the windows of all kinds."""
        return [window for windows in self._windows.values() for window in windows]

    def at(self, kind: str, time_s: float) -> list[Window]:
        """Give the windows of this kind that are open at `time_s`."""
        return [w for w in self._windows[kind] if w.start_s <= time_s < w.end_s]

    def forget(self, before_s: float) -> None:
        """Drop windows that closed before `before_s`."""
        for kind, windows in self._windows.items():
            if windows:
                self._windows[kind] = [w for w in windows if w.end_s >= before_s]

    def _drawn(
        self, number: int, fault: Fault, turns: NDArray[Any], cylinders: NDArray[Any], times_s: NDArray[Any]
    ) -> list[int]:
        drawn = uniform(self._seed, 1000 + number, turns) < fault.probability
        drawn &= (times_s >= fault.start_s) & (times_s < fault.end_s)
        if fault.cylinder is not None:
            drawn &= cylinders == fault.cylinder
        return [int(i) for i in np.flatnonzero(drawn)]


def _window(fault: Fault, start_s: float, end_s: float) -> Window:
    assert fault.value is not None
    return Window(fault.kind, fault.cylinder, start_s, end_s, fault.value, fault.number)
