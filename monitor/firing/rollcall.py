"""The roll call: every turn becomes an entry, answered, unanswered, not called, or not observed."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from monitor.agenda import Agenda
from monitor.firing.crew import Crew
from monitor.firing.pairing import Sighting
from monitor.firing.position import Placed, Position
from monitor.firing.records import Outcome
from monitor.firing.timing import Timing
from monitor.signal.pulses import Pulse

_CUT_TURNS = 3
"""Turns in a row, not called, that are a cut of all cylinders (limiter, overrun, shift) and nobody's fault."""
_SILENT_PERIODS = 1.5
_SILENT_TURNS = 2.6
"""Periods, and turns, without a sighting after which the cut is told while it lasts."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One entry of the roll, in ticks; `tick` is the spark, or where it must have been.

    `call` and `answer` are what was seen. `called` is None where this cylinder's control is not connected.
    """

    number: int
    cylinder: int
    tick: int
    outcome: Outcome
    called: bool | None
    call: Pulse | None
    answer: Pulse | None
    pace: float
    is_named: bool


@dataclass(frozen=True, slots=True)
class Ticks:
    """Ticks a second, of the longest answer, and from a spark until its sighting comes in."""

    rate_hz: float
    longest_answer: int
    certain: int


@dataclass(frozen=True, slots=True)
class Cut:
    """No cylinder is called from `start` on; `end` is None while it lasts."""

    start: int
    end: int | None


