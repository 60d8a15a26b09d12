"""What lies between two cursors."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.firing.records import Firing
from monitor.firing.rota import Rota


@dataclass(frozen=True, slots=True)
class Speed:
    """Mean engine speed over `turns` turns of the coils."""

    rpm: float
    turns: int


def speed_between(firings: Sequence[Firing], rota: Rota) -> Speed | None:
    """Mean speed from the first to the last of these firings (in order of time); None where turns are not known.

    Crank angle between the two turns, by the set-up's firing angles, over the time between their sparks.
    """
    if len(firings) < 2 or any(after.turn < before.turn for before, after in pairwise(firings)):
        return None
    first, last = firings[0], firings[-1]
    turns = last.turn - first.turn
    seconds = last.time_s - first.time_s
    if turns == 0 or seconds <= 0.0:
        return None
    return Speed(rota.rpm(seconds / rota.way(first.turn, turns), 1.0), turns)
