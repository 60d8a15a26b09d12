"""Sound files as sample recordings: whatever libsndfile reads.

Full scale is 1 V at the input; the set-up's scale makes it the volts at the wire. Floating point may go beyond.
"""

from collections.abc import Iterator
from typing import Any, Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.errors import AddressError, FormatError, one_line
from drivers.address import Address
from drivers.files.guard import Guard
from drivers.files.volts import HIGH_COUNT, LOW_COUNT, MICROVOLT, to_counts

FRAMES = 1 << 17
BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
"""Bits of a sample, which libsndfile puts at the upper end of an int16 or int32."""


class SoundSource:
    """Reads one sound file. Option: rate=, in Hz, where the file's own is not the true one."""

    def __init__(self, address: Address) -> None:
        address.allow("rate")
        self._name = address.path
        self._rate_hz = address.number("rate", None, 1e-3, 1e10)
        self._guard = Guard(self._name)

    def open(self) -> StreamInfo:
        """Read the header. Raises AddressError where there is no file, FormatError where it is no sound file."""
        try:
            with open(self._name, "rb"):  # noqa: PTH123  says why it cannot be opened, which libsndfile does not
                self._file = soundfile.SoundFile(self._name)
        except OSError as error:
            raise AddressError(f"{self._name}: cannot be opened: {error.strerror or error}") from error
        except (soundfile.SoundFileError, RuntimeError, TypeError, ValueError) as error:
            raise self._error("header", error) from error
        self._guard.hold(self._file)
        self._bits = BITS.get(self._file.subtype)
        self._dtype = _read_type(self._bits)
        counts = np.dtype(np.int16) if self._dtype == "int16" else np.dtype(np.int32)
        channels = tuple(self._channel(n) for n in range(1, self._file.channels + 1))
        rate_hz = self._rate_hz or float(self._file.samplerate)
        return StreamInfo(self._name, rate_hz, channels, counts, total_samples=self._file.frames)

    def blocks(self) -> Iterator[SampleBlock]:
        """Read on to the end. Raises FormatError where the content is damaged."""
        first = 0
        try:
            while (frames := self._guard.read(self._read)) is not None and len(frames):
                yield SampleBlock(first, self._counts(frames))
                first += len(frames)
        except soundfile.SoundFileError as error:
            raise self._error(f"sample {first}", error) from error
        finally:
            self.close()

    def close(self) -> None:
        """Close the file."""
        self._guard.close()

    def _read(self) -> NDArray[Any]:
        frames: NDArray[Any] = self._file.read(FRAMES, dtype=self._dtype, always_2d=True)
        return frames

    def _counts(self, frames: NDArray[Any]) -> NDArray[Any]:
        if self._bits is not None:
            return np.ascontiguousarray(frames.T)
        counts = np.empty(frames.shape[::-1], np.int32)
        to_counts(frames.T, 1.0 / MICROVOLT, counts)
        return counts

    def _channel(self, number: int) -> ChannelInfo:
        if self._bits is None:
            return ChannelInfo(f"in{number}", MICROVOLT, low_count=LOW_COUNT, high_count=HIGH_COUNT)
        full = 2 ** (15 if self._bits <= 16 else 31)
        step = 2 * full // 2**self._bits
        return ChannelInfo(f"in{number}", 1.0 / full, low_count=-full, high_count=full - step)

    def _error(self, where: str, error: Exception) -> FormatError:
        reason = one_line(str(error).removeprefix(f"Error opening {self._name!r}: "))
        return FormatError(f"{self._name}: {where}: cannot be read as a sound file: {reason}")


def _read_type(bits: int | None) -> Literal["float64", "int16", "int32"]:
    if bits is None:
        return "float64"
    return "int16" if bits <= 16 else "int32"
