"""The binary form of numpy arrays, read as streams: header, then samples in flat memory."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import IO, Any

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from acquire.errors import FormatError

Opener = Callable[[], IO[bytes]]


@dataclass(frozen=True, slots=True)
class Header:
    """What an array's header says; `length` is the header's own, in bytes."""

    shape: tuple[int, ...]
    is_fortran: bool
    dtype: np.dtype[Any]
    length: int


@dataclass(slots=True)
class Lane:
    """Samples that lie together in the file: `width` inputs, interleaved, or one."""

    handle: IO[bytes]
    dtype: np.dtype[Any]
    width: int
    label: str

    def read(self, samples: int) -> NDArray[Any]:
        """Read the next samples, shape (width, samples). Raises EOFError where the file has fewer."""
        wanted = samples * self.width * self.dtype.itemsize
        content = self.handle.read(wanted)
        if len(content) < wanted:
            raise EOFError("the file ends there, before the array does")
        return np.frombuffer(content, self.dtype).reshape(samples, self.width).T


def read_header(handle: IO[bytes]) -> Header:
    """Read a header up to the first sample. Raises ValueError, or whatever a damaged one provokes in the parser."""
    version = npy.read_magic(handle)
    if version not in ((1, 0), (2, 0)):
        raise ValueError(f"format version {version[0]}.{version[1]} holds no plain arrays")
    read = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
    shape, is_fortran, dtype = read(handle)
    return Header(shape, is_fortran, dtype, handle.tell())


def lanes_of(name: str, label: str, header: Header, opener: Opener) -> tuple[int, list[Lane]]:
    """Open the lanes of one array: (samples, lanes). The longer axis is time. Raises FormatError."""
    shape = header.shape
    if len(shape) not in (1, 2) or 0 in shape:
        raise FormatError(f"{name}: shape {shape}: give one or two dimensions, (inputs, samples) or (samples, inputs)")
    if header.dtype.kind not in "iuf":
        raise FormatError(f"{name}: type {header.dtype}: give integers or floating point")
    if len(shape) == 2 and shape[0] == shape[1]:
        raise FormatError(f"{name}: shape {shape}: cannot tell time from inputs; make the time axis the longer one")
    inputs, samples = (1, shape[0]) if len(shape) == 1 else (min(shape), max(shape))
    time_is_last = len(shape) == 1 or shape[1] == samples
    if inputs > 1 and time_is_last == header.is_fortran:
        return samples, [_lane(label, header, opener, inputs, 0)]
    return samples, [_lane(label, header, opener, 1, first * samples) for first in range(inputs)]


def _lane(label: str, header: Header, opener: Opener, width: int, skip: int) -> Lane:
    handle = opener()
    handle.seek(header.length + skip * header.dtype.itemsize)
    return Lane(handle, header.dtype, width, label)
