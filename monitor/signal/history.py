"""The latest samples of every input, so that an event can be looked at after it was understood."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.block import Counts

Samples = NDArray[np.signedinteger[Any]]
"""One input's samples: shape (samples,), a signed integer type."""


class History:
    """Keeps at least `keep` samples per input behind the newest, in one preallocated array.

    Appending after a gap forgets everything before it: windows never span samples that were not taken.
    """

    def __init__(self, channels: int, dtype: np.dtype[np.signedinteger[Any]], keep: int, most: int) -> None:
        """`most` is the longest piece that will ever be appended at once."""
        self._keep = keep
        self._buffer = np.zeros((channels, 2 * keep + most), dtype)
        self._fill = 0
        self.run_start = 0
        self.end = 0

    def append(self, counts: Counts, first_index: int) -> None:
        """Take `counts` (channels, samples) that begin at sample `first_index`."""
        if first_index != self.end:
            self._fill = 0
            self.run_start = self.end = first_index
        samples = counts.shape[1]
        if self._fill + samples > self._buffer.shape[1]:
            kept = min(self._keep, self._fill)
            self._buffer[:, :kept] = self._buffer[:, self._fill - kept : self._fill]
            self._fill = kept
        np.copyto(self._buffer[:, self._fill : self._fill + samples], counts)
        self._fill += samples
        self.end += samples

    def window(self, channel: int, start: int, end: int) -> Samples:
        """Samples start … end-1 of one input as a view; shorter, perhaps empty, where they are not held."""
        base = self.end - self._fill
        first = max(start - base, 0)
        return self._buffer[channel, first : max(min(end - base, self._fill), first)]
