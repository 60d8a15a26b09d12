"""Counts of one input against volts at the wire."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo
from monitor.signal.edges import Thresholds
from monitor.signal.history import Samples


@dataclass(frozen=True, slots=True)
class Scale:
    """volts at the wire = counts * volts_per_count + offset_v."""

    volts_per_count: float
    offset_v: float

    @classmethod
    def of(cls, info: ChannelInfo, scale: float, offset_v: float) -> "Scale":
        """Join the instrument's scale with the set-up's (volts at the wire per volt at the input, then an offset)."""
        return cls(info.volts_per_count * scale, info.offset_v * scale + offset_v)

    @property
    def is_inverted(self) -> bool:
        """Whether counts fall as the volts rise: leads swapped."""
        return self.volts_per_count < 0

    def volt(self, count: int) -> float:
        """Volts at the wire of one count."""
        return count * self.volts_per_count + self.offset_v

    def volts(self, samples: Samples) -> NDArray[np.float64]:
        """Volts at the wire, same shape."""
        return samples.astype(np.float64) * self.volts_per_count + self.offset_v

    def counts(self, volts: float) -> int:
        """Count nearest to `volts`."""
        return round((volts - self.offset_v) / self.volts_per_count)

    def thresholds(self, low_v: float, high_v: float) -> Thresholds:
        """Counts for a hysteresis from `low_v` to `high_v` with the instant midway; at least one count each way."""
        low, high = sorted((self.counts(low_v), self.counts(high_v)))
        middle = (low + high + 1) // 2
        return Thresholds(min(low, middle - 1), middle, max(high, middle), inverted=self.is_inverted)
