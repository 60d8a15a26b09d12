"""Samples at the end of the converter's range: the true value is beyond what they say."""

import numpy as np

from monitor.signal.history import Samples

_SAMPLES = 3
"""A single sample at the end of the range may be a spark's glitch; this many within a stretch are the range."""


class ClippingFinder:
    """Tells in which stretches of `stretch` samples, counted from the recording's first, an input was clipped."""

    def __init__(self, low_count: int, high_count: int, stretch: int) -> None:
        self._low = low_count
        self._high = high_count
        self._stretch = stretch
        self._under_way = (-1, 0)

    def find(self, samples: Samples, start: int) -> list[int]:
        """Ends (sample indexes) of stretches in which `samples`, beginning at index `start`, complete the evidence."""
        if not samples.size or (samples.max() < self._high and samples.min() > self._low):
            return []
        places = np.flatnonzero((samples >= self._high) | (samples <= self._low)) + start
        stretches, counts = np.unique(places // self._stretch, return_counts=True)
        found = []
        for stretch, count in zip(stretches.tolist(), counts.tolist(), strict=True):
            before = self._under_way[1] if self._under_way[0] == stretch else 0
            self._under_way = (stretch, before + count)
            if before < _SAMPLES <= before + count:
                found.append((stretch + 1) * self._stretch)
        return found
