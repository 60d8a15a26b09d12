"""The controller's calls: a cylinder that is left out, or all of them at once."""

from monitor.firing.records import Firing, Outcome
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity
from monitor.setup import Limits


class ControlWatch:
    """Missing commands by cylinder, and cuts of all cylinders."""

    def __init__(self, book: FlagBook, limits: Limits) -> None:
        self._book = book
        self._limits = limits
        self._missing: dict[int, list[float]] = {}

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        if firing.outcome is Outcome.UNCOMMANDED:
            run = self._missing.setdefault(firing.cylinder, [])
            run.append(firing.time_s)
            if len(run) >= self._limits.missing_commands:
                detail = "not called in its turn, others were"
                for _ in run:
                    self._book.note(Kind.MISSING_COMMAND, Severity.FAULT, run[0], detail, cylinder=firing.cylinder)
                run.clear()
        elif firing.called:
            self._missing.pop(firing.cylinder, None)
            self._book.clear(Kind.MISSING_COMMAND, firing.time_s, cylinder=firing.cylinder)

    def cut(self, start_s: float, end_s: float | None) -> None:
        """Note that every cylinder stopped being called, or that calls came back."""
        if end_s is None:
            self._book.note(Kind.ALL_CUT, Severity.INFO, start_s, "no cylinder is called: cut or stop")
        else:
            self._book.clear(Kind.ALL_CUT, end_s)
