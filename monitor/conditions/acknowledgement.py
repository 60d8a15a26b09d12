"""The acknowledgement line: who did not answer, and whether the line itself is at fault."""

from monitor.firing.records import Firing, Outcome
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity
from monitor.setup import Limits

_LEAST_TURNS = 2
"""Unanswered turns that make a line silent: where one coil alone is on it, a single one is that coil's miss."""


class AcknowledgementWatch:
    """Missing answers by cylinder; a silent, held or wrongly resting line."""

    def __init__(
        self, book: FlagBook, limits: Limits, answering: frozenset[int], sparks_per_cycle: int, *, sees_calls: bool
    ) -> None:
        """`answering` cylinders have a line connected; `sees_calls` says whether any control is."""
        self._book = book
        self._limits = limits
        self._answering = answering
        self._misses: dict[int, list[float]] = {}
        turns = limits.acknowledgement_silent_cycles * len(answering) * sparks_per_cycle
        self._silent_turns = max(turns, _LEAST_TURNS)
        self._unanswered: list[float] = []
        self._sees_calls = sees_calls
        self._held: dict[str, float] = {}

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        if firing.called and any(firing.time_s > start_s for start_s in self._held.values()):
            self._raise_held()
        if firing.cylinder not in self._answering:
            return
        if firing.outcome is Outcome.UNACKNOWLEDGED:
            self._miss(firing)
        elif firing.outcome is Outcome.ACKNOWLEDGED:
            self._misses.pop(firing.cylinder, None)
            self._book.clear(Kind.MISSING_ACKNOWLEDGEMENT, firing.time_s, cylinder=firing.cylinder)
            self._unanswered.clear()
            self._book.clear(Kind.ACKNOWLEDGEMENT_SILENT, firing.time_s)

    def _miss(self, firing: Firing) -> None:
        run = self._misses.setdefault(firing.cylinder, [])
        run.append(firing.time_s)
        if len(run) >= self._limits.missing_acknowledgements:
            detail = "called, no answer" if firing.called else "no answer in its turn; its call is not connected"
            for _ in run:
                self._book.note(Kind.MISSING_ACKNOWLEDGEMENT, Severity.FAULT, run[0], detail, cylinder=firing.cylinder)
            run.clear()
        self._unanswered.append(firing.time_s)
        if len(self._unanswered) >= self._silent_turns:
            detail = f"nobody answers from {self._unanswered[0]:.3f} s on, though calls go on"
            if firing.called or self._book.is_open(Kind.ACKNOWLEDGEMENT_SILENT):
                self._book.note(Kind.ACKNOWLEDGEMENT_SILENT, Severity.FAULT, self._unanswered[0], detail)
            del self._unanswered[: -self._silent_turns]

    def held_low(self, start_s: float, end_s: float | None, line: str) -> None:
        """Note a line that stays low longer than any answer lasts, or that it came back.

        It is a fault once a call goes unheard: when the engine is switched off the line falls too, and nobody calls.
        """
        if end_s is None:
            self._held[line] = start_s
            if not self._sees_calls:
                self._raise_held()
        else:
            self._held.pop(line, None)
            self._book.clear(Kind.ACKNOWLEDGEMENT_HELD_LOW, end_s, input=line)

    def _raise_held(self) -> None:
        for line, start_s in self._held.items():
            detail = f"the line on {line} is low for more than {self._limits.acknowledgement_held_low_ms:g} ms"
            self._book.note(Kind.ACKNOWLEDGEMENT_HELD_LOW, Severity.FAULT, start_s, detail, input=line)
        self._held.clear()
