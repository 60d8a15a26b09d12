"""Arrays of samples saved by numpy: .npy, and .npz with one array a signal or a single one called `samples`.

Two-dimensional arrays may lie either way: the longer axis is time. The rate is the archive's `sample_rate_hz`, or the
address says it (`file.npy?rate=50000`). Floating point is volts, NaN a lost sample; integers need `volts_per_count`, in
the archive or the address.
"""

import zipfile
import zlib
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo, Counts, SampleBlock, StreamInfo
from acquire.errors import AddressError, CoilcallError, FormatError, one_line
from drivers.address import Address
from drivers.files.archive import MOST_INPUTS, Contents, contents_of
from drivers.files.guard import Guard
from drivers.files.lanes import Lane, lanes_of, read_header
from drivers.files.volts import HIGH_COUNT, LOW_COUNT, MICROVOLT, blocks_of, to_counts

BLOCK_SAMPLES = 1 << 16


class ArraySource:
    """Reads one .npy or .npz. Options: rate=, in Hz; volts_per_count=, for arrays of integers."""

    def __init__(self, address: Address) -> None:
        address.allow("rate", "volts_per_count")
        self._name = address.path
        self._rate_hz = address.number("rate", None, 1e-3, 1e10)
        self._volts_per_count = address.number("volts_per_count", None, 1e-12, 1e6)
        self._guard = Guard(self._name)
        self._lanes: list[Lane] = []

    def open(self) -> StreamInfo:
        """Read the headers. Raises AddressError where there is no file, FormatError where it holds no such arrays."""
        try:
            with self._guard.opening():
                return self._begin(contents_of(self._name, self._guard))
        except CoilcallError:
            raise
        except OSError as error:
            raise AddressError(f"{self._name}: cannot be opened: {error.strerror or error}") from error
        except zipfile.BadZipFile as error:
            raise self._error("header", f"neither a whole .npy nor a whole .npz: {error}") from error
        except Exception as error:  # damage provokes all kinds in the parsers of header and archive
            raise self._error("header", f"cannot be read as numpy arrays: {error}") from error

    def blocks(self) -> Iterator[SampleBlock]:
        """Read on to the end. Raises FormatError where the file ends early or is damaged."""
        try:
            for first in range(0, self._samples, BLOCK_SAMPLES):
                counts = self._read(first, min(BLOCK_SAMPLES, self._samples - first))
                if counts is None:
                    return
                yield from counts
        finally:
            self.close()

    def close(self) -> None:
        """Close the file."""
        self._guard.close()

    def _begin(self, contents: Contents) -> StreamInfo:
        lengths = {label: self._add_lanes(label, contents) for label in contents.signals}
        if len(set(lengths.values())) != 1:
            told = ", ".join(f"{label} {length}" for label, length in lengths.items()) or "none"
            raise self._error("arrays", f"need at least one, all of one length; found {told[:200]}")
        rate_hz = self._rate_hz or contents.rate_hz
        if rate_hz is None:
            raise self._error("sample_rate_hz", "not in the file, so say the rate in Hz: ?rate=50000")
        self._samples = lengths.popitem()[1]
        self._dtype = np.result_type(np.int16, *(_counts_type(lane.dtype) for lane in self._lanes))
        channels = self._channels(contents.volts_per_count)
        return StreamInfo(self._name, rate_hz, channels, self._dtype, total_samples=self._samples)

    def _add_lanes(self, label: str, contents: Contents) -> int:
        opener = contents.signals[label]
        with opener() as handle:
            header = read_header(handle)
        samples, lanes = lanes_of(f"{self._name}: {label or 'samples'}", label, header, opener)
        self._lanes += lanes
        return samples

    def _channels(self, stated: NDArray[np.float64] | None) -> tuple[ChannelInfo, ...]:
        inputs = [lane for lane in self._lanes for _ in range(lane.width)]
        if len(inputs) > MOST_INPUTS:
            raise self._error("arrays", f"{len(inputs)} inputs; {MOST_INPUTS} is the most")
        steps = np.atleast_1d(self._volts_per_count or (np.nan if stated is None else stated))
        if len(steps) not in (1, len(inputs)):
            raise self._error("volts_per_count", f"{len(steps)} values for {len(inputs)} inputs")
        steps = np.broadcast_to(steps, len(inputs))
        return tuple(self._channel(i, lane, float(steps[i])) for i, lane in enumerate(inputs))

    def _channel(self, index: int, lane: Lane, volts_per_count: float) -> ChannelInfo:
        if lane.dtype.kind == "f":
            return ChannelInfo(f"in{index + 1}", MICROVOLT, 0.0, LOW_COUNT, HIGH_COUNT, lane.label)
        if np.isnan(volts_per_count):
            raise self._error("volts_per_count", "not in the file, and integers need it: ?volts_per_count=0.001")
        low, high = max(np.iinfo(lane.dtype).min, LOW_COUNT), min(np.iinfo(lane.dtype).max, HIGH_COUNT)
        return ChannelInfo(f"in{index + 1}", volts_per_count, 0.0, int(low), int(high), lane.label)

    def _read(self, first: int, many: int) -> list[SampleBlock] | None:
        try:
            pieces = self._guard.read(lambda: [lane.read(many) for lane in self._lanes])
        except (EOFError, ValueError, zipfile.BadZipFile, zlib.error) as error:
            raise self._error(f"sample {first}", str(error)) from error
        if pieces is None:
            return None
        counts: Counts = np.empty((sum(len(piece) for piece in pieces), many), self._dtype)
        present = np.ones(many, np.bool_)
        row = 0
        for piece in pieces:
            for values in piece:
                self._convert(first, values, counts[row], present)
                row += 1
        return list(blocks_of(counts, np.arange(first, first + many), present))

    def _convert(self, first: int, values: NDArray[Any], out: Counts, present: NDArray[np.bool_]) -> None:
        if values.dtype.kind == "f":
            volts = values.astype(np.float64)
            present &= ~np.isnan(volts)
            to_counts(volts, 1.0 / MICROVOLT, out)
            return
        beyond = np.flatnonzero((values < LOW_COUNT) | (values > HIGH_COUNT))
        if len(beyond):
            raise self._error(f"sample {first + int(beyond[0])}", f"{values[beyond[0]]} is more than 32 bits hold")
        out[...] = values

    def _error(self, where: str, text: str) -> FormatError:
        return FormatError(one_line(f"{self._name}: {where}: {text}"))


def _counts_type(dtype: np.dtype[np.generic]) -> np.dtype[np.signedinteger]:
    return np.dtype(np.int16 if dtype in (np.int8, np.uint8, np.int16) else np.int32)
