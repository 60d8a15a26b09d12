"""The latest turns of each cylinder, pieced together from tallies."""

from collections import deque

from monitor.firing.records import Outcome
from monitor.publish.messages import CylinderPart
from monitor.publish.outcomes import outcomes
from monitor.snapshot import Counts, CylinderView

_RECENT = 400
"""As many as a snapshot of the analysis has."""


class Roll:
    """The latest turns of each cylinder, pieced together from tallies."""

    def __init__(self) -> None:
        self._turns: dict[int, int] = {}
        self._recent: dict[int, deque[Outcome]] = {}

    def take(self, part: CylinderPart) -> None:
        """Add what is new since the last tally; where that is more than it tells of, begin anew."""
        latest = outcomes(part.recent)
        recent = self._recent.setdefault(part.cylinder, deque(maxlen=_RECENT))
        new = part.turns - self._turns.get(part.cylinder, 0)
        self._turns[part.cylinder] = part.turns
        if not 0 <= new <= len(latest):
            recent.clear()
            new = len(latest)
        recent.extend(latest[len(latest) - new :])

    def view(self, part: CylinderPart) -> CylinderView:
        """One cylinder as a screen shows it."""
        counts = Counts(part.turns, part.called, part.answered, part.unanswered, part.not_called, part.not_observed)
        recent = tuple(self._recent.get(part.cylinder, ()))
        return CylinderView(
            part.cylinder, counts, recent, part.dwell_ms, part.acknowledgement_delay_ms, part.supply_sag_v
        )
