"""Calls and their answers brought together, one sighting for each spark that was seen in any way."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from monitor.agenda import Agenda
from monitor.firing.crew import Crew
from monitor.firing.timing import LEARNING, Seen, Timing
from monitor.signal.pulses import Pulse


@dataclass(frozen=True, slots=True)
class Call:
    """One charge of one cylinder's coil, as its control lead shows it."""

    cylinder: int
    pulse: Pulse
    is_repeat: bool = False


@dataclass(slots=True)
class Answer:
    """One low pulse on an acknowledgement line, which serves `cylinders`.

    A pulse of no length began and did not end as answers do: a call may claim it, nobody else.
    """

    row: int
    cylinders: frozenset[int]
    pulse: Pulse
    is_claimed: bool = False


@dataclass(frozen=True, slots=True)
class Sighting:
    """A spark that was called, answered, or both. `tick` is the spark, estimated where only its answer was seen.

    `is_repeat` where its charge began so soon behind the cylinder's last spark that it can only be a repeated one.
    """

    tick: int
    cylinders: frozenset[int]
    call: Pulse | None
    answer: Answer | None
    is_repeat: bool = False


@dataclass(frozen=True, slots=True)
class Reach:
    """How long things may last, in ticks."""

    longest_call: int
    longest_answer: int
    after_spark: int
    """latest start of an answer behind the spark"""
    burn: int
    """latest start of a repeated charge behind the spark; no engine is due for its next charge so soon"""

    @property
    def call_is_certain(self) -> int:
        """Behind a spark: every answer that could belong to it has ended."""
        return self.after_spark + self.longest_answer

    @property
    def answer_is_certain(self) -> int:
        """Behind the start of an answer: every call that could claim it has done so."""
        return self.longest_call + self.call_is_certain + 1

    @property
    def order_is_certain(self) -> int:
        """Behind a spark: no earlier one can still turn up."""
        return self.answer_is_certain + self.after_spark + 1


@dataclass(slots=True)
class _Held:
    """What waits until the timing is known."""

    calls: list[Call] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)


