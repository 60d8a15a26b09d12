"""Battery, alternator and starter: the voltage before any feed wiring."""

import numpy as np
from numpy.typing import NDArray

from drivers.simulated.scenario import CRANK, OFF, STAND, Scenario

Floats = NDArray[np.float64]

REST_V, CHARGED_V, CRANK_V, DIP_V = 12.6, 14.2, 9.8, 8.0
_DIP_S = (0.0, 0.005, 0.020, 0.070)
_SETTLING_S = 0.4


class Battery:
    """Volts over time for one scenario.

    Starting dips to 8 V in 5 ms, holds 15 ms and comes back in 50 ms to a floor that ripples with the compressions
    (the shape of ISO 16750-2's starting profile).
    """

    def __init__(self, scenario: Scenario) -> None:
        self._profile = None if scenario.battery_v is None else np.array(scenario.battery_v, dtype=np.float64).T
        loads = [
            CRANK_V if k.mode == CRANK else REST_V if k.mode in (STAND, OFF) else CHARGED_V for k in scenario.knots
        ]
        first = [i for i, load in enumerate(loads) if i == 0 or load != loads[i - 1]]
        self._start_s = np.array([scenario.knots[i].time_s for i in first])
        self._load_v = np.array([loads[i] for i in first])
        self._before_v = np.array([self._load_v[0], *self._load_v[:-1]])

    def volts(self, times_s: Floats, firing_revolutions: Floats) -> Floats:
        """Volts at each time; `firing_revolutions` is the crank position counted in firings, for the ripple."""
        if self._profile is not None:
            return np.asarray(np.interp(times_s, self._profile[0], self._profile[1]))
        stage = np.maximum(np.searchsorted(self._start_s, times_s, side="right") - 1, 0)
        since_s = times_s - self._start_s[stage]
        load_v, before_v = self._load_v[stage], self._before_v[stage]
        ripple = np.cos(2.0 * np.pi * firing_revolutions)
        settled = load_v + (before_v - load_v) * np.exp(-since_s / _SETTLING_S) + 0.02 * ripple * (load_v == CHARGED_V)
        cranking = np.interp(since_s, _DIP_S, (REST_V, DIP_V, DIP_V, CRANK_V))
        cranking += 0.4 * ripple * (since_s > _DIP_S[-1])
        return np.asarray(np.where(load_v == CRANK_V, cranking, settled))
