"""Samples to disk, so that a power cut at any instant loses at most the last second."""

from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from acquire.block import SampleBlock, StreamInfo
from acquire.errors import AddressError
from acquire.recording_files import SampleFiles, Storage
from acquire.recording_header import require_same, write_header
from acquire.recording_lock import RecordingLock
from acquire.recording_reader import read_stretches

BATCH_S = 0.5
MAX_BATCH_SAMPLES = 1 << 20


class RecordingWriter:
    """Write one recording: a folder with recording.toml and samples-001.arrow, and so on.

    Samples are written in batches: one is closed every half second or million samples, and at every gap. At least as
    often as that, and at the end of each file, the file is synced (fsync) before the call returns; so is the folder
    when a name is new in it. `write` and `close` block on the disk, so they belong in a thread.

    When the disk fails they raise OSError with the file's name, and that file is given up; what was whole in it stays
    readable. The next `write` tries with a new file. It may be given the block that failed once more, and goes on where
    it came to, so that nothing is lost; if it is given a later one, what lies between is a gap.

    Raises AddressError where the folder cannot be made or holds something already, or, with `storage.resume`, is no
    recording of the same inputs, or is being written; FormatError where that one is damaged.
    """

    def __init__(self, folder: Path, info: StreamInfo, storage: Storage | None = None) -> None:
        storage = storage or Storage()
        if storage.resume:
            require_same(folder, info)
        else:
            _begin(folder, info)
        self._lock = RecordingLock(folder)
        stretches = read_stretches(folder, info)
        self._files = SampleFiles(folder, info, storage, stretches)
        self._batch = np.empty((len(info.channels), batch_samples(info.sample_rate_hz)), info.dtype.name)
        self._first_index = stretches[-1].end_index if stretches else 0
        self._filled = 0

    @property
    def end_index(self) -> int:
        """Index after the last sample taken; up to half a second of them still waits for the disk."""
        return self._first_index + self._filled

    @property
    def kept_index(self) -> int:
        """Index before which no sample waits any more: each is in a file that can be read, or was never taken."""
        return self._first_index

    def write(self, block: SampleBlock) -> None:
        """Append a block of any length; nothing of it is kept after the call."""
        if block.end_index < self.end_index:
            raise ValueError(f"a block ends at sample {block.end_index}, but there are {self.end_index} already")
        if block.first_index > self.end_index:
            self._write_batch()
            self._first_index = block.first_index
        at = self.end_index - block.first_index
        while at < block.samples:
            samples = min(block.samples - at, self._batch.shape[1] - self._filled)
            self._batch[:, self._filled : self._filled + samples] = block.counts[:, at : at + samples]
            self._filled += samples
            at += samples
            if self._filled == self._batch.shape[1]:
                self._write_batch()

    def close(self) -> None:
        """Write what is left and the end mark, unless the disk has failed. More than once is fine."""
        try:
            if not self._files.has_failed:
                self._write_batch()
            self._files.finish()
        finally:
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def _write_batch(self) -> None:
        if self._filled:
            self._files.append(self._first_index, self._batch[:, : self._filled])
        self._first_index += self._filled
        self._filled = 0
        # Counted in samples, so that a stream full of gaps does not sync at each of them.
        self._files.sync(every_samples=self._batch.shape[1])


def batch_samples(sample_rate_hz: float) -> int:
    """Fill half a second into a batch, in multiples of 64 samples where there are enough, so that columns align."""
    samples = min(round(sample_rate_hz * BATCH_S), MAX_BATCH_SAMPLES)
    return samples // 64 * 64 or max(samples, 1)


def _begin(folder: Path, info: StreamInfo) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        occupied = any(folder.iterdir())
    except OSError as error:
        raise AddressError(f"{folder}: no recording can be made here ({error.strerror})") from error
    if occupied:
        raise AddressError(f"{folder}: is not empty; a recording needs a new or empty folder")
    write_header(folder, info)
