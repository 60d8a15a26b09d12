"""How a recording's sample files are named and what stands in them: known to writer and reader alike."""

import re
from pathlib import Path

import pyarrow as pa

from acquire.block import StreamInfo

FIRST_INDEX_KEY = b"first_index"
"""Key, in each batch's custom metadata, of its first sample's index (decimal digits)."""

_NAME = re.compile(r"samples-(\d{3,9})\.arrow")


def sample_file(folder: Path, number: int) -> Path:
    """Name sample file `number`, counted from 1."""
    return folder / f"samples-{number:03d}.arrow"


def sample_files(folder: Path) -> list[Path]:
    """List all sample files of a recording in order."""
    found = ((int(match[1]), path) for path in folder.iterdir() if (match := _NAME.fullmatch(path.name)))
    return [path for _, path in sorted(found)]


def schema_for(info: StreamInfo) -> pa.Schema:
    """One integer column per input, in order of the inputs."""
    kind = pa.from_numpy_dtype(info.dtype)
    return pa.schema([pa.field(channel.input, kind, nullable=False) for channel in info.channels])
