"""What a file of numpy arrays holds: signals, and the facts beside them."""

import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from acquire.errors import FormatError
from drivers.files.guard import Guard
from drivers.files.lanes import Opener, read_header

MOST_INPUTS = 64
ALL_SIGNALS = "samples"
TIMES = ("t", "time", "time_s", "t_s")


@dataclass(frozen=True, slots=True)
class Contents:
    """`signals` by label; `rate_hz` and `volts_per_count` (one value, or one an input) where the file says them."""

    signals: dict[str, Opener]
    rate_hz: float | None = None
    volts_per_count: NDArray[np.float64] | None = None


def contents_of(name: str, guard: Guard) -> Contents:
    """List what a .npy or .npz holds. Raises FormatError, OSError, or whatever damage provokes in the parsers."""
    with Path(name).open("rb") as file:
        is_single = file.read(6) == b"\x93NUMPY"
    if is_single:
        return Contents({"": partial(_held, guard, lambda: Path(name).open("rb"))})
    archive = zipfile.ZipFile(name)
    guard.hold(archive)
    arrays = {one.removesuffix(".npy"): one for one in archive.namelist() if one.endswith(".npy")}
    rate_hz = _fact(name, archive, arrays.pop("sample_rate_hz", None))
    volts_per_count = _fact(name, archive, arrays.pop("volts_per_count", None))
    if ALL_SIGNALS in arrays:
        arrays = {"": arrays[ALL_SIGNALS]}
    for label in arrays:
        if label.casefold() in TIMES:
            raise FormatError(f"{name}: {label}: stamps are not read; save sample_rate_hz in their place")
    signals: dict[str, Opener] = {
        label: partial(_held, guard, partial(archive.open, one)) for label, one in arrays.items()
    }
    return Contents(signals, None if rate_hz is None else float(rate_hz[0]), volts_per_count)


def _held(guard: Guard, opener: Callable[[], IO[bytes]]) -> IO[bytes]:
    handle = opener()
    guard.hold(handle)
    return handle


def _fact(name: str, archive: zipfile.ZipFile, member: str | None) -> NDArray[np.float64] | None:
    """Read a number, or one an input."""
    if member is None:
        return None
    with archive.open(member) as handle:
        header = read_header(handle)
        many = int(np.prod(header.shape, dtype=float))
        if header.dtype.kind not in "iuf" or not 1 <= many <= MOST_INPUTS:
            raise FormatError(f"{name}: {member}: type {header.dtype}, shape {header.shape}; give a number")
        values = np.frombuffer(handle.read(many * header.dtype.itemsize), header.dtype, many).astype(np.float64)
    if not (np.isfinite(values) & (values > 0.0)).all():
        raise FormatError(f"{name}: {member}: {values.min():g} is not possible; give a number above 0")
    return values
