"""The measurement itself: samples that are missing, inputs that are out of range, readings that are in doubt."""

from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity


class MeasurementWatch:
    """Says what could not be seen."""

    def __init__(self, book: FlagBook) -> None:
        self._book = book

    def lost(self, start_s: float, end_s: float, samples: int) -> None:
        """Note samples that never came."""
        detail = f"{samples} samples of each input are missing ({(end_s - start_s) * 1e3:.3f} ms)"
        self._book.once(Kind.LOST_SAMPLES, Severity.WARNING, (start_s, end_s), detail)

    def unsure(self, at_s: float) -> None:
        """Note a turn that could be read in two ways."""
        detail = "which cylinder's turn this was can be read in two ways"
        self._book.once(Kind.POSITION_LOST, Severity.INFO, (at_s, at_s), detail)