class RollCall:
    """Turns sightings into entries. What it finds goes to the callables below, in the order of the engine's turns."""

    def __init__(self, agenda: Agenda, crew: Crew, timing: Timing, ticks: Ticks) -> None:
        self._agenda = agenda
        self._crew = crew
        self._timing = timing
        self._position = Position(crew, ticks.rate_hz)
        self._ticks = ticks
        self._lost: deque[tuple[int, int]] = deque(maxlen=64)
        self._last: Placed | None = None
        self._is_settled = False
        self._latest_tick: int | None = None
        self._recent: deque[tuple[int, int]] = deque(maxlen=crew.rota.size + 1)
        self._cut_from: int | None = None
        self._end: int | None = None
        self.on_turn: Callable[[Turn], None] = lambda _: None
        self.on_cut: Callable[[Cut], None] = lambda _: None
        self.on_extra: Callable[[Placed], None] = lambda _: None
        self.on_unsure: Callable[[Placed], None] = lambda _: None

    @property
    def pace(self) -> float | None:
        """Ticks of a mean turn over the latest period; None while the engine is silent or not yet understood."""
        return self._pace() if self._recent else None

    def lose(self, start: int, end: int) -> None:
        """Note that no samples exist from tick `start` to `end`."""
        self._lost.append((start, end))

    def look_away(self, start: int) -> None:
        """Note that from this tick on nothing can be told, though samples come."""
        self._lost.append((start, 2**62))

    def look_again(self, end: int) -> None:
        """Note that things can be told again."""
        self._lost = deque(((first, min(last, end)) for first, last in self._lost), self._lost.maxlen)

    def end_at(self, end: int) -> None:
        """Note that the samples end at this tick: who could not answer by then has had no opportunity."""
        self._end = end

    def take(self, sighting: Sighting) -> None:
        """Take the next sighting, in order."""
        if sighting.is_repeat or (self._end is not None and sighting.tick > self._end):
            return
        for placed in self._position.take(sighting):
            self._enter(placed)
        self._latest_tick = sighting.tick
        self._watch_for_silence(sighting.tick)

    def finish(self) -> None:
        """Decide what is open, at the end of the samples."""
        for placed in self._position.give_up():
            self._enter(placed)

    def _watch_for_silence(self, latest: int) -> None:
        pace = self._position.pace
        if pace is None:
            return
        patience = max(_SILENT_PERIODS * self._crew.rota.size, _SILENT_TURNS) * pace
        when = max(latest + round(patience) + self._ticks.certain, self._agenda.now + 1)
        self._agenda.at(when, (4,), lambda: self._note_silence(latest))

    def _note_silence(self, latest: int) -> None:
        is_over = self._end is not None and self._agenda.now > self._end
        if self._latest_tick != latest or is_over or self._was_lost(latest, self._agenda.now):
            return
        self.finish()
        self._recent.clear()
        self._cut_from = latest
        self.on_cut(Cut(latest, None))

    def _enter(self, placed: Placed) -> None:
        if placed.turns is None:
            # Until one is sure, nobody can say whose turns these are.
            self._is_settled = False
            self._recent.clear()
        if placed.is_unsure:
            self.on_unsure(placed)
        else:
            self._is_settled = True
        if not self._is_settled:
            return
        if placed.turns == 0:
            self.on_extra(placed)
            return
        if self._cut_from is not None:
            self.on_cut(Cut(self._cut_from, placed.sighting.tick))
            self._cut_from = None
        if self._last is not None and placed.turns is not None and placed.turns > 1 and self._recent:
            self._enter_missed(self._last, placed)
        self._recent.append((placed.turn, placed.sighting.tick))
        self._last = placed
        self._enter_seen(placed)

    def _enter_seen(self, placed: Placed) -> None:
        sighting = placed.sighting
        if not sighting.answer and self._end is not None and self._certain_at(sighting) > self._end:
            return
        pulse = sighting.answer.pulse if sighting.answer else None
        pace = self._pace() or placed.pace
        for cylinder in self._seen_at(placed.turn):
            called = sighting.call is not None if cylinder in self._crew.called else None
            outcome = self._outcome(placed, cylinder)
            named = placed.is_named
            self.on_turn(Turn(placed.turn, cylinder, sighting.tick, outcome, called, sighting.call, pulse, pace, named))

    def _outcome(self, placed: Placed, cylinder: int) -> Outcome:
        sighting = placed.sighting
        if placed.is_unsure and len(sighting.cylinders) > 1:
            return Outcome.UNOBSERVED
        if sighting.answer or cylinder not in self._crew.answering:
            return Outcome.ACKNOWLEDGED
        first = sighting.call.start if sighting.call else sighting.tick
        lost = self._was_lost(first, self._certain_at(sighting))
        return Outcome.UNOBSERVED if lost else Outcome.UNACKNOWLEDGED

    def _certain_at(self, sighting: Sighting) -> int:
        """Tick at which any answer to this call has ended."""
        begun = self._timing.window(sighting.call)[1] if sighting.call else sighting.tick
        return begun + self._ticks.longest_answer

    def _enter_missed(self, before: Placed, after: Placed) -> None:
        """Enter the turns between two sightings, which were neither called (where that shows) nor answered."""
        rota = self._crew.rota
        turns = range(after.turn - (after.turns or 1) + 1, after.turn)
        first = turns[0] - 1
        step = (after.sighting.tick - before.sighting.tick) / rota.way(first, after.turn - first)
        ticks = [before.sighting.tick + round(step * rota.way(first, n - first)) for n in turns]
        if self._is_cut(turns) and not self._was_lost(ticks[0], ticks[-1]):
            self.on_cut(Cut(before.sighting.tick, None))
            self.on_cut(Cut(before.sighting.tick, after.sighting.tick))
            return
        for turn, tick in zip(turns, ticks, strict=True):
            lost = after.is_unsure or self._was_lost(tick - self._timing.dwell, tick + round(step / 4))
            for cylinder in self._seen_at(turn):
                self._enter_one_missed((turn, cylinder, tick), self._pace() or step, lost=lost, is_named=after.is_named)

    def _enter_one_missed(self, entry: tuple[int, int, int], pace: float, *, lost: bool, is_named: bool) -> None:
        turn, cylinder, tick = entry
        connected = cylinder in self._crew.called
        outcome = Outcome.UNCOMMANDED if connected else Outcome.UNACKNOWLEDGED
        self.on_turn(
            Turn(
                number=turn,
                cylinder=cylinder,
                tick=tick,
                outcome=Outcome.UNOBSERVED if lost else outcome,
                called=False if connected and not lost else None,
                call=None,
                answer=None,
                pace=pace,
                is_named=is_named,
            )
        )

    def _seen_at(self, turn: int) -> list[int]:
        """Cylinders of this turn that any wire could show."""
        return [one for one in self._crew.rota.places[turn % self._crew.rota.size] if one in self._crew.seen]

    def _is_cut(self, turns: range) -> bool:
        """Whether so many turns in a row without call or answer are a cut of all cylinders.

        Where some of their controls are connected, a few in a row will do; where none is, a whole period must pass.
        """
        size = self._crew.rota.size
        seen = [turn for turn in turns if turn % size in self._crew.seen_places]
        if any(turn % size in self._crew.called_places for turn in seen):
            return len(seen) >= min(_CUT_TURNS, max(size, 2))
        return len(turns) >= max(size, 2)

    def _pace(self) -> float | None:
        """Ticks of a mean turn, over the latest period."""
        if len(self._recent) < 2:
            return None
        (first, start), (last, end) = self._recent[0], self._recent[-1]
        way = self._crew.rota.way(first, last - first)
        return (end - start) / way if way > 0 else None

    def saw_all(self, start: int, end: int) -> bool:
        """Whether every sample from tick `start` to `end` was there."""
        return not self._was_lost(start, end) and (self._end is None or end <= self._end)

    def _was_lost(self, start: int, end: int) -> bool:
        return any(gap_start < end and start < gap_end for gap_start, gap_end in self._lost)
