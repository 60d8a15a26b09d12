"""The engine running: turns become calls, currents, answers and truth, in the order of time."""

import heapq
import itertools
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from drivers.simulated.circuit import Charge, Circuit
from drivers.simulated.crank import Crank
from drivers.simulated.draws import uniform
from drivers.simulated.faults import FAIL_SAFE, FaultBook, Window
from drivers.simulated.model import AT_SPARK, EngineModel
from drivers.simulated.schedule import Schedule, Turn
from drivers.simulated.traces import Pulse, Traces
from drivers.simulated.truth import TrueEvent
from drivers.simulated.verdict import Answer, Verdicts

CONTROL_HIGH_V = 4.8

AHEAD_S = 0.02
"""More than any charge and its answer last: a moment can be drawn once events this far beyond it are done."""

_REPEAT_RPM, _REPEAT_DEG, _REPEAT_CHARGE_S, _REPEAT_SPARK_S = 1500.0, 30.0, 2e-3, 1e-3
"""Extra sparks at low speed: 1 ms of spark, then 2 ms of charge, within 30 degrees (public engine-control tables)."""


class Running:
    """Advances event by event and fills `traces` and the verdicts."""

    def __init__(self, model: EngineModel, crank: Crank, book: FaultBook, verdicts: Verdicts, seed: int) -> None:
        self._model, self._crank, self._book, self._verdicts, self._seed = model, crank, book, verdicts, seed
        self._schedule = Schedule(model, crank, book, seed)
        self._circuit = Circuit(model, book)
        self._events: list[tuple[float, int, Callable[[], None]]] = []
        self._tickets = itertools.count()
        self._patience = min((f.number for f in book.faults if f.kind == FAIL_SAFE), default=math.inf)
        self._misses: Counter[int] = Counter()
        self._given_up: set[int] = set()
        self._cut: tuple[float, float] | None = None
        self.traces = Traces()
        for window in book.all():
            self._note_window(window)
        for mark_s in crank.scenario.marks_s:
            verdicts.events.append(TrueEvent("mark", None, mark_s, mark_s))

    def until(self, time_s: float) -> None:
        """Do everything up to `time_s`, and enough beyond it that it can be drawn."""
        end_s = time_s + AHEAD_S
        turns, windows = self._schedule.until(end_s + AHEAD_S)
        for turn in turns:
            self._plan(turn)
        for window in windows:
            self._note_window(window)
        while self._events and self._events[0][0] < end_s:
            at_s, _, act = heapq.heappop(self._events)
            self._pass_time(at_s)
            act()

    def forget(self, before_s: float) -> None:
        """Drop what ended before `before_s`."""
        self.traces.forget(before_s)
        self._book.forget(before_s - 1.0)

    def all_cut(self) -> TrueEvent | None:
        """Give the cut that is going on, if one is."""
        return None if self._cut is None else TrueEvent("all-cut", None, *self._cut)

    def _at(self, time_s: float, act: Callable[[], None]) -> None:
        heapq.heappush(self._events, (time_s, next(self._tickets), act))

    def _pass_time(self, time_s: float) -> None:
        segment = self._circuit.advance(time_s, self._crank.volts_at)
        if segment is not None:
            self.traces.segments.append(segment)

    def _note_window(self, window: Window) -> None:
        self._verdicts.events.append(
            TrueEvent(window.kind, window.cylinder, window.start_s, window.end_s, window.value)
        )
        for edge_s in (window.start_s, window.end_s):
            if self._circuit.time_s < edge_s < math.inf:
                self._at(edge_s, lambda: None)

    def _plan(self, turn: Turn) -> None:
        if not turn.fired:
            self._at(turn.spark_s, lambda: self._skip(turn))
            return
        if "dwell" in turn.faults:
            turn = replace(turn, dwell_s=turn.dwell_s * turn.faults["dwell"].number)
        self._at(turn.spark_s - turn.dwell_s, lambda: self._call(turn))
        self._disturb(turn)

    def _disturb(self, turn: Turn) -> None:
        """Stray answers and glitches near this turn, clear of the answers that belong here."""
        if not turn.faults:
            return
        place = uniform(self._seed, 30, np.array([turn.number, -1 - turn.number])).tolist()
        stray, glitch = turn.faults.get("stray-answer"), turn.faults.get("glitch")
        if stray is not None:
            start_s = turn.spark_s + (0.4 + 0.2 * place[0]) * turn.interval_s
            pulse = Pulse(turn.line or 0, start_s, start_s + stray.number, self._low_v(0.0, start_s))
            self.traces.pulls.append(pulse)
            self._verdicts.events.append(TrueEvent("stray-answer", None, pulse.start_s, pulse.end_s))
        if glitch is not None:
            start_s = turn.spark_s + place[0] * turn.interval_s
            lead = int(place[1] * 1000) if glitch.cylinder is None else -glitch.cylinder
            self.traces.glitches.append(Pulse(lead, start_s, start_s + glitch.number))
            self._verdicts.events.append(TrueEvent("glitch", glitch.cylinder, start_s, start_s + glitch.number))

    def _skip(self, turn: Turn) -> None:
        self._cut = (turn.spark_s if self._cut is None else self._cut[0], turn.spark_s)

    def _call(self, turn: Turn) -> None:
        if self._cut is not None:
            self._verdicts.events.append(TrueEvent("all-cut", None, *self._cut))
            self._cut = None
        if turn.coil in self._given_up or "no-call" in turn.faults:
            self._at(turn.spark_s, lambda: self._verdicts.uncalled(turn))
            self._inject(turn)
            return
        no_answer = turn.faults.get("no-answer")
        switched = no_answer is None or no_answer.value != "coil"
        self._start(Charge(turn, turn.spark_s - turn.dwell_s, turn.spark_s, switched=switched))

    def _start(self, charge: Charge) -> None:
        if charge.switched:
            self._circuit.switch_on(charge)
        self._at(charge.cut_s, lambda: self._finish(charge))

    def _finish(self, charge: Charge) -> None:
        self._circuit.switch_off(charge)
        weak = charge.turn.faults.get("weak-control")
        high_v = weak.number if weak else CONTROL_HIGH_V
        self.traces.calls.append(Pulse(charge.turn.coil, charge.rise_s, charge.cut_s, high_v))
        answers = [] if "no-answer" in charge.turn.faults else self._answers(charge)
        line = charge.turn.line
        seen = merged = False
        for start_s, end_s in answers:
            if line is not None and not self._severed(charge.turn.coil, start_s):
                merged = merged or self._pulled(line, start_s)
                self._pull(charge, line, start_s, end_s)
                seen = seen or not self._hidden(line, start_s)
        repeats = self._repeat(charge)
        if charge.repeat == 0:
            self._count(charge, seen)
            self._verdicts.called(charge, Answer(answers, seen, merged), repeats)
            self._inject(charge.turn)

    def _answers(self, charge: Charge) -> list[tuple[float, float]]:
        answer = self._model.acknowledgement
        if answer.timing != AT_SPARK:
            return [(start, end) for start, end in charge.pulls if start is not None and end is not None]
        if charge.current_a < answer.low_a:
            return []
        return [(charge.cut_s + answer.delay_s, charge.cut_s + answer.delay_s + answer.width_s)]

    def _pull(self, charge: Charge, line: int, start_s: float, end_s: float) -> None:
        weak = charge.turn.faults.get("weak-pull-down")
        self.traces.pulls.append(Pulse(line, start_s, end_s, self._low_v(weak.number if weak else 0.0, start_s)))

    def _low_v(self, pull_down_ohm: float, time_s: float) -> float:
        pull_up_ohm = max(
            (w.number for w in self._book.at("weak-pull-up", time_s)), default=self._model.line.pull_up_ohm
        )
        return self._model.line.low_v(pull_up_ohm, pull_down_ohm)

    def _severed(self, coil: int, time_s: float) -> bool:
        return any(w.cylinder in (None, coil) for w in self._book.at("line-open", time_s))

    def _pulled(self, line: int, time_s: float) -> bool:
        return any(p.place == line and p.start_s <= time_s < p.end_s for p in self.traces.pulls)

    def _hidden(self, line: int, time_s: float) -> bool:
        held = self._book.at("line-held-low", time_s)
        return any(w.cylinder is None or self._model.line_of(w.cylinder) == line for w in held)

    def _repeat(self, charge: Charge) -> int:
        """Begin the next extra spark, if one is due; how many this turn gets in all."""
        turn = charge.turn
        room_s = _REPEAT_DEG / (6.0 * turn.rpm)
        fit = int(room_s / (_REPEAT_CHARGE_S + _REPEAT_SPARK_S)) if turn.rpm < _REPEAT_RPM else 0
        repeats = min(fit, self._model.repeated_sparks)
        if charge.repeat < repeats:
            rise_s = charge.cut_s + _REPEAT_SPARK_S
            again = Charge(turn, rise_s, rise_s + _REPEAT_CHARGE_S, charge.repeat + 1, charge.switched)
            self._at(rise_s, lambda: self._start(again))
        return repeats

    def _count(self, charge: Charge, seen: bool) -> None:
        """Keep the controller's own watch over its coils."""
        self._misses[charge.turn.coil] = 0 if seen else self._misses[charge.turn.coil] + 1
        if self._misses[charge.turn.coil] >= self._patience:
            self._given_up.add(charge.turn.coil)
            self._verdicts.events.append(TrueEvent(FAIL_SAFE, charge.turn.cylinder, charge.cut_s, math.inf))

    def _inject(self, turn: Turn) -> None:
        """Fuel for this cylinder's next stroke, half a cycle on; its width is a plain line over speed."""
        if turn.fuelled and "no-injection" not in turn.faults and turn.coil not in self._given_up:
            start_s = turn.spark_s + 0.5 * turn.interval_s * self._model.cylinders
            width_s = 2.2e-3 + 0.3e-6 * turn.rpm
            self.traces.injections.append(Pulse(turn.cylinder, start_s, start_s + width_s))
