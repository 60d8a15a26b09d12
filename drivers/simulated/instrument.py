"""The instrument: sampling rate, inputs, and the converter from volts to counts."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo
from acquire.errors import AddressError
from drivers.simulated.draws import uniform
from drivers.simulated.signals import Signal
from drivers.simulated.waveform import Volts

_MOST_SAMPLES = 32768
_NOISE = 1 << 18
_MAINS_HZ = 50.0


@dataclass(frozen=True, slots=True)
class Instrument:
    """Sampling and converter: `bits` over each input's range.

    At the input lie `noise_v` (RMS) of noise and 50 Hz hum of the amplitude `hum_v`.
    """

    sample_rate_hz: float
    signals: tuple[Signal, ...]
    bits: int
    noise_v: float
    dtype: np.dtype[np.signedinteger[Any]]
    hum_v: float = 0.0

    def __post_init__(self) -> None:
        size = min(8 * self.dtype.itemsize, 24)
        names = [one.name for one in self.signals]
        checks = (
            (1e3 <= self.sample_rate_hz <= 1e8, f"rate={self.sample_rate_hz:g}: 1000 to 100000000 samples a second"),
            (2 <= self.bits <= size, f"bits={self.bits}: 2 to {size}"),
            (len(names) > 0 and len(set(names)) == len(names), "inputs: at least one, each once"),
            (0.0 <= self.noise_v <= 10.0, f"noise={self.noise_v:g}: 0 to 10 V"),
            (0.0 <= self.hum_v <= 10.0, f"hum={self.hum_v:g}: 0 to 10 V"),
            (all(0.0 < one.range_v <= 1e4 for one in self.signals), "range: above 0 V"),
        )
        for holds, message in checks:
            if not holds:
                raise AddressError(f"simulated engine: {message}")

    @property
    def chunk(self) -> int:
        """Samples drawn at a time: a power of two within a second.

        Chunks start at multiples of it, so what is drawn does not depend on how blocks are cut.
        """
        return min(_MOST_SAMPLES, 1 << int(math.log2(self.sample_rate_hz)))

    @property
    def half_range(self) -> int:
        """Counts from zero to either end of the range."""
        return 1 << (self.bits - 1)

    def channels(self) -> tuple[ChannelInfo, ...]:
        """Tell how to read each input."""
        half = self.half_range
        return tuple(
            ChannelInfo(f"in{i}", s.range_v / half, 0.0, -half, half - 1, s.name) for i, s in enumerate(self.signals, 1)
        )


class Converter:
    """Adds noise and rounds. The noise is a stretch of one long table, its place drawn for every input and chunk."""

    def __init__(self, instrument: Instrument, seed: int) -> None:
        self._instrument, self._seed = instrument, seed
        noise = np.random.Generator(np.random.Philox(seed)).standard_normal(_NOISE + _MOST_SAMPLES, dtype=np.float32)
        per_volt = [instrument.half_range / one.range_v for one in instrument.signals]
        tables = {v: noise * np.float32(instrument.noise_v * v) for v in set(per_volt)}
        self._noise = [tables[v] for v in per_volt]
        self._per_wire_volt = [np.float32(v / one.scale) for v, one in zip(per_volt, instrument.signals, strict=True)]

    def convert(self, volts: Volts, row: int, chunk: int, out: NDArray[np.signedinteger[Any]]) -> None:
        """Fill `out` with the counts that input `row` reads for `volts` at the wire in chunk number `chunk`."""
        half = self._instrument.half_range
        offset = int(uniform(self._seed, 40 + row, np.array([chunk]))[0] * _NOISE)
        scaled = volts * self._per_wire_volt[row]
        scaled += self._noise[row][offset : offset + len(scaled)]
        if self._instrument.hum_v > 0.0:
            scaled += self._hum(chunk * len(scaled), len(scaled)) * np.float32(
                half / self._instrument.signals[row].range_v
            )
        np.rint(scaled, out=scaled)
        np.clip(scaled, -half, half - 1, out=scaled)
        out[:] = scaled

    def _hum(self, first: int, samples: int) -> Volts:
        times_s = np.arange(first, first + samples) / self._instrument.sample_rate_hz
        return (self._instrument.hum_v * np.sin(2.0 * np.pi * _MAINS_HZ * times_s)).astype(np.float32)
