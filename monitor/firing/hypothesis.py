"""One reading of which turn each sighting is, and what it costs to believe the next step.

Costs are negative log-likelihoods up to a constant, set from what engines do: speed changes are common and small, one
missing answer is rarer, a stray answer rarer still, and each further miss in a row is likely once there is one.
"""

from dataclasses import dataclass, replace
from math import exp, log, log1p

from monitor.firing.crew import Crew
from monitor.firing.pairing import Sighting

_PACE_SPREAD = 0.05
"""Relative change of pace between turns that costs nothing to speak of: jitter, and steps of the ignition advance."""
_FIRST_MISS = 6.0
_NEXT_MISS = 1.0
_MISSED_AGAIN = 0.5
"""A miss of one that missed its last turn too: what is dead stays dead."""
_UNCALLED = 1.0
"""More for a missed turn whose control is connected: call and answer are both gone."""
_UNSEEN_CALL = 6.0
"""An answer in a turn whose control is connected but showed no call."""
_EXTRA = 10.0
"""An answer that nobody called for."""
_FIRST_REPEAT = 2.5
_USUAL_REPEAT = 0.1
"""A further answer shortly behind one, at a low speed: where sparks are not repeated as a habit, and where they are."""
_EXTRA_WITHIN = 0.85
"""Part of a turn after which a sighting can no longer be an extra one."""
_REPEAT_WITHIN_DEG = 35.0
_HABITUAL_WITHIN_DEG = 8.0
"""Sparks are repeated within about 30 degrees of crank (public engine-control tables), and some jitter; where it is the
habit a little later still, for the turn before may have come early by a step of the advance."""
_HABIT_TURNS = 6.0
_SLOPE_MOST = 0.3
_PLAIN = 0.06
"""A sighting that comes within this part of a turn of its time is the next turn: nothing else could compete."""
_FURTHEST = 4
"""Readings tried on either side of the likeliest number of turns."""


