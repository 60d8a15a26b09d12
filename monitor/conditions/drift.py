"""A coil whose answers change shape before they go missing."""

from collections import deque
from statistics import median

from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity

_ANSWERS = 12
"""Answers of one cylinder that are judged together: one alone may be off for many reasons."""
_EVERY = 4
"""Answers of one cylinder between two looks: it drifts slower than that."""
_PART = 0.25
"""Fraction by which a cylinder's answers must differ from the others'."""
_LEAST_MS = 0.1


class DriftWatch:
    """Compares the width of each cylinder's answers with the width of all others'.

    Delay and width grow together as a coil's own feed falls (RL charging, between two currents), and the width is known
    for every cylinder, its control connected or not.
    """

    def __init__(self, book: FlagBook) -> None:
        self._book = book
        self._widths: dict[int, deque[float]] = {}
        self._seen: dict[int, int] = {}

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        if firing.acknowledgement_width_ms is None:
            return
        own = self._widths.setdefault(firing.cylinder, deque(maxlen=_ANSWERS))
        own.append(firing.acknowledgement_width_ms)
        seen = self._seen[firing.cylinder] = self._seen.get(firing.cylinder, 0) + 1
        if seen % _EVERY:
            return
        others = [widths for cylinder, widths in self._widths.items() if cylinder != firing.cylinder]
        if len(own) < _ANSWERS or not others or any(len(widths) < _ANSWERS for widths in others):
            return
        usual_ms = median([width for widths in others for width in widths])
        own_ms = median(own)
        off_ms = abs(own_ms - usual_ms)
        if off_ms > max(_PART * usual_ms, _LEAST_MS):
            detail = f"answers last {own_ms:.2f} ms, the others' {usual_ms:.2f} ms"
            kind = Kind.ACKNOWLEDGEMENT_DRIFT
            self._book.note(kind, Severity.INFO, firing.time_s, detail, cylinder=firing.cylinder)
        elif off_ms < max(_PART * usual_ms, _LEAST_MS) / 2:
            self._book.clear(Kind.ACKNOWLEDGEMENT_DRIFT, firing.time_s, cylinder=firing.cylinder)
