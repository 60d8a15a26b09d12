"""Which turn of the engine every sighting is: several readings are kept until the engine itself has decided."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from monitor.firing.crew import Crew
from monitor.firing.hypothesis import Hypothesis, Step
from monitor.firing.pairing import Sighting

_STEP_MARGIN = 13.0
"""A way to read one sighting that costs this much more than the best way is not followed."""
_TOTAL_MARGIN = 26.0
"""A reading that costs this much more in all is given up."""
_EQUAL = 2.0
"""Two readings whose costs differ by less are equally good."""
_WIDEST = 12
_SILENT_PERIODS = 2.7
"""Periods without any sighting after which the position is given up and found anew."""
_FORGOTTEN_S = 1.0
"""After a longer silence the speed from before says nothing."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A sighting with its turn; `turn` modulo the rota's size is its place.

    `turns` is the number of turns since the sighting before (more than 1: those between were not seen; 0: an extra
    sighting within the same turn; None: the first after a start or a silence). `pace` is ticks per mean turn.
    """

    sighting: Sighting
    turn: int
    turns: int | None
    pace: float
    is_unsure: bool
    is_named: bool
    """False while cylinders are only told apart by their place in the order"""


class Position:
    """Gives every sighting its turn, in order, as soon as all believable readings agree."""

    def __init__(self, crew: Crew, tick_rate_hz: float) -> None:
        self._crew = crew
        self._rate = tick_rate_hz
        self._can_be_named = bool(crew.called)
        self._base = 0
        self._prior_pace: float | None = None
        self._latest: int | None = None
        self._start()

    def _start(self) -> None:
        self._held: list[Sighting] = []
        self._pending: list[Sighting] = []
        self._readings: list[Hypothesis] = []
        self._is_first = True

    @property
    def pace(self) -> float | None:
        """Ticks per mean turn by the best reading; None while nothing is locked."""
        return min(self._readings, key=lambda one: one.cost).pace if self._readings else None

    @property
    def silence(self) -> int:
        """Ticks behind the latest sighting after which the position is given up."""
        pace = self.pace or self._prior_pace
        return round(_SILENT_PERIODS * self._crew.rota.size * pace) if pace else round(2.0 * self._rate)

    def take(self, sighting: Sighting) -> list[Placed]:
        """Take the next sighting in order; give those that are decided by it."""
        placed: list[Placed] = []
        gap = sighting.tick - (sighting.tick if self._latest is None else self._latest)
        if gap > self.silence:
            placed = self.give_up()
        if gap > _FORGOTTEN_S * self._rate:
            self._prior_pace = None
        self._latest = sighting.tick
        if not self._readings:
            return placed + self._lock(sighting)
        self._advance(sighting)
        return placed + list(self._agreed())

    def give_up(self) -> list[Placed]:
        """Decide all that is open by the best reading, and forget the position."""
        placed: list[Placed] = []
        pace = self._named_pace() or self._prior_pace
        if self._held and (pace or len(self._held) > self._crew.rota.size):
            placed += self._begin(pace or self._guessed_pace())
        if self._readings:
            best = self._best()
            self._prior_pace = best.pace
            self._readings = [best if best.is_anchored or not self._can_be_named else _all_doubted(best)]
            placed += self._commit(self._readings[0].steps)
            size = self._crew.rota.size
            self._base = (best.turn // size + 2) * size
        self._start()
        return placed

    # -- finding the position

    def _lock(self, sighting: Sighting) -> list[Placed]:
        self._held.append(sighting)
        pace = self._prior_pace or self._named_pace()
        if pace is None and len(self._held) >= self._patience:
            pace = self._guessed_pace()
        return self._begin(pace) if pace is not None else []

    @property
    def _patience(self) -> int:
        """Sightings to wait for a call before places are numbered without one."""
        return self._crew.rota.size * (6 if self._can_be_named else 2) + 2

    def _named_pace(self) -> float | None:
        """Ticks per turn from two calls: of one place a period apart, or of two places."""
        rota = self._crew.rota
        called = [one for one in self._held if one.call]
        if len(called) < 2:
            return None
        (before, since), (place, tick) = ((rota.place_of(min(one.cylinders)), one.tick) for one in called[-2:])
        return max(tick - since, 1) / ((rota.starts[place] - rota.starts[before]) % rota.size or rota.size)

    def _guessed_pace(self) -> float:
        """Ticks per turn from the spacing alone: the usual distance, repeated sparks left out."""
        ticks = [one.tick for one in self._held]
        gaps = sorted(b - a for a, b in pairwise(ticks))
        large = [gap for gap in gaps if gap > 0.4 * gaps[len(gaps) * 4 // 5]] if gaps else []
        return max(float(large[len(large) // 2]), 1.0) if large else self._crew.rota.turn_ticks(800, self._rate)

    def _begin(self, pace: float) -> list[Placed]:
        """Start readings at the first held sighting, at this pace and at twice it, and run through what was held."""
        held, self._held = self._held, []
        first = held[0]
        places = self._crew.places_of(first.cylinders)
        rota = self._crew.rota
        if places is not None:
            starts = [(place, True) for place in sorted(places)]
        elif rota.is_even:
            starts = [(0, False)]
        else:
            starts = [(place, True) for place in range(rota.size)]
        self._pending = [first]
        self._readings = [
            Hypothesis(self._base + turn, first.tick, pace / f, anchored, 3.0 * (f - 1), (Step(self._base + turn, 0),))
            for turn, anchored in starts
            for f in (1, 2)
        ]
        for sighting in held[1:]:
            self._advance(sighting)
        return list(self._agreed())

    # -- going on from it

    def _advance(self, sighting: Sighting) -> None:
        ways = [way for one in self._readings for way in _near_best(one.extended(sighting, self._crew))]
        if not ways:
            # No reading can hold this sighting: a second call of another place at the same instant.
            return
        self._pending.append(sighting)
        least = min(way.cost for way in ways)
        ways = sorted((way for way in ways if way.cost <= least + _TOTAL_MARGIN), key=lambda way: way.cost)
        self._readings = _merged(ways)[:_WIDEST]

    def _best(self) -> Hypothesis:
        best, *others = sorted(self._readings, key=lambda one: one.cost)
        for other in others:
            if other.cost - best.cost < _EQUAL:
                best = _doubted(best, other)
        return best

    def _agreed(self) -> Iterator[Placed]:
        """What all readings agree on; or the best one's word when it has taken too long."""
        waits_for_name = self._can_be_named and not all(one.is_anchored for one in self._readings)
        too_long = len(self._pending) > 4 * self._crew.rota.size + 8
        if too_long:
            self._readings = [self._best()]
        elif waits_for_name:
            return
        common = 0
        first = self._readings[0].steps
        while common < len(first) and all(one.steps[common] == first[common] for one in self._readings):
            common += 1
        yield from self._commit(first[:common])
        if common:
            self._readings = [one.after(common) for one in self._readings]

    def _commit(self, steps: tuple[Step, ...]) -> Iterator[Placed]:
        pace = self._readings[0].pace
        named = self._readings[0].is_anchored
        for step in steps:
            sighting = self._pending.pop(0)
            turns = None if self._is_first else step.turns
            self._is_first = False
            yield Placed(sighting, step.turn, turns, pace, step.is_unsure, named)


def _near_best(ways: list[Hypothesis]) -> list[Hypothesis]:
    least = min((way.cost for way in ways), default=0.0)
    return [way for way in ways if way.cost <= least + _STEP_MARGIN]


def _merged(ways: list[Hypothesis]) -> list[Hypothesis]:
    """Of readings that met again at one turn by the same last step, keep the cheapest; doubt where they differed."""
    kept: dict[tuple[int, int, bool], Hypothesis] = {}
    for way in ways:
        key = (way.turn, way.steps[-1].turns, way.is_anchored)
        if key not in kept:
            kept[key] = way
        elif way.cost - kept[key].cost < _EQUAL:
            kept[key] = _doubted(kept[key], way)
    return list(kept.values())


def _all_doubted(one: Hypothesis) -> Hypothesis:
    return replace(one, steps=tuple(replace(step, is_unsure=True) for step in one.steps))


def _doubted(best: Hypothesis, other: Hypothesis) -> Hypothesis:
    steps = tuple(
        mine if mine.turn == theirs.turn and mine.turns == theirs.turns else replace(mine, is_unsure=True)
        for mine, theirs in zip(best.steps, other.steps, strict=True)
    )
    return replace(best, steps=steps)
