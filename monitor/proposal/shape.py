"""What one input looks like, taken by itself."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.proposal.portrait import Portrait
from monitor.setup import Role

SCALES = (1.0, 10.0, 1.68)
"""Attenuators looked for: none, 10:1, and the divider for 5 V that a serial ADC board is wired with."""
_FASTEST_HZ = 170.0
"""A coil is called no more often: 10,000 rpm, every turn."""


@dataclass(frozen=True, slots=True)
class Shape:
    """A role that fits by level and form, behind an attenuator of `scale`."""

    role: Role
    scale: float


def shape_of(seen: Portrait) -> Shape | None:
    """The role that levels and form fit best; None where none does, or where the input is clipped."""
    if is_clipped(seen):
        return None
    for scale in SCALES:
        for role, fits in _FITS:
            if fits(seen.scaled(scale)):
                return Shape(role, scale)
    return None


def is_clipped(seen: Portrait) -> bool:
    """A winding's kick may leave the range, and nothing else."""
    return seen.clipped > 0.02


def is_twelve_volts(seen: Portrait) -> bool:
    """A battery's level, charged or not, most of the time."""
    return 9.0 <= seen.rest_v <= 15.8 and (seen.duty < 0.3 or seen.away_v > 6.0)


def _is_injector(seen: Portrait) -> bool:
    pulses = len(seen.starts) >= 5 and 1.0 <= seen.width_ms <= 25.0
    return is_twelve_volts(seen) and pulses and -0.5 <= seen.away_v <= 2.0 and (is_even(seen) or seen.beyond_v > 5.0)


def _is_control(seen: Portrait) -> bool:
    levels = abs(seen.rest_v) <= 0.8 and 3.6 <= seen.away_v <= 5.6
    form = 0.8 <= seen.width_ms <= 10.0 and seen.duty <= 0.35 and seen.flatness >= 0.7
    return levels and form and seen.pulses_hz <= _FASTEST_HZ


def _is_line(seen: Portrait) -> bool:
    levels = 4.2 <= seen.rest_v <= 5.6 and -0.3 <= seen.away_v <= 1.6
    return levels and len(seen.starts) > 0 and 0.1 <= seen.width_ms <= 3.0 and seen.duty <= 0.5


def _is_marker(seen: Portrait) -> bool:
    levels = abs(seen.rest_v) <= 0.8 and 3.6 <= seen.away_v <= 5.6
    return levels and len(seen.starts) > 0 and seen.width_ms >= 50.0 and seen.flatness >= 0.7


def is_even(seen: Portrait) -> bool:
    """Whether the pulses come at about equal intervals."""
    apart = np.diff(seen.starts)
    return len(apart) >= 10 and bool(np.median(np.abs(apart - np.median(apart))) < 0.15 * np.median(apart))


_FITS: tuple[tuple[Role, Callable[[Portrait], bool]], ...] = (
    (Role.CONTROL, _is_control),
    (Role.ACKNOWLEDGEMENT, _is_line),
    (Role.INJECTOR, _is_injector),
    (Role.MARKER, _is_marker),
    (Role.SUPPLY, is_twelve_volts),
)
