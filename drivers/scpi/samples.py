"""Bytes off the wire become counts, and counts get their meaning in volts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo, Counts
from drivers.files.volts import HIGH_COUNT, LOW_COUNT, MICROVOLT, to_counts
from drivers.scpi.dialect import Data

_CODES = {"int8": "i1", "int16": "i2", "int32": "i4", "uint8": "u1", "uint16": "u2", "real32": "f4", "real64": "f8"}


@dataclass(frozen=True, slots=True)
class LinearScale:
    """volts = (count - zero_count) * volts_per_count + offset_v, of counts as they are on the wire."""

    volts_per_count: float
    zero_count: float = 0.0
    offset_v: float = 0.0


class SampleFormat:
    """How samples of so many inputs lie in the bytes of a block."""

    def __init__(self, data: Data, inputs: int) -> None:
        self._inputs, self._is_interleaved = inputs, data.layout == "interleaved"
        self._wire = np.dtype((">" if data.byte_order == "big" else "<") + _CODES[data.type])
        self._native = self._wire.newbyteorder("=")
        signed = f"i{self._wire.itemsize}" if self._wire.kind in "iu" else "i4"
        self.counts: np.dtype[np.signedinteger] = np.dtype(signed)
        """What `decode` gives: unsigned integers are moved down by half their range, real volts become microvolts."""

    def bytes_of(self, samples: int) -> int:
        """Bytes that so many samples of every input take."""
        return samples * self._inputs * self._wire.itemsize

    def decode(self, data: memoryview) -> Counts:
        """Give counts (channels, samples), a view of the same memory where that can be.

        Raises ValueError where the bytes are no whole number of samples of every input.
        """
        if len(data) % self.bytes_of(1):
            raise ValueError(f"{len(data)} bytes are no whole number of samples of {self._inputs} inputs")
        flat = np.frombuffer(data, self._wire)
        table = flat.reshape(-1, self._inputs).T if self._is_interleaved else flat.reshape(self._inputs, -1)
        if self._wire.kind == "f":
            return _microvolts(table)
        native = table if self._wire.isnative else table.astype(self._native)
        if self._wire.kind == "i":
            return native
        half = native.dtype.type(1 << (8 * native.itemsize - 1))
        moved: Counts = (native ^ half).view(self.counts)
        return moved

    def channel(self, name: str, scale: LinearScale | None) -> ChannelInfo:
        """Describe an input; `scale` is None for real volts."""
        own = f"in{name}" if name.isdigit() else name
        if scale is None:
            return ChannelInfo(own, MICROVOLT, 0.0, LOW_COUNT, HIGH_COUNT, f"input {name}")
        moved = 1 << (8 * self._wire.itemsize - 1) if self._wire.kind == "u" else 0
        offset_v = scale.offset_v + (moved - scale.zero_count) * scale.volts_per_count
        ends = np.iinfo(self.counts)
        return ChannelInfo(own, scale.volts_per_count, offset_v, int(ends.min), int(ends.max), f"input {name}")


def _microvolts(volts: NDArray[np.floating]) -> Counts:
    counts = np.empty(volts.shape, np.int32)
    to_counts(volts.astype(np.float64), 1.0 / MICROVOLT, counts)
    return counts
