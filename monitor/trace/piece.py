"""Consecutive samples of one input, or the lowest and highest of every few of them."""

from dataclasses import dataclass

from monitor.signal.history import Samples


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """`low[i]` and `high[i]` (counts) bound the samples `first + i * step` … `first + (i + 1) * step - 1`.

    With a step of 1 both are the samples themselves. The arrays may be views into memory that is used again.
    """

    first: int
    low: Samples
    high: Samples
    step: int = 1

    @property
    def end(self) -> int:
        """Index of the first sample after it."""
        return self.first + len(self.low) * self.step
