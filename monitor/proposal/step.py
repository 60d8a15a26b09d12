"""Whether two inputs move together."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.proposal.portrait import Places, Portrait, Volts

LEAST_EVENTS = 5
_REACH_S = 3e-3
_POINTS = 49
_MOST_EVENTS = 2000
_SHIFTS = 8
_BY_CHANCE = 3.0
"""A swing this many times the largest found at other moments is no chance."""
_FIRST_ANSWER_S = 0.2e-3
_LAST_ANSWER_S = 0.5e-3


@dataclass(frozen=True, slots=True)
class Swing:
    """How far an input moves, on the average, about the events of another.

    `volts` from least to most; `sharp_v` what of it is quicker than the window, so that neither hum nor a slow wave
    counts that happens to keep step. `is_real` where chance does not do that.
    """

    volts: float = 0.0
    sharp_v: float = 0.0
    is_real: bool = False


def swing_in_step(volts: Volts, counted: NDArray[np.bool_], events: Places, rate_hz: float) -> Swing:
    """Average `volts` about each event (3 ms either way), over the samples `counted`, and again at other moments."""
    reach = round(_REACH_S * rate_hz)
    inside = events[(events >= reach) & (events < len(volts) - reach)]
    if len(inside) < LEAST_EVENTS or reach < 2:
        return Swing()
    chosen = inside[:_MOST_EVENTS]
    apart = max(float(np.median(np.diff(chosen))), 2.0)
    draws = np.random.default_rng(1)
    shifted = (chosen + draws.integers(0, round(apart) + 1, len(chosen)) for _ in range(_SHIFTS))
    others = [_swing(volts, counted, np.clip(one, reach, len(volts) - reach - 1), reach)[1] for one in shifted]
    swing_v, sharp_v = _swing(volts, counted, chosen, reach)
    return Swing(swing_v, sharp_v, is_real=sharp_v > _BY_CHANCE * max(others))


def _swing(volts: Volts, counted: NDArray[np.bool_], events: Places, reach: int) -> tuple[float, float]:
    """Of the mean about the events: least to most, and the same without the parabola that fits it best."""
    offsets = np.linspace(-reach, reach, _POINTS)
    places = events[:, None] + offsets.astype(np.int64)
    weights = counted[places].astype(np.float64)
    values = volts[places].astype(np.float64)
    drift = (values * weights).sum(axis=1, keepdims=True) / np.maximum(weights.sum(axis=1, keepdims=True), 1)
    seen = weights.sum(axis=0)
    enough = seen >= max(1, len(events) // 2)
    if enough.sum() < _POINTS // 2:
        return 0.0, 0.0
    mean = (((values - drift) * weights).sum(axis=0) / np.maximum(seen, 1))[enough]
    at = offsets[enough] / reach
    return float(np.ptp(mean)), float(np.ptp(mean - np.polyval(np.polyfit(at, mean, 2), at)))


def answers_calls(line: Portrait, control: Portrait) -> bool:
    """Whether the line goes low in each call or just after its end, always as long after it as ever.

    Four of five calls must hold an answer, and the delays' spread must be a tenth of the time between answers at most.
    """
    if min(len(line.starts), len(control.starts)) < LEAST_EVENTS:
        return False
    first = control.starts + round(_FIRST_ANSWER_S * control.rate_hz)
    last = control.ends + round(_LAST_ANSWER_S * control.rate_hz)
    place = np.searchsorted(line.starts, first)
    found = np.append(line.starts, np.iinfo(np.int64).max)[place]
    held = found <= last
    if held.mean() < 0.8 or held.sum() < LEAST_EVENTS:
        return False
    spread = min(_spread((found - edges)[held]) for edges in (control.starts, control.ends))
    return bool(spread <= max(0.1 * np.median(np.diff(line.starts)), 2.0))


def _spread(values: Places) -> float:
    return float(np.median(np.abs(values - np.median(values))))
