"""The measurement itself: samples that are missing, inputs that are out of range, readings that are in doubt."""

from monitor.firing.records import Firing
from monitor.flagbook import FlagBook
from monitor.flags import Kind, Severity

_LEAST_SAMPLES = 4.0
"""Samples that an answer must last: two may fall on its edges, and a single one is taken for a glitch."""
_LEAST_ANSWER_S = 0.5e-3
"""A short answer of a sound coil (0.6 ms at 14 V between 2 A and 4 A in 0.5 ohm and 3.75 mH, computed)."""


class MeasurementWatch:
    """Says what could not be seen."""

    def __init__(self, book: FlagBook, sample_rate_hz: float) -> None:
        self._book = book
        self._rate_hz = sample_rate_hz
        if sample_rate_hz * _LEAST_ANSWER_S < _LEAST_SAMPLES:
            self._too_slow(0.0, f"{sample_rate_hz:g} samples/s cannot show an answer of {_LEAST_ANSWER_S * 1e3:g} ms")

    def take(self, firing: Firing) -> None:
        """Look at the next entry of the roll."""
        width_ms = firing.acknowledgement_width_ms
        if width_ms is not None and width_ms * self._rate_hz < _LEAST_SAMPLES * 1e3:
            detail = f"an answer of {width_ms:.3f} ms is {width_ms / 1e3 * self._rate_hz:.1f} samples; 4 are needed"
            self._too_slow(firing.time_s, detail)

    def lost(self, start_s: float, end_s: float, samples: int) -> None:
        """Note samples that never came."""
        lasted_s = end_s - start_s
        lasted = f"{lasted_s:.1f} s" if lasted_s >= 1 else f"{lasted_s * 1e3:.3f} ms"
        detail = f"{samples:,} samples of each input are missing ({lasted})"
        self._book.once(Kind.LOST_SAMPLES, Severity.WARNING, (start_s, end_s), detail)

    def unsure(self, at_s: float) -> None:
        """Note a turn that could be read in two ways."""
        detail = "which cylinder's turn this was can be read in two ways"
        if not self._book.is_open(Kind.POSITION_LOST):
            self._book.once(Kind.POSITION_LOST, Severity.INFO, (at_s, at_s), detail)

    def named(self, at_s: float, *, is_named: bool) -> None:
        """Note whether a call has told which cylinder is which, or only the places in the order are known."""
        if is_named:
            self._book.clear(Kind.POSITION_LOST, at_s)
        elif not self._book.is_open(Kind.POSITION_LOST):
            detail = "no call seen: cylinders are told apart by their place in the order, counted from the first answer"
            self._book.note(Kind.POSITION_LOST, Severity.INFO, at_s, detail)

    def running_together(self, at_s: float, line: str) -> None:
        """Note answers that overlap into one, so that nobody can tell them apart."""
        detail = f"answers on {line} last longer than a turn at this speed and run together: not observed"
        self._book.once(Kind.POSITION_LOST, Severity.WARNING, (at_s, at_s), detail, input=line)

    def clipped(self, at_s: float, line: str) -> None:
        """Note that samples of an input stood at the end of its range."""
        detail = f"{line} reaches the end of the instrument's range: choose a wider one"
        self._book.note(Kind.CLIPPED_INPUT, Severity.WARNING, at_s, detail, input=line)

    def unclipped(self, at_s: float, line: str) -> None:
        """Note that they no longer do."""
        self._book.clear(Kind.CLIPPED_INPUT, at_s, input=line)

    def _too_slow(self, at_s: float, detail: str) -> None:
        if not self._book.is_open(Kind.SAMPLING_TOO_SLOW):
            self._book.note(Kind.SAMPLING_TOO_SLOW, Severity.WARNING, at_s, detail)
