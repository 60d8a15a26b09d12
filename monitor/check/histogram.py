"""All samples of one input as a histogram of counts: flat memory, and the same however the blocks are cut."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo
from monitor.signal.history import Samples
from monitor.signal.scale import Scale

_BINS = 65_536
_FINEST_V = 0.005
"""At the wire: a bin of a converter with more than 16 bits is no wider, where its range is wider than 65536 bins."""


@dataclass(slots=True)
class Histogram:
    """Bin i holds the counts from first + i * width on; what lies beyond either end counts in the last bin there."""

    first: int
    width: int
    bins: NDArray[np.int64]
    least: int | None = None
    most: int | None = None

    @classmethod
    def of(cls, channel: ChannelInfo, scale: Scale) -> "Histogram":
        """Make an empty one that suits the converter: a bin a count, or 5 mV at the wire around 0 V."""
        span = channel.high_count - channel.low_count + 1
        if span <= _BINS:
            return cls(channel.low_count, 1, np.zeros(span, np.int64))
        width = max(min(-(-span // _BINS), int(_FINEST_V / abs(scale.volts_per_count))), 1)
        return cls(scale.counts(0.0) - width * _BINS // 2, width, np.zeros(_BINS, np.int64))

    def add(self, samples: Samples) -> None:
        """Count samples, at least one."""
        least, most = int(samples.min()), int(samples.max())
        self.least = least if self.least is None else min(self.least, least)
        self.most = most if self.most is None else max(self.most, most)
        places = (samples.astype(np.int64) - self.first) // self.width
        np.clip(places, 0, len(self.bins) - 1, out=places)
        self.bins += np.bincount(places, minlength=len(self.bins))

    @property
    def samples(self) -> int:
        """How many were counted."""
        return int(self.bins.sum())

    def quantile(self, share: float) -> int:
        """The count below or at which that share of the samples lies, to a bin. Needs at least one sample."""
        reached = np.cumsum(self.bins)
        place = int(np.searchsorted(reached, max(share * float(reached[-1]), 1.0)))
        middle = self.first + place * self.width + self.width // 2
        return min(max(middle, self.least or 0), self.most or 0)

    def below(self, count: int) -> int:
        """Samples below a count, to a bin."""
        place = (count - self.first) // self.width
        return int(self.bins[: max(place, 0)].sum())
