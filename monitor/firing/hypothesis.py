"""One reading of which turn each sighting is, and what it costs to believe the next step.

Costs are negative log-likelihoods up to a constant, set from what engines do: speed changes are common and small, one
missing answer is rarer, a stray answer rarer still, and each further miss in a row is likely once there is one.
"""

from dataclasses import dataclass
from math import exp, log, log1p

from monitor.firing.crew import Crew
from monitor.firing.pairing import Sighting

_PACE_SPREAD = 0.05
"""Relative change of pace between turns that costs nothing to speak of: jitter, and steps of the ignition advance."""
_FIRST_MISS = 6.0
_NEXT_MISS = 1.0
_UNCALLED = 1.0
"""More for a missed turn whose control is connected: call and answer are both gone."""
_UNSEEN_CALL = 6.0
"""An answer in a turn whose control is connected but showed no call."""
_EXTRA = 10.0
_REPEAT = 2.5
"""A further answer shortly behind one, at a speed at which repeated sparks are usual."""
_SAME_CYLINDER = 0.5
"""A further call of the very cylinder that was just called."""
_EXTRA_WITHIN = 0.85
"""Part of a turn after which a sighting can no longer be an extra one."""
_REPEAT_WITHIN = 0.58
"""Sparks are repeated within about 30 degrees of crank: half a turn of a twelve, and some jitter."""
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
    nothing has told yet which cylinder turn 0 is. `steps` are the sightings not yet committed.
    """

    turn: int
    tick: int
    pace: float
    slope: float
    is_anchored: bool
    cost: float
    steps: tuple[Step, ...]

    def after(self, committed: int) -> "Hypothesis":
        """The same reading without its first `committed` steps."""
        left = self.steps[committed:]
        return Hypothesis(self.turn, self.tick, self.pace, self.slope, self.is_anchored, self.cost, left)

    def doubted(self) -> "Hypothesis":
        """The same reading with all its steps unsure."""
        steps = tuple(Step(step.turn, step.turns, is_unsure=True) for step in self.steps)
        return Hypothesis(self.turn, self.tick, self.pace, self.slope, self.is_anchored, self.cost, steps)

    def extended(self, sighting: Sighting, crew: Crew) -> list["Hypothesis"]:
        """All believable readings that go on from here with this sighting."""
        places = crew.places_of(sighting.cylinders)
        if places is not None and not self.is_anchored:
            return self._anchored(min(places), sighting, crew)
        expected = self.pace * exp(self.slope * 0.5)
        ratio = (sighting.tick - self.tick) / (expected * crew.rota.way(self.turn, 1))
        if abs(ratio - 1.0) < _PLAIN and (places is None or (self.turn + 1) % crew.rota.size in places):
            return [self._on(1, sighting, crew, expected)]
        turns = self._turns((sighting.tick - self.tick) / expected, places, crew)
        readings = [self._on(n, sighting, crew, expected) for n in turns]
        if ratio < _EXTRA_WITHIN and (places is None or self.turn % crew.rota.size in places):
            readings.append(self._extra(ratio, named=places is not None, crew=crew))
        return readings

    def _anchored(self, place: int, sighting: Sighting, crew: Crew) -> list["Hypothesis"]:
        """Number the turns anew so that this sighting falls on its place, once for each way to get there."""
        size = crew.rota.size
        free = Sighting(sighting.tick, frozenset().union(*crew.rota.places), sighting.call, sighting.answer)
        anchored = []
        for one in self.extended(free, crew):
            shift = (place - one.turn) % size
            steps = tuple(Step(step.turn + shift, step.turns, step.is_unsure) for step in one.steps)
            anchored.append(Hypothesis(one.turn + shift, one.tick, one.pace, one.slope, True, one.cost, steps))
        return anchored

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
        pace = max(sighting.tick - self.tick, 1) / rota.way(self.turn, turns)
        cost = self.cost + _pace_cost(log(pace / expected)) + self._miss_cost(turns, crew)
        if sighting.call is None and self.is_anchored and turn % rota.size in crew.called_places:
            cost += _UNSEEN_CALL
        slope = 0.5 * self.slope + 0.5 * log(pace / self.pace) / turns
        slope = min(max(slope, -_SLOPE_MOST), _SLOPE_MOST)
        steps = (*self.steps, Step(turn, turns))
        return Hypothesis(turn, sighting.tick, pace, slope, self.is_anchored, cost, steps)

    def _miss_cost(self, turns: int, crew: Crew) -> float:
        """Cost of the turns between, as far as a wire could have shown them."""
        if turns == 1:
            return 0.0
        if not self.is_anchored:
            return _FIRST_MISS + _NEXT_MISS * (turns - 2)
        size = crew.rota.size
        places = [turn % size for turn in range(self.turn + 1, self.turn + turns)]
        missed = sum(place in crew.seen_places for place in places)
        uncalled = sum(place in crew.called_places for place in places[:size])
        return (_FIRST_MISS + _NEXT_MISS * (missed - 1) if missed else 0.0) + _UNCALLED * uncalled

    def _extra(self, ratio: float, *, named: bool, crew: Crew) -> "Hypothesis":
        """Read the sighting as belonging to the turn before: a repeated spark, or an answer nobody called for."""
        usual = self.pace > crew.repeat_pace and ratio < _REPEAT_WITHIN
        cost = (_SAME_CYLINDER if named else _REPEAT) if usual else _EXTRA
        steps = (*self.steps, Step(self.turn, 0))
        return Hypothesis(self.turn, self.tick, self.pace, self.slope, self.is_anchored, self.cost + cost, steps)


def _pace_cost(change: float) -> float:
    """Cost of a logarithmic change of pace: quadratic while small, then nearly flat, for engines do race and stall."""
    return 2.0 * log1p((change / _PACE_SPREAD) ** 2)
