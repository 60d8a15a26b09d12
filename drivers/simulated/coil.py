"""Coils charging through a shared feed: the exact currents, while the feed voltage stands still.

For coils k on one feed, L di_k/dt = V - (R + r_k) i_k - r_shared * sum(i). That is linear, so the currents are sums of
exponentials along the eigenvectors of a symmetric matrix: exact for any overlap of charges. Alone it is the textbook
i(t) = V/R (1 - exp(-t R/L)).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from acquire.errors import AddressError

Floats = NDArray[np.float64]

_CLOSE_S = 1e-11


@dataclass(frozen=True, slots=True)
class Coil:
    """Primary winding with its driver."""

    resistance_ohm: float = 0.5
    inductance_h: float = 3.75e-3

    def __post_init__(self) -> None:
        if not (0.0 < self.resistance_ohm < math.inf and 0.0 < self.inductance_h < math.inf):
            raise AddressError("simulated engine: a coil needs resistance and inductance above 0")

    def charge_time_s(self, current_a: float, supply_v: Floats, series_ohm: float = 0.0) -> Floats:
        """Give the time from zero to `current_a` at each of `supply_v`; infinite where it is never reached."""
        ohm = self.resistance_ohm + series_ohm
        share = np.minimum(current_a * ohm / np.maximum(supply_v, 1e-9), 1.0)
        with np.errstate(divide="ignore"):
            return np.asarray(-self.inductance_h / ohm * np.log1p(-share))


@lru_cache(maxsize=1024)
def _modes(ohms: tuple[float, ...], shared_ohm: float, inductance_h: float) -> tuple[Floats, Floats]:
    """Decay rates (1/s) and orthonormal vectors of the coils' resistance matrix over L."""
    matrix = (np.diag(ohms) + shared_ohm) / inductance_h
    rates, vectors = np.linalg.eigh(matrix)
    return rates, vectors


@dataclass(frozen=True, slots=True)
class Network:
    """The loop a set of charging coils forms: ohms of each branch, ohms they share, one inductance for all."""

    ohms: tuple[float, ...]
    shared_ohm: float
    inductance_h: float

    def charge(self, start_a: tuple[float, ...], supply_v: float) -> "Charging":
        """Let currents run on from `start_a` at a constant `supply_v`."""
        if len(self.ohms) == 1:
            ohm = self.ohms[0] + self.shared_ohm
            steady_a = supply_v / ohm
            return Charging((ohm / self.inductance_h,), ((start_a[0] - steady_a,),), (steady_a,))
        rates, vectors = _modes(self.ohms, self.shared_ohm, self.inductance_h)
        drive = vectors.sum(axis=0) * (supply_v / self.inductance_h)
        steady = vectors @ (drive / rates)
        weights = vectors * (vectors.T @ (np.asarray(start_a) - steady))
        return Charging(tuple(rates.tolist()), tuple(map(tuple, weights.tolist())), tuple(steady.tolist()))


@dataclass(frozen=True, slots=True)
class Charging:
    """Currents over time: steady[k] + sum over modes m of weights[k][m] * exp(-rates[m] * t)."""

    rates: tuple[float, ...]
    weights: tuple[tuple[float, ...], ...]
    steady: tuple[float, ...]

    def current_a(self, k: int, time_s: float) -> float:
        """Give the current of coil k at one moment."""
        terms = zip(self.weights[k], self.rates, strict=True)
        return self.steady[k] + sum(w * math.exp(-rate * time_s) for w, rate in terms)

    def currents_a(self, k: int | None, times_s: Floats) -> Floats:
        """Give the current of coil k, or of all together, at each of `times_s`."""
        chosen = range(len(self.steady)) if k is None else (k,)
        total = np.full(times_s.shape, sum(self.steady[j] for j in chosen))
        for mode, rate in enumerate(self.rates):
            total += sum(self.weights[j][mode] for j in chosen) * np.exp(-rate * times_s)
        return total

    def reaches_s(self, k: int, level_a: float, until_s: float) -> float:
        """Find when coil k rises to `level_a`, known to lie above its start and no higher than its end at `until_s`."""
        if len(self.rates) == 1:
            return math.log(self.weights[k][0] / (level_a - self.steady[k])) / self.rates[0]
        low_s, high_s, time_s = 0.0, until_s, 0.5 * until_s
        while high_s - low_s > _CLOSE_S:
            over_a = self.current_a(k, time_s) - level_a
            low_s, high_s = (low_s, time_s) if over_a >= 0.0 else (time_s, high_s)
            step_s = over_a / self._slope(k, time_s)
            if abs(step_s) < _CLOSE_S:
                break
            time_s = time_s - step_s if low_s < time_s - step_s < high_s else 0.5 * (low_s + high_s)
        return time_s

    def _slope(self, k: int, time_s: float) -> float:
        terms = zip(self.weights[k], self.rates, strict=True)
        return -sum(w * rate * math.exp(-rate * time_s) for w, rate in terms)
