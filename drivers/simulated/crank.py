"""Crank angle from speed: integrated on a fine grid that grows as far as it is asked, and forgets what is behind."""

import numpy as np
from numpy.typing import NDArray

from drivers.simulated.battery import Battery
from drivers.simulated.draws import uniform
from drivers.simulated.scenario import CRANK, MODES, Scenario

Floats = NDArray[np.float64]

STEP_S = 1e-3
_STRETCH = 4096
_MOST = 4 * _STRETCH


class Crank:
    """Position, speed and battery voltage against time, both ways.

    Speed is the scenario's, with a gentle wander, and pulses with the compressions: 12 % while cranking, 1 % running.
    """

    def __init__(self, scenario: Scenario, firings_per_revolution: float, start_revolutions: float, seed: int) -> None:
        self.scenario = scenario
        self._knot_s = np.array([k.time_s for k in scenario.knots])
        self._knot_rpm = np.array([k.rpm for k in scenario.knots])
        self._knot_mode = np.array([MODES.index(k.mode) for k in scenario.knots])
        self._crank_start_s = _stage_starts(scenario)
        self._wander = scenario.wander
        self._phases = 2.0 * np.pi * uniform(seed, 1, np.arange(2))
        self._firings = firings_per_revolution
        self._battery = Battery(scenario)
        self._steps = 0
        self._even = start_revolutions
        self._last = start_revolutions
        self._last_rpm = 0.0
        self._time_s = self._revolutions = self._rpm = self._volts = np.empty(0)
        self.extend(0.0)

    def extend(self, time_s: float) -> None:
        """Make everything known up to `time_s` at least."""
        while self._steps * STEP_S <= time_s:
            self._grow()

    def revolutions(self, time_s: float) -> float:
        """Position at one moment, in revolutions."""
        return float(np.interp(time_s, self._time_s, self._revolutions))

    def times_s(self, revolutions: Floats) -> Floats:
        """When each position is passed."""
        return np.asarray(np.interp(revolutions, self._revolutions, self._time_s))

    def rpm(self, times_s: Floats) -> Floats:
        """Speed at each time."""
        return np.asarray(np.interp(times_s, self._time_s, self._rpm))

    def volts(self, times_s: Floats) -> Floats:
        """Battery voltage at each time."""
        return np.asarray(np.interp(times_s, self._time_s, self._volts))

    def volts_at(self, time_s: float) -> float:
        """Battery voltage at one moment; the same as `volts`, quick for one."""
        place = (time_s - self._time_s[0]) / STEP_S
        i = min(max(int(place), 0), len(self._time_s) - 2)
        share = min(max(place - i, 0.0), 1.0)
        return float(self._volts[i] * (1.0 - share) + self._volts[i + 1] * share)

    def modes(self, times_s: Floats) -> NDArray[np.intp]:
        """Index into MODES at each time."""
        return np.asarray(self._knot_mode[self._stage(times_s)], dtype=np.intp)

    def since_crank_start_s(self, times_s: Floats) -> Floats:
        """Time since the starter was engaged; infinite in other modes."""
        return np.asarray(times_s - self._crank_start_s[self._stage(times_s)])

    def _stage(self, times_s: Floats) -> NDArray[np.intp]:
        return np.maximum(np.searchsorted(self._knot_s, times_s, side="right") - 1, 0)

    def _grow(self) -> None:
        time_s = np.arange(self._steps, self._steps + _STRETCH, dtype=np.float64) * STEP_S
        rpm = np.interp(time_s, self._knot_s, self._knot_rpm)
        slow, fast = np.sin(2.0 * np.pi * time_s / np.array([[7.3], [2.9]]) + self._phases[:, None])
        rpm *= 1.0 + self._wander * (0.6 * slow + 0.4 * fast)
        even: Floats = self._even + np.cumsum(rpm) * (STEP_S / 60.0)
        self._even = float(even[-1])
        depth = np.where(self.modes(time_s) == MODES.index(CRANK), 0.12, 0.01)
        rpm *= 1.0 + depth * np.cos(2.0 * np.pi * self._firings * even)
        self._append(time_s, rpm, self._battery.volts(time_s, self._firings * even))

    def _append(self, time_s: Floats, rpm: Floats, volts: Floats) -> None:
        trapezoids = (np.concatenate(([self._last_rpm if self._steps else rpm[0]], rpm[:-1])) + rpm) * (STEP_S / 120.0)
        if self._steps == 0:
            trapezoids[0] = 0.0
        revolutions = self._last + np.cumsum(trapezoids)
        self._last, self._last_rpm = float(revolutions[-1]), float(rpm[-1])
        self._steps += _STRETCH
        self._time_s = np.concatenate((self._time_s, time_s))[-_MOST:]
        self._revolutions = np.concatenate((self._revolutions, revolutions))[-_MOST:]
        self._rpm = np.concatenate((self._rpm, rpm))[-_MOST:]
        self._volts = np.concatenate((self._volts, volts))[-_MOST:]


def _stage_starts(scenario: Scenario) -> Floats:
    """For each knot when its run of cranking began; minus infinity for other modes."""
    starts: list[float] = []
    for i, knot in enumerate(scenario.knots):
        goes_on = i > 0 and scenario.knots[i - 1].mode == CRANK
        starts.append((starts[-1] if goes_on else knot.time_s) if knot.mode == CRANK else -np.inf)
    return np.array(starts)
