"""What an observer of the connected inputs could know of each turn, and what it ought to say."""

from collections import deque
from dataclasses import dataclass

from drivers.simulated.circuit import Charge
from drivers.simulated.faults import FaultBook
from drivers.simulated.model import EngineModel
from drivers.simulated.schedule import Turn
from drivers.simulated.signals import Signal
from drivers.simulated.truth import (
    ACKNOWLEDGED,
    UNACKNOWLEDGED,
    UNCOMMANDED,
    UNOBSERVED,
    TrueEvent,
    TrueFiring,
)

_MARGIN_S = 0.2e-3


@dataclass(frozen=True, slots=True)
class Answer:
    """A coil's pulls in one call; whether one began visibly on the line, and whether under another coil's pull."""

    pulls: list[tuple[float, float]]
    seen: bool = False
    merged: bool = False


NO_ANSWER = Answer([])


class Verdicts:
    """Collects the truth. `keep` bounds it; None keeps all."""

    def __init__(
        self, model: EngineModel, book: FaultBook, signals: tuple[Signal, ...], end_s: float, keep: int | None
    ) -> None:
        self._book, self._end_s = book, end_s
        self._controls = {model.coil_of(s.number) for s in signals if s.role == "control"}
        self._lines = {s.number for s in signals if s.role == "acknowledgement"}
        self.firings: deque[TrueFiring] = deque(maxlen=keep)
        self.events: deque[TrueEvent] = deque(maxlen=keep)

    def uncalled(self, turn: Turn) -> None:
        """Write a turn in which the controller did not call."""
        self._write(turn, None, NO_ANSWER, 0)

    def called(self, charge: Charge, answer: Answer, repeats: int) -> None:
        """Write a call that has ended."""
        self._write(charge.turn, charge, answer, repeats)

    def _write(self, turn: Turn, charge: Charge | None, answer: Answer, repeats: int) -> None:
        rise_s = turn.spark_s - turn.dwell_s
        start_s, end_s = answer.pulls[0] if answer.pulls else (None, None)
        last_s = max(turn.spark_s, end_s or 0.0)
        self.firings.append(
            TrueFiring(
                turn=turn.number,
                cylinder=turn.cylinder,
                cylinders=turn.sharers,
                rise_s=rise_s,
                spark_s=turn.spark_s,
                dwell_s=turn.dwell_s,
                called=charge is not None,
                answered=answer.seen,
                answer_start_s=start_s,
                answer_end_s=end_s,
                merged=answer.merged,
                current_a=charge.current_a if charge else 0.0,
                battery_v=turn.battery_v,
                rpm=turn.rpm,
                repeats=repeats,
                expected=self._expected(turn, charge is not None, answer.seen, rise_s - _MARGIN_S, last_s + _MARGIN_S),
            )
        )

    def _expected(self, turn: Turn, called: bool, seen: bool, start_s: float, end_s: float) -> str | None:
        controlled = turn.coil in self._controls
        lined = turn.line in self._lines
        if start_s < 0.0 or end_s > self._end_s or not (controlled or lined):
            return None
        if any(w.start_s < end_s and w.end_s > start_s for w in self._book.of("lost-samples")):
            return UNOBSERVED
        if not called and controlled:
            return UNCOMMANDED
        if not lined:
            return None
        return ACKNOWLEDGED if seen else UNACKNOWLEDGED
