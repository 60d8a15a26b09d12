"""recording.toml: what must be known to read a recording's samples."""

import os
import platform
import tomllib
from importlib.metadata import version
from pathlib import Path
from typing import Annotated, Literal, Self

import numpy as np
import tomli_w
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, FiniteFloat, ValidationError, model_validator

from acquire.block import ChannelInfo, StreamInfo, difference
from acquire.errors import AddressError, FormatError, one_line

HEADER_NAME = "recording.toml"
FORMAT = "coilcall.recording/1"


class _Channel(BaseModel):
    """One input; the fields are those of ChannelInfo."""

    model_config = ConfigDict(extra="forbid", strict=True, from_attributes=True)

    input: Annotated[str, Field(min_length=1)]
    volts_per_count: FiniteFloat
    offset_v: FiniteFloat
    low_count: int
    high_count: int
    label: str


class _Header(BaseModel):
    """The whole file; the fields are those of StreamInfo, and the versions of what wrote it."""

    model_config = ConfigDict(extra="forbid", strict=True, from_attributes=True)

    format: Literal["coilcall.recording/1"]
    source: str
    sample_rate_hz: Annotated[FiniteFloat, Field(gt=0)]
    dtype: Literal["int8", "int16", "int32", "int64"]
    started_utc: AwareDatetime | None = None
    started_monotonic_s: FiniteFloat | None = None
    setup_toml: str | None = None
    channel: Annotated[list[_Channel], Field(min_length=1)]
    versions: dict[str, str] = {}

    @model_validator(mode="after")
    def _inputs_differ(self) -> Self:
        inputs = [channel.input for channel in self.channel]
        if len(set(inputs)) < len(inputs):
            raise ValueError("every channel needs an input name of its own")
        return self


def write_header(folder: Path, info: StreamInfo) -> None:
    """Write recording.toml so that it is there completely or not at all, whenever the power fails.

    Raises FormatError where `info` itself makes no sense, OSError where the disk fails; nothing is left then.
    """
    path = folder / HEADER_NAME
    text = tomli_w.dumps(_to_table(path, info), multiline_strings="\r" not in (info.setup_toml or ""))
    partial = folder / (HEADER_NAME + ".partial")
    try:
        with partial.open("wb") as file:
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        partial.replace(path)
    except OSError:
        partial.unlink(missing_ok=True)
        raise
    sync_folder(folder)


def read_header(folder: Path) -> StreamInfo:
    """Read recording.toml. Raises AddressError where no folder is, FormatError where it is no recording."""
    path = folder / HEADER_NAME
    try:
        table = tomllib.loads(path.read_bytes().decode())
    except OSError as error:
        raise _unread(path, error) from error
    except (ValueError, RecursionError) as error:
        raise FormatError(f"{path}: is not TOML: {one_line(error)}") from error
    return _to_info(_validated(path, table))


def require_same(folder: Path, info: StreamInfo) -> None:
    """Hold a stream to a recording that it is to go on in; where it stands, and the port it comes from, may differ.

    Raises AddressError where it is another or no folder is there, FormatError where that is no recording.
    """
    recorded = read_header(folder)
    differs = difference(recorded, info)
    if not differs and info.setup_toml not in (None, recorded.setup_toml):
        differs = "it was made with another set-up; leave --setup out, or begin a new recording"
    if differs:
        raise AddressError(f"{folder / HEADER_NAME}: cannot go on with this recording: {differs}")


def sync_folder(folder: Path) -> None:
    """Make new names in a folder survive a power cut, on systems where a folder can be synced."""
    if hasattr(os, "O_DIRECTORY"):
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _unread(path: Path, error: OSError) -> AddressError | FormatError:
    folder = path.parent
    if isinstance(error, FileNotFoundError | NotADirectoryError) and not folder.is_dir():
        return AddressError(f"{folder}: no such folder; a recording is a folder that holds {HEADER_NAME}")
    return FormatError(f"{path}: cannot be read ({error.strerror}); every recording has one")


def _validated(path: Path, table: dict[str, object]) -> _Header:
    try:
        return _Header.model_validate(table)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        key = ".".join(str(part) for part in first["loc"]) or "channel"
        raise FormatError(f"{path}: {key}: {first['msg']}") from error


def _to_table(path: Path, info: StreamInfo) -> dict[str, object]:
    fields = {name: getattr(info, name) for name in ("source", "sample_rate_hz", "setup_toml")}
    started = {"started_utc": info.started_utc, "started_monotonic_s": info.started_monotonic_s}
    versions = {name: version(name) for name in ("coilcall", "numpy", "pyarrow")}
    versions["python"] = platform.python_version()
    channels = list(info.channels)
    table = {"format": FORMAT, "dtype": info.dtype.name, "channel": channels, "versions": versions, **fields, **started}
    return _validated(path, table).model_dump(exclude_none=True)


def _to_info(header: _Header) -> StreamInfo:
    return StreamInfo(
        source=header.source,
        sample_rate_hz=header.sample_rate_hz,
        channels=tuple(ChannelInfo(**channel.model_dump()) for channel in header.channel),
        dtype=np.dtype(header.dtype),
        started_monotonic_s=header.started_monotonic_s,
        started_utc=header.started_utc,
        setup_toml=header.setup_toml,
    )
