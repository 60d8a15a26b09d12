"""Samples to disk, so that a power cut at any instant loses at most the last second."""

import os
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import pyarrow as pa

from acquire.block import SampleBlock, StreamInfo
from acquire.errors import AddressError
from acquire.recording_header import sync_folder, write_header
from acquire.recording_layout import FIRST_INDEX_KEY, sample_file, schema_for

BATCH_S = 0.5
MAX_BATCH_SAMPLES = 1 << 20


class RecordingWriter:
    """Write one recording: a folder with recording.toml and samples-001.arrow.

    A batch is closed every half second or million samples, and at every gap; the disk is made to keep it at least as
    often. `write` blocks on the disk, so it belongs in a thread. Raises AddressError where the folder cannot be made or
    holds something already; OSError from `write` and `close` when the disk is full or gone.
    """

    def __init__(self, folder: Path, info: StreamInfo, setup_toml: str | None = None) -> None:
        _make_empty(folder)
        write_header(folder, replace(info, setup_toml=setup_toml or info.setup_toml))
        self._schema = schema_for(info)
        self._batch = np.empty((len(info.channels), batch_samples(info.sample_rate_hz)), info.dtype.name)
        self._first_index = self._filled = self._synced_index = 0
        self._file = sample_file(folder, 1).open("xb")
        self._stream = pa.ipc.new_stream(self._file, self._schema)
        sync_folder(folder)

    def write(self, block: SampleBlock) -> None:
        """Append a block of any length; nothing of it is kept after the call."""
        if block.first_index != self._first_index + self._filled:
            self._write_batch()
            self._first_index = block.first_index
        at = 0
        while at < block.samples:
            samples = min(block.samples - at, self._batch.shape[1] - self._filled)
            self._batch[:, self._filled : self._filled + samples] = block.counts[:, at : at + samples]
            self._filled += samples
            at += samples
            if self._filled == self._batch.shape[1]:
                self._write_batch()

    def close(self) -> None:
        """Write what is left and the end mark. More than once is fine."""
        if self._file.closed:
            return
        with self._file:
            self._write_batch()
            self._stream.close()
            self._sync()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def _write_batch(self) -> None:
        if self._filled:
            columns = [pa.array(column) for column in self._batch[:, : self._filled]]
            batch = pa.record_batch(columns, schema=self._schema)
            self._stream.write_batch(batch, custom_metadata={FIRST_INDEX_KEY: str(self._first_index)})
        self._first_index += self._filled
        self._filled = 0
        # Counted in samples, so that a stream full of gaps does not sync at each of them.
        if self._first_index - self._synced_index >= self._batch.shape[1]:
            self._sync()

    def _sync(self) -> None:
        self._file.flush()
        os.fsync(self._file.fileno())
        self._synced_index = self._first_index


def batch_samples(sample_rate_hz: float) -> int:
    """Fill half a second into a batch, in multiples of 64 samples where there are enough, so that columns align."""
    samples = min(round(sample_rate_hz * BATCH_S), MAX_BATCH_SAMPLES)
    return samples // 64 * 64 or max(samples, 1)


def _make_empty(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        occupied = any(folder.iterdir())
    except OSError as error:
        raise AddressError(f"{folder}: no recording can be made here ({error.strerror})") from error
    if occupied:
        raise AddressError(f"{folder}: is not empty; a recording needs a new or empty folder")
