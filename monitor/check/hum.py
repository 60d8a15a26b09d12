"""Mains hum on one input: means over a millisecond, and what of them swings at 50 or 60 Hz."""

import numpy as np
from numpy.typing import NDArray

from monitor.signal.history import Samples

MAINS_HZ = (50.0, 60.0)
_MEAN_S = 1e-3
_PIECE_S = 0.2
"""Ten periods of 50 Hz and twelve of 60 Hz: neither shows in the other, and a mains a little off shows all the same."""


class HumFinder:
    """Sums of whole milliseconds at places that the sample index alone decides, so that cuts do not matter."""

    def __init__(self, sample_rate_hz: float) -> None:
        self._window = max(round(_MEAN_S * sample_rate_hz), 1)
        self._means_hz = sample_rate_hz / self._window
        self._open: tuple[int, int, int] = (-1, 0, 0)
        self._places: list[NDArray[np.int64]] = []
        self._sums: list[NDArray[np.int64]] = []

    def add(self, samples: Samples, first_index: int) -> None:
        """Take samples, at least one, from this index on."""
        numbers = np.arange(first_index // self._window, (first_index + len(samples) - 1) // self._window + 1)
        edges = np.maximum(numbers * self._window - first_index, 0)
        sums = np.add.reduceat(samples.astype(np.int64), edges)
        sizes = np.diff(np.append(edges, len(samples)))
        if self._open[0] == numbers[0]:
            sums[0] += self._open[1]
            sizes[0] += self._open[2]
        self._open = (int(numbers[-1]), int(sums[-1]), int(sizes[-1]))
        whole = sizes == self._window
        self._places.append(numbers[whole])
        self._sums.append(sums[whole])

    def strongest(self) -> tuple[float, float] | None:
        """Frequency, and counts from peak to peak in the middle one of all fifths of a second; None if none is whole.

        A = 2 |mean of x exp(-2 pi i f t)| over whole periods.
        """
        each = round(_PIECE_S * self._means_hz)
        pieces = self._pieces(each) if self._means_hz > 4 * max(MAINS_HZ) else np.empty((0, each))
        if not len(pieces):
            return None
        times_s = np.arange(each) / self._means_hz
        found = []
        for hz in MAINS_HZ:
            amplitude = 2.0 * np.abs((pieces - pieces.mean(axis=1, keepdims=True)) @ np.exp(-2j * np.pi * hz * times_s))
            found.append((float(np.median(amplitude)) * 2.0 / each, hz))
        most, hz = max(found)
        return hz, most

    def _pieces(self, each: int) -> NDArray[np.float64]:
        """Means in rows of a fifth of a second without a gap."""
        if not self._places:
            return np.empty((0, each))
        places, sums = np.concatenate(self._places), np.concatenate(self._sums)
        number, first, size = np.unique(places // each, return_index=True, return_counts=True)
        starts = first[(size == each) & (number >= 0)]
        return np.asarray(sums[starts[:, None] + np.arange(each)] / self._window)
