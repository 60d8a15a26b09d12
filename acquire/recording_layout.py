"""How a recording's sample files are named and what stands in them: known to writer and reader alike."""

import re
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from acquire.block import StreamInfo

FIRST_INDEX_KEY = b"first_index"
"""Key, in each batch's custom metadata, of its first sample's index (decimal digits)."""

_NAME = re.compile(r"samples-(\d{3,9})\.arrow")


@dataclass(frozen=True, slots=True)
class Stretch:
    """A sample file that is not written any more: samples `first_index` to before `end_index`, gaps among them."""

    path: Path
    first_index: int
    end_index: int
    file_bytes: int


def sample_file(folder: Path, number: int) -> Path:
    """Name sample file `number`, counted from 1."""
    return folder / f"samples-{number:03d}.arrow"


def sample_files(folder: Path) -> list[Path]:
    """List all sample files of a recording in order."""
    return [path for _, path in _numbered(folder)]


def last_number(folder: Path) -> int:
    """Highest number of a sample file; 0 where there is none."""
    return max((number for number, _ in _numbered(folder)), default=0)


def _numbered(folder: Path) -> list[tuple[int, Path]]:
    return sorted((int(match[1]), path) for path in folder.iterdir() if (match := _NAME.fullmatch(path.name)))


def bytes_per_s(info: StreamInfo) -> float:
    """Bytes of samples that a stream brings each second, all inputs together."""
    return info.sample_rate_hz * len(info.channels) * info.dtype.itemsize


def schema_for(info: StreamInfo) -> pa.Schema:
    """One integer column per input, in order of the inputs."""
    kind = pa.from_numpy_dtype(info.dtype)
    return pa.schema([pa.field(channel.input, kind, nullable=False) for channel in info.channels])