@dataclass(frozen=True, slots=True)
class Step:
    """One sighting as read: `turn` it belongs to, how many turns on from the one before; 0 for an extra sighting."""

    turn: int
    turns: int
    is_unsure: bool = False


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A reading up to the latest sighting.

    `pace` is ticks per mean turn, `slope` its smoothed logarithmic change per turn. While `is_anchored` is False
    nothing has told yet which cylinder turn 0 is. `steps` are the sightings not yet committed. `dead` are the places
    that missed their last turn; `habit` is the share of late turns in which the spark was repeated.
    """

    turn: int
    tick: int
    pace: float
    is_anchored: bool
    cost: float
    steps: tuple[Step, ...]
    slope: float = 0.0
    dead: frozenset[int] = frozenset()
    habit: float = 0.0
    is_repeated: bool = False

    def after(self, committed: int) -> "Hypothesis":
        """The same reading without its first `committed` steps."""
        return Hypothesis(
            self.turn,
            self.tick,
            self.pace,
            self.is_anchored,
            self.cost,
            self.steps[committed:],
            self.slope,
            self.dead,
            self.habit,
            self.is_repeated,
        )

    def extended(self, sighting: Sighting, crew: Crew) -> list["Hypothesis"]:
        """All believable readings that go on from here with this sighting."""
        places = crew.places_of(sighting.cylinders)
        if places is not None and not self.is_anchored:
            return [one for place in sorted(places) for one in self._anchored(place, sighting, crew)]
        expected = self.pace * exp(self.slope * 0.5)
        ratio = (sighting.tick - self.tick) / (expected * crew.rota.way(self.turn, 1))
        if abs(ratio - 1.0) < _PLAIN and (places is None or (self.turn + 1) % crew.rota.size in places):
            return [self._on(1, sighting, crew, expected)]
        readings = []
        if ratio < _EXTRA_WITHIN and (places is None or self.turn % crew.rota.size in places):
            within_deg = _REPEAT_WITHIN_DEG + _HABITUAL_WITHIN_DEG * self.habit
            may_repeat = (
                sighting.call is None
                and self.pace > crew.repeat_pace
                and ratio * crew.rota.turn_deg * crew.rota.way(self.turn, 1) < within_deg
            )
            readings.append(self._repeat() if may_repeat else self._extra())
            if may_repeat and self.habit > 0.5:
                return readings
        turns = self._turns((sighting.tick - self.tick) / expected, places, crew)
        return [*readings, *(self._on(n, sighting, crew, expected) for n in turns)]

    def _anchored(self, place: int, sighting: Sighting, crew: Crew) -> list["Hypothesis"]:
        """Number the turns anew so that this sighting falls on its place, once for each way to get there."""
        size = crew.rota.size
        free = Sighting(sighting.tick, frozenset().union(*crew.rota.places), sighting.call, sighting.answer)
        return [one.renumbered((place - one.turn) % size, size) for one in self.extended(free, crew)]

    def renumbered(self, shift: int, size: int) -> "Hypothesis":
        """The same reading with every turn `shift` later, and so named."""
        steps = tuple(Step(step.turn + shift, step.turns, step.is_unsure) for step in self.steps)
        dead = frozenset((place + shift) % size for place in self.dead)
        return replace(self, turn=self.turn + shift, is_anchored=True, steps=steps, dead=dead)

    def _turns(self, ratio: float, places: frozenset[int] | None, crew: Crew) -> list[int]:
        """Numbers of turns that may have passed in `ratio` mean turns; with known places the two likeliest."""
        size = crew.rota.size
        middle = max(1, round(ratio))
        if places is None:
            least, most = max(1, middle - _FURTHEST, int(ratio * 0.55)), min(middle + _FURTHEST, int(ratio * 1.5) + 1)
            return list(range(least, most + 1))
        fits = [n for n in range(max(1, middle - size), middle + size + 1) if (self.turn + n) % size in places]
        fits.sort(key=lambda n: abs(log(crew.rota.way(self.turn, n) / max(ratio, 1e-3))))
        return fits[:2]

    def _on(self, turns: int, sighting: Sighting, crew: Crew, expected: float) -> "Hypothesis":
        """Read the sighting as `turns` turns on."""
        rota, turn = crew.rota, self.turn + turns
        place = turn % rota.size
        pace = max(sighting.tick - self.tick, 1) / rota.way(self.turn, turns)
        cost = self.cost + _pace_cost(log(pace / expected))
        dead = self.dead - {place} if place in self.dead else self.dead
        if turns > 1:
            missed = [n % rota.size for n in range(self.turn + 1, turn)][: 2 * rota.size]
            cost += self._miss_cost(missed, crew)
            dead = dead.union(missed) - {place}
        if sighting.call is None and self.is_anchored and place in crew.called_places:
            cost += _UNSEEN_CALL
        slope = 0.5 * self.slope + 0.5 * log(pace / self.pace) / turns
        return Hypothesis(
            turn,
            sighting.tick,
            pace,
            self.is_anchored,
            cost,
            (*self.steps, Step(turn, turns)),
            min(max(slope, -_SLOPE_MOST), _SLOPE_MOST),
            dead,
            self.habit + (self.is_repeated - self.habit) / _HABIT_TURNS,
        )

    def _miss_cost(self, missed: list[int], crew: Crew) -> float:
        """Cost of the turns between, as far as a wire could have shown them."""
        fresh = [place for place in missed if place not in self.dead]
        if self.is_anchored:
            fresh = [place for place in fresh if place in crew.seen_places]
        cost = _MISSED_AGAIN * (len(missed) - len(fresh))
        if fresh:
            cost += _FIRST_MISS + _NEXT_MISS * (len(fresh) - 1)
        if self.is_anchored:
            cost += _UNCALLED * sum(place in crew.called_places for place in fresh)
        return cost

    def _extra(self) -> "Hypothesis":
        """Read the sighting as an answer that nobody called for."""
        return replace(self, cost=self.cost + _EXTRA, steps=(*self.steps, Step(self.turn, 0)))

    def _repeat(self) -> "Hypothesis":
        """Read the sighting as a repeated spark of the turn before."""
        cost = self.cost + _USUAL_REPEAT + (_FIRST_REPEAT - _USUAL_REPEAT) * (1.0 - self.habit)
        return replace(self, cost=cost, steps=(*self.steps, Step(self.turn, 0)), is_repeated=True)


def _pace_cost(change: float) -> float:
    """Cost of a logarithmic change of pace: quadratic while small, then nearly flat, for engines do race and stall."""
    return 2.0 * log1p((change / _PACE_SPREAD) ** 2)
