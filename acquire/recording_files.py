"""The sample files of one recording, one after the other: begun, rolled over, and given up when the disk fails."""

from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from acquire.block import Counts, StreamInfo
from acquire.recording_file import Opener, SampleFile, open_new
from acquire.recording_guard import DiskGuard
from acquire.recording_header import sync_folder
from acquire.recording_layout import Stretch, bytes_per_s, last_number, sample_file, schema_for

FRAMING_BYTES = 256 << 10
"""What stands between the samples of a minute of batches, amply."""


@dataclass(frozen=True, slots=True)
class Rollover:
    """When the next sample file is begun.

    The disk guard deletes whole files, so a file is what one deletion costs: a minute of a drive. At high rates bytes
    come first, so that a file stays handy and a nearly full disk still has room for one.
    """

    max_bytes: int = 256 << 20
    max_s: float = 60.0


@dataclass(frozen=True, slots=True)
class Storage:
    """How a recording lies on the disk.

    `resume` goes on in one that is there. Without a guard nothing is ever deleted. `opener` makes the sample files.
    """

    resume: bool = False
    rollover: Rollover = Rollover()
    guard: DiskGuard | None = None
    opener: Opener = open_new


class SampleFiles:
    """Takes batches. Raises OSError when the disk fails; the next batch then begins another file."""

    def __init__(self, folder: Path, info: StreamInfo, storage: Storage, closed: Iterable[Stretch] = ()) -> None:
        self._folder, self._storage, self._schema = folder, storage, schema_for(info)
        self._max_samples = round(storage.rollover.max_s * info.sample_rate_hz)
        usual_bytes = int(storage.rollover.max_s * bytes_per_s(info)) + FRAMING_BYTES
        self._wanted_bytes = min(storage.rollover.max_bytes, usual_bytes)
        self._max_bytes = self._wanted_bytes
        self._closed = deque(closed)
        self._number = last_number(folder)
        self._file: SampleFile | None = None
        self.has_failed = False
        """Whether the disk failed, and has taken no batch since."""

    def append(self, first_index: int, counts: Counts) -> None:
        """Write one batch whole, into the next file where it is due; or, on an error, nothing that is ever read.

        A file that fails is followed by another at once: it may be what failed, or the guard may find room.
        """
        if self._file and self._is_due(self._file, first_index, counts):
            self.finish()
        is_begun = self._file is not None
        try:
            self._append(first_index, counts)
        except OSError:
            if not is_begun:
                raise
            self._append(first_index, counts)
        self.has_failed = False

    def _append(self, first_index: int, counts: Counts) -> None:
        with self._giving_up():
            file = self._file or self._begin()
            file.append(first_index, counts)

    def sync(self, every_samples: int) -> None:
        """Make the disk keep it where so many samples wait for that."""
        with self._giving_up():
            if self._file and self._file.unsynced_samples >= every_samples:
                self._file.sync()

    def finish(self) -> None:
        """Close the last file whole, if one is open."""
        with self._giving_up():
            if self._file:
                self._put_away(self._file.finish())

    def _is_due(self, file: SampleFile, first_index: int, counts: Counts) -> bool:
        is_long = first_index + counts.shape[1] - (file.first_index or 0) > self._max_samples
        return is_long or file.file_bytes + counts.nbytes > self._max_bytes

    def _begin(self) -> SampleFile:
        guard = self._storage.guard
        if guard is not None:
            self._max_bytes = guard.make_room(self._folder, self._closed, self._wanted_bytes)
        self._number += 1
        self._file = SampleFile(sample_file(self._folder, self._number), self._schema, self._storage.opener)
        sync_folder(self._folder)
        return self._file

    def _put_away(self, stretch: Stretch) -> None:
        self._file = None
        if stretch.file_bytes:
            self._closed.append(stretch)

    @contextmanager
    def _giving_up(self) -> Iterator[None]:
        try:
            yield
        except OSError:
            self.has_failed = True
            if self._file:
                self._put_away(self._file.give_up())
            raise
