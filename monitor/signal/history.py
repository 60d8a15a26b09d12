"""The latest samples of every input, so that an event can be looked at after it was understood."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.block import Counts

Samples = NDArray[np.signedinteger[Any]]
"""One input's samples: shape (samples,), a signed integer type."""


class History:
    """Keeps at least `keep` samples per input behind the newest, in one preallocated ring.

    Appending after a gap forgets everything before it: windows never span samples that were not taken.
    """

    def __init__(self, channels: int, dtype: np.dtype[np.signedinteger[Any]], keep: int, most: int) -> None:
        """`most` is the longest piece that will ever be appended at once."""
        self._size = keep + 2 * most
        self._ring = np.zeros((channels, self._size), dtype)
        self.run_start = 0
        self.end = 0

    def append(self, counts: Counts, first_index: int) -> None:
        """Take `counts` (channels, samples) that begin at sample `first_index`."""
        if first_index != self.end:
            self.run_start = first_index
        self.end = first_index + counts.shape[1]
        place = first_index % self._size
        room = min(self._size - place, counts.shape[1])
        self._ring[:, place : place + room] = counts[:, :room]
        self._ring[:, : counts.shape[1] - room] = counts[:, room:]

    def window(self, channel: int, start: int, end: int) -> Samples:
        """Samples start … end-1 of one input; shorter, perhaps empty, where they are not held. A view where it can."""
        first = max(start, self.run_start, self.end - self._size)
        length = max(min(end, self.end) - first, 0)
        place = first % self._size
        row: Samples = self._ring[channel]
        if place + length <= self._size:
            return row[place : place + length]
        return np.concatenate((row[place:], row[: place + length - self._size]))
