"""Samples from disk: what is whole is read, without a copy; what is not is either the end or said in one line."""

import mmap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.errors import FormatError, one_line
from acquire.recording_header import HEADER_NAME, read_header
from acquire.recording_layout import FIRST_INDEX_KEY, Stretch, sample_files, schema_for

_MARK = b"\xff\xff\xff\xff"  # begins every message of an Arrow IPC stream
_UNREADABLE = (pa.ArrowException, OSError, ValueError, MemoryError)


def read_info(folder: Path) -> StreamInfo:
    """Say what a recording holds; `total_samples` is None where a damaged file hides it.

    Raises AddressError where no folder is, FormatError where it is no recording.
    """
    info = read_header(folder)
    return replace(info, total_samples=_total_samples(folder, info))


def read_blocks(folder: Path, info: StreamInfo) -> Iterator[SampleBlock]:
    """Give every whole batch in order, as read-only views of the mapped files; each file may be cut at any byte.

    `info` is what `read_info` gave. Raises FormatError at what cannot be understood, after all that precedes it.
    """
    return (block for _, block in _placed(sample_files(folder), info))


def read_between(folder: Path, info: StreamInfo, first_index: int, end_index: int) -> Iterator[SampleBlock]:
    """Give the samples that are there from `first_index` to before `end_index`, touching no file that holds none.

    Of a recording that is being written too: every batch that is whole in its file. Raises as `read_blocks` does.
    """
    for _, block in _placed(_files_from(folder, info, first_index), info):
        if block.first_index >= end_index:
            return
        first, end = max(first_index, block.first_index), min(end_index, block.end_index)
        if first < end:
            yield SampleBlock(first, block.counts[:, first - block.first_index : end - block.first_index])


def read_stretches(folder: Path, info: StreamInfo) -> list[Stretch]:
    """Say of each sample file what it holds; of those that hold nothing, nothing. Raises as `read_blocks` does."""
    found: dict[Path, tuple[int, int]] = {}
    for path, block in _placed(sample_files(folder), info):
        first_index, _ = found.get(path, (block.first_index, 0))
        found[path] = first_index, block.end_index
    return [Stretch(path, *indices, path.stat().st_size) for path, indices in found.items()]


def _placed(paths: Iterable[Path], info: StreamInfo) -> Iterator[tuple[Path, SampleBlock]]:
    """All batches of these files; each begins where the one before ended, or later."""
    end_index = 0
    for path in paths:
        for block in _file_blocks(path, info):
            if block.first_index < end_index:
                raise FormatError(f"{path}: a batch starts at sample {block.first_index}, not at {end_index} or later")
            end_index = block.end_index
            yield path, block


def _files_from(folder: Path, info: StreamInfo, first_index: int) -> list[Path]:
    """The sample files from the last one on that begins at `first_index` or before; looked for from the end."""
    paths = sample_files(folder)
    for number in range(len(paths) - 1, 0, -1):
        first = next(_file_blocks(paths[number], info), None)
        if first is not None and first.first_index <= first_index:
            return paths[number:]
    return paths


def _total_samples(folder: Path, info: StreamInfo) -> int | None:
    """Index after the last sample. Touches only what stands between the samples of the last file that holds any."""
    try:
        for path in reversed(sample_files(folder)):
            end_index = max((block.end_index for block in _file_blocks(path, info)), default=0)
            if end_index:
                return end_index
    except FormatError:
        return None
    return 0


