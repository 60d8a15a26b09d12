"""One sample file while it is written: whole batches, each of them on the disk before the next."""

import errno
import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, cast

import pyarrow as pa

from acquire.block import Counts
from acquire.recording_layout import FIRST_INDEX_KEY, Stretch

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

Opener = Callable[[Path], io.RawIOBase]
"""Makes a new file for unbuffered writing; fails where one is there."""


def open_new(path: Path) -> io.FileIO:
    """Make a file of the operating system's own."""
    return path.open("xb", buffering=0)


class SampleFile:
    """An Arrow IPC stream in a file. Every method raises OSError with the file's name when the disk fails.

    Unbuffered, so that a failed write leaves nothing behind that a later one, or closing, would try once more.
    """

    def __init__(self, path: Path, schema: pa.Schema, opener: Opener = open_new) -> None:
        self.path = path
        self.first_index: int | None = None
        """Index of the first sample in it; None while there is none."""
        self.end_index = 0
        self._synced_index = 0
        self._schema = schema
        with _naming(path):
            self._sink = _Sink(opener(path))
            self._stream = pa.ipc.new_stream(self._sink, schema)

    @property
    def file_bytes(self) -> int:
        """How long the file is."""
        return self._sink.total

    @property
    def unsynced_samples(self) -> int:
        """Samples that a power cut now might take."""
        return self.end_index - self._synced_index

    def append(self, first_index: int, counts: Counts) -> None:
        """Write one batch: shape (channels, samples), of the schema's type."""
        batch = pa.record_batch([pa.array(column) for column in counts], schema=self._schema)
        with _naming(self.path):
            self._stream.write_batch(batch, custom_metadata={FIRST_INDEX_KEY: str(first_index)})
        if self.first_index is None:
            self.first_index = self._synced_index = first_index
        self.end_index = first_index + counts.shape[1]

    def sync(self) -> None:
        """Make the disk keep it. One that was deleted meanwhile would take samples and keep none: that is said."""
        with _naming(self.path):
            os.fsync(self._sink.raw.fileno())
            if not os.fstat(self._sink.raw.fileno()).st_nlink:
                raise OSError(errno.ENOENT, "the file was deleted while it was written", str(self.path))
        self._synced_index = self.end_index

    def finish(self) -> Stretch:
        """Make the disk keep all of it, and close. The end mark is worth no error: without it, all is read as well."""
        self.sync()
        with suppress(OSError):
            self._stream.close()
            os.fsync(self._sink.raw.fileno())
        return self.give_up()

    def give_up(self) -> Stretch:
        """Close as it is, whatever the disk says; a file without a sample is taken away."""
        with suppress(OSError):
            self._sink.raw.close()
        if self.first_index is None:
            with suppress(OSError):
                self.path.unlink()
            return Stretch(self.path, 0, 0, 0)
        return Stretch(self.path, self.first_index, self.end_index, self._sink.total)


class _Sink(io.RawIOBase):
    """What Arrow writes to: all of what it gives goes to the file, or an OSError comes back through it."""

    def __init__(self, raw: io.RawIOBase) -> None:
        self.raw, self.total = raw, 0

    def writable(self) -> bool:
        return True

    def write(self, data: "ReadableBuffer") -> int:
        left = memoryview(data)
        size = len(left)
        while len(left):
            written = cast("int", self.raw.write(left))
            self.total += written
            left = left[written:]
        return size


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Say in an OSError which file it was."""
    try:
        yield
    except OSError as error:
        if error.filename is None:
            error.filename = str(path)
        raise
