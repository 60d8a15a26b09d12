"""What several inputs tell together: how many coils, and in which order those with a control fire."""

from collections.abc import Iterable, Sequence

import numpy as np

from monitor.proposal.portrait import Portrait
from monitor.proposal.step import LEAST_EVENTS

_STEADY = 0.95
"""Length of the mean of the phases as unit vectors (circular statistics): 1 where all are alike."""


def phases(controls: Sequence[Portrait]) -> tuple[float, ...] | None:
    """When each control's call ends, as a part (0 to below 1) of the first one's period; None where it varies."""
    if not controls or any(len(one.ends) < LEAST_EVENTS for one in controls):
        return None
    found = [_phase(controls[0], one) for one in controls[1:]]
    if any(one is None for one in found):
        return None
    return (0.0, *(one for one in found if one is not None))


def _phase(first: Portrait, other: Portrait) -> float | None:
    place = np.searchsorted(first.ends, other.ends, "right")
    inside = (place > 0) & (place < len(first.ends))
    before, after = first.ends[place[inside] - 1], first.ends[place[inside]]
    parts = (other.ends[inside] - before) / np.maximum(after - before, 1)
    mean = np.exp(2j * np.pi * parts).mean() if len(parts) else 0.0
    return float(np.angle(mean) / (2 * np.pi) % 1.0) if abs(mean) >= _STEADY else None


def coils(lines: Iterable[Portrait], controls: Sequence[Portrait]) -> int | None:
    """How many coils answer, over all lines: answers for each call of one coil; None where that is no whole number."""
    calls_hz = float(np.median([one.pulses_hz for one in controls])) if controls else 0.0
    answers_hz = sum(one.pulses_hz for one in lines)
    if not (calls_hz and answers_hz):
        return None
    ratio = answers_hz / calls_hz
    return round(ratio) if abs(ratio - round(ratio)) <= 0.3 and 1 <= round(ratio) <= 16 else None