@dataclass(slots=True)
class _SampleFile:
    """One file, mapped; `data` reads `whole` and stands where the next message begins."""

    path: Path
    mapped: mmap.mmap
    whole: pa.Buffer
    data: pa.BufferReader
    done: int = 0

    def cannot_be(self, at: int, error: Exception) -> FormatError | None:
        """Say why the message at `at` cannot be read; None where the file was only cut within it."""
        cut = self.data.tell() == self.whole.size and _MARK.startswith(self.whole[at : at + 4].to_pybytes())
        return None if cut else FormatError(f"{self.path}: cannot be understood from byte {at} on: {one_line(error)}")

    def forget(self) -> None:
        """Give back the memory of pages that were read, so that long recordings do not fill it; views stay good."""
        end = self.data.tell() // mmap.PAGESIZE * mmap.PAGESIZE
        if end > self.done and hasattr(mmap, "MADV_DONTNEED"):
            self.mapped.madvise(mmap.MADV_DONTNEED, self.done, end - self.done)
            self.done = end


def _file_blocks(path: Path, info: StreamInfo) -> Iterator[SampleBlock]:
    file = _map(path)
    stream = _open_stream(file, schema_for(info)) if file else None
    while file and stream and (read := _next_batch(file, stream)):
        if read.batch.num_rows:
            yield SampleBlock(_first_index(path, read), _counts(file, read.batch, info.dtype))
        file.forget()


def _map(path: Path) -> _SampleFile | None:
    """Map a file; None where it is empty."""
    try:
        with path.open("rb") as file:
            if not path.stat().st_size:
                return None
            mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    except (OSError, ValueError) as error:
        raise FormatError(f"{path}: cannot be read ({error})") from error
    whole = pa.py_buffer(mapped)
    return _SampleFile(path, mapped, whole, pa.BufferReader(whole))


def _open_stream(file: _SampleFile, schema: pa.Schema) -> pa.ipc.RecordBatchStreamReader | None:
    try:
        stream = pa.ipc.open_stream(file.data)
        found = _columns(stream.schema)
    except _UNREADABLE as error:
        if damage := file.cannot_be(0, error):
            raise damage from error
        return None
    if found != _columns(schema):
        raise FormatError(f"{file.path}: its columns are {found}, but {HEADER_NAME} says {_columns(schema)}")
    return stream


def _next_batch(file: _SampleFile, stream: pa.ipc.RecordBatchStreamReader) -> pa.lib.RecordBatchWithMetadata | None:
    """Read one batch; None at the end, which is also where a batch wants more bytes than the file has."""
    at = file.data.tell()
    try:
        return stream.read_next_batch_with_custom_metadata()
    except StopIteration:
        return None
    except _UNREADABLE as error:
        if damage := file.cannot_be(at, error):
            raise damage from error
        return None


def _first_index(path: Path, read: pa.lib.RecordBatchWithMetadata) -> int:
    digits = (read.custom_metadata or {}).get(FIRST_INDEX_KEY, b"")
    if digits.isdigit() and len(digits) < 19:
        return int(digits)
    raise FormatError(f"{path}: a batch says first_index = {digits!r}; the index of its first sample would be right")


def _counts(file: _SampleFile, batch: pa.RecordBatch, dtype: np.dtype[np.signedinteger[Any]]) -> Counts:
    """Give a batch as (channels, samples): one view where its columns stand evenly in the file, else a copy."""
    whole, columns = file.whole, batch.columns
    try:
        batch.validate()
        filled = not any(column.null_count for column in columns)
    except _UNREADABLE as error:
        raise FormatError(f"{file.path}: a batch contradicts itself: {one_line(error)}") from error
    if not filled:
        raise FormatError(f"{file.path}: a batch has empty cells; every sample needs a value")
    buffers = [column.buffers()[1] for column in columns]
    offsets = [buffer.address - whole.address for buffer in buffers]
    steps = {after - before for before, after in pairwise(offsets)} or {0}
    step = steps.pop()
    inside = offsets[0] >= 0 and offsets[-1] + buffers[-1].size <= whole.size
    if steps or step < 0 or not inside:
        return np.stack([np.asarray(column) for column in columns])
    return np.ndarray((len(columns), batch.num_rows), dtype, whole, offset=offsets[0], strides=(step, dtype.itemsize))


def _columns(schema: pa.Schema) -> str:
    return ", ".join(f"{field.name!r} {field.type}" for field in schema) or "none"
