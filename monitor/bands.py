"""Misses by bands of speed or feed voltage, and whether they keep to some of the bands."""

from bisect import bisect_right
from collections.abc import Iterable
from itertools import combinations

from monitor.rates import Missed, chance_of_as_many

SPEED_RPM = tuple(float(rpm) for rpm in range(1000, 9000, 1000))
SUPPLY_V = tuple(float(volts) for volts in range(9, 16))
_DOUBT = 0.01
"""All that is said of one recording's bands together is chance in at most this share of recordings."""


class Bands:
    """Observed turns and misses between the `edges`, below the first and from the last on.

    `starts` are misses that did not follow a miss. A fault that lasts makes a run of misses, and a run is one event:
    what is concluded, is concluded from these.
    """

    def __init__(self, edges: tuple[float, ...]) -> None:
        self.edges = edges
        self.turns = [0] * (len(edges) + 1)
        self.misses = [0] * (len(edges) + 1)
        self.starts = [0] * (len(edges) + 1)

    def take(self, value: float, is_miss: bool, is_start: bool) -> None:
        """Count one observed turn at this speed or voltage."""
        band = bisect_right(self.edges, value)
        self.turns[band] += 1
        if is_miss:
            self.misses[band] += 1
            self.starts[band] += is_start

    def missed(self, bands: Iterable[int]) -> Missed:
        """Misses and turns in these bands together."""
        places = tuple(bands)
        return Missed(sum(self.misses[n] for n in places), sum(self.turns[n] for n in places))

    def begun(self, bands: Iterable[int]) -> Missed:
        """Runs of misses in these bands, and turns in which one could begin."""
        places = tuple(bands)
        starts, (misses, turns) = sum(self.starts[n] for n in places), self.missed(places)
        return Missed(starts, turns - misses + starts)


def together(parts: Iterable[Bands]) -> Bands:
    """Several counts over the same edges as one; raises ValueError without any."""
    first, *rest = parts
    whole = Bands(first.edges)
    for part in (first, *rest):
        for mine, theirs in ((whole.turns, part.turns), (whole.misses, part.misses), (whole.starts, part.starts)):
            mine[:] = [a + b for a, b in zip(mine, theirs, strict=True)]
    return whole


def concentration(bands: Bands, unit: str, questions: int = 1) -> str | None:
    """Where misses concentrate, in words and counts, or None where chance could have spread them so.

    "only above 3000 rpm: 14 of 1,210 turns there, 0 of 5,300 below". Every stretch of neighbouring bands is held
    against the rest by Fisher's exact test on the starts of runs, and the least likely one is told if it stays below
    1 % after Bonferroni's correction: times the number of stretches and of `questions` put to the same recording.
    """
    driven = [n for n, turns in enumerate(bands.turns) if turns]
    stretches = [(a, b) for a, b in combinations(range(len(driven) + 1), 2) if b - a < len(driven)]
    everywhere = bands.begun(driven)
    if not stretches or not everywhere.misses:
        return None
    chance, (a, b) = min((chance_of_as_many(bands.begun(driven[a:b]), everywhere), (a, b)) for a, b in stretches)
    here, elsewhere = bands.missed(driven[a:b]), bands.missed(driven[:a] + driven[b:])
    if chance * len(stretches) * questions >= _DOUBT or here.rate <= elsewhere.rate:
        return None
    return _in_words(bands, unit, (driven[:a], driven[a:b], driven[b:]))


def _in_words(bands: Bands, unit: str, parts: tuple[list[int], list[int], list[int]]) -> str:
    under, within, over = parts
    here, elsewhere = bands.missed(within), bands.missed(under + over)
    low, high = bands.edges[within[0] - 1], bands.edges[min(within[-1], len(bands.edges) - 1)]
    where = f"from {low:g} to {high:g}" if under and over else f"above {low:g}" if under else f"below {high:g}"
    rest = [f"below {bands.edges[under[-1]]:g}"] if under else []
    rest += [f"above {bands.edges[over[0] - 1]:g}"] if over else []
    there = "more often" if elsewhere.misses else "only"
    return (
        f"{there} {where} {unit}: {here.misses:,} of {here.turns:,} turns there, "
        f"{elsewhere.misses:,} of {elsewhere.turns:,} {' and '.join(rest)} {unit}"
    )