class Pairing:
    """Claims answers for calls and delivers sightings in the order of their sparks."""

    def __init__(self, agenda: Agenda, crew: Crew, timing: Timing, reach: Reach) -> None:
        self._agenda = agenda
        self._called = crew.called
        self.timing = timing
        self._reach = reach
        self._places = crew.rota.size
        self._waits = timing.mode is None and bool(crew.called & crew.answering)
        self._answers: list[Answer] = []
        self._held = _Held()
        self._learning: deque[Seen] = deque(maxlen=LEARNING)
        self._last_call: dict[int, int] = {}
        self._last_spark: dict[int, int] = {}
        self._turn: int | None = None
        self.deliver: Callable[[Sighting], None] = lambda _: None
        """Called with every sighting."""
        self.stray: Callable[[Answer], None] = lambda _: None
        """Called with every answer that nobody can have called for."""

    def call(self, cylinder: int, pulse: Pulse) -> None:
        """Take a completed call."""
        spark = self._last_spark.get(cylinder)
        self._last_spark[cylinder] = pulse.end
        call = Call(cylinder, pulse, is_repeat=spark is not None and pulse.start - spark < self._reach.burn)
        when = pulse.end + self._reach.call_is_certain
        self._agenda.at(when, (1, cylinder, pulse.start), lambda: self._settle_call(call))

    def answer(self, row: int, cylinders: frozenset[int], pulse: Pulse) -> None:
        """Take a completed low pulse from the acknowledgement line in `row`: one answer, or several run together."""
        for part in self._taken_apart(pulse):
            answer = Answer(row, cylinders, part)
            self._answers.append(answer)
            when = part.start + self._reach.answer_is_certain
            self._agenda.at(when, (2, row, part.start), partial(self._settle_answer, answer))

    def _taken_apart(self, pulse: Pulse) -> list[Pulse]:
        """Answers that overlap are one low pulse: as many as fit in turns between the first start and the last end."""
        width, over = self.timing.width, pulse.end - pulse.start - self.timing.width
        if not width or self._turn is None or over < 0.5 * min(self._turn, width):
            if pulse.end > pulse.start:
                self.timing.note_width(pulse)
            return [pulse]
        more = round(over / self._turn)
        if not more or abs(over / more - self._turn) > 0.3 * self._turn:
            self.timing.note_width(pulse)
            return [pulse]
        starts = [pulse.start + over * place // more for place in range(more + 1)]
        return [Pulse(start, start + width) for start in starts]

    @property
    def is_running_together(self) -> bool:
        """Whether answers last so long at this speed that the line need not come back between two turns."""
        return self._turn is not None and self.timing.width > 0.8 * self._turn

    def finish(self) -> None:
        """Settle what still waits for the timing, at the end of the samples."""
        self._release_held()

    def _settle_call(self, call: Call) -> None:
        self._note_turn(call)
        if not call.is_repeat:
            self.timing.note_call(call.pulse)
        if self.timing.mode is None:
            self._learn(call)
        if self._waits:
            self._held.calls.append(call)
        else:
            self._claim(call)

    def _learn(self, call: Call) -> None:
        """Try to tell the timing from the latest calls; calls wait for it, but not for ever."""
        self._learning.append(Seen(call.cylinder, call.pulse, [one.pulse for one in self._near(call)]))
        if self.timing.decide(list(self._learning)) or len(self._held.calls) >= 2 * self._places + LEARNING:
            self._waits = False
            self._release_held()

    def _settle_answer(self, answer: Answer) -> None:
        self._forget_answers(answer.pulse.start)
        if answer.is_claimed:
            return
        if not self._waits:
            self._see_answer(answer)
            return
        self._held.answers.append(answer)
        if len(self._held.answers) >= 12 * self._places and not self._held.calls:
            # The control lead shows nothing: go on without the timing.
            self._waits = False
            self._release_held()

    def _see_answer(self, answer: Answer) -> None:
        if answer.pulse.end == answer.pulse.start:
            return
        if answer.cylinders <= self._called:
            self.stray(answer)
        else:
            spark = answer.pulse.start + self.timing.spark_after_answer
            self._see(Sighting(spark, answer.cylinders, None, answer))

    def _release_held(self) -> None:
        held, self._held = self._held, _Held()
        for call in held.calls:
            self._claim(call)
        for answer in held.answers:
            if not answer.is_claimed:
                self._see_answer(answer)

    def _claim(self, call: Call) -> None:
        answer = self._best(call)
        if answer is not None:
            answer.is_claimed = True
        if answer is not None and not call.is_repeat:
            self.timing.note(call.pulse, answer.pulse)
        self._see(Sighting(call.pulse.end, frozenset((call.cylinder,)), call.pulse, answer, call.is_repeat))

    def _best(self, call: Call) -> Answer | None:
        """The answer nearest to where this call's must be; never one that fits a neighbour's turn better."""
        first, last = self.timing.window(call.pulse)
        free = [one for one in self._near(call, taken=False) if first <= one.pulse.start <= last]
        if not free or not self.timing.is_learned:
            return free[0] if free else None
        expected = self.timing.origin(call.pulse) + self.timing.delay
        best = min(free, key=lambda one: abs(one.pulse.start - expected))
        off = abs(best.pulse.start - expected)
        return best if self._turn is None or off < 0.45 * self._turn else None

    def _near(self, call: Call, *, taken: bool = True) -> list[Answer]:
        first = call.pulse.start - self._reach.after_spark
        last = call.pulse.end + self._reach.after_spark
        return [
            one
            for one in self._answers
            if first <= one.pulse.start <= last and call.cylinder in one.cylinders and (taken or not one.is_claimed)
        ]

    def _note_turn(self, call: Call) -> None:
        """Ticks of a turn from two calls of one cylinder."""
        if call.is_repeat:
            return
        before = self._last_call.get(call.cylinder)
        self._last_call[call.cylinder] = call.pulse.end
        if before is not None:
            self._turn = (call.pulse.end - before) // self._places

    def _see(self, sighting: Sighting) -> None:
        start = (sighting.call or sighting.answer.pulse).start if sighting.answer else sighting.tick
        rank = (3, min(sighting.cylinders), start)
        self._agenda.at(sighting.tick + self._reach.order_is_certain, rank, lambda: self.deliver(sighting))

    def _forget_answers(self, before: int) -> None:
        """Drop answers that no call can claim any more, unless calls still wait for the timing."""
        if not self._held.calls:
            self._answers = [one for one in self._answers if one.pulse.start > before]
