"""Samples on the disk: what it does not take, or no longer has, is told and booked; what failed is tried again."""

from collections.abc import Iterable
from pathlib import Path

from acquire.block import SampleBlock, StreamInfo
from acquire.recording import DiskGuard, Dropped, RecordingWriter, Storage
from monitor.disk_terms import DiskTerms
from monitor.trouble import Trouble, told


class SampleStore:
    """The sample files of one recording. Everything here belongs in the disk's thread, but what says otherwise."""

    def __init__(self, folder: Path, info: StreamInfo, terms: DiskTerms) -> None:
        """Raises AddressError, FormatError as RecordingWriter does, OSError where the disk fails."""
        self.needed_from: int | None = None
        """Index from which on samples may not be deleted; set from any thread."""
        self.samples_lost = 0
        """Samples of each input that the disk did not take, since the start. From any thread."""
        self.trouble = Trouble("samples", terms.clock)
        """Its words may be asked for from any thread."""
        self._dropped: dict[int, Dropped] = {}
        self._last_lost = Dropped(0, 0, "")
        self._has_deleted = False
        self._writer = _writer(folder, info, terms, self)

    @property
    def words(self) -> str:
        """What people should know of the samples, "" while all of them are kept. From any thread."""
        if self.trouble.words or not self._has_deleted:
            return self.trouble.words
        return "the disk is nearly full: the oldest samples go to make room, but for the clips"

    @property
    def kept_index(self) -> int:
        """Index before which every sample can be read from the disk, or is not there. From any thread.

        While the disk takes none, none is waited for: what wants those that are there may be what it is full of.
        """
        lost, kept_index = self._last_lost, self._writer.kept_index
        return max(lost.first_index + lost.samples, kept_index) if self.trouble.reason else kept_index

    def write(self, block: SampleBlock, overtaken: Iterable[tuple[int, int]] = ()) -> None:
        """Keep a block, or book it as dropped while the disk does not take any.

        `overtaken` are the [first, end) indices before it that were written over while the disk kept others waiting.
        """
        for first_index, end_index in overtaken:
            self._lose(first_index, end_index, "the disk was too slow")
        if self.trouble.is_due:
            try:
                self._writer.write(block)
            except OSError as error:
                self.trouble.failed(told(error))
            else:
                self.trouble.over()
                return
        self._lose(max(block.first_index, self._writer.end_index), block.end_index, self.trouble.reason)

    def take_dropped(self) -> list[Dropped]:
        """What was dropped since the last call; what goes on is given again, longer."""
        dropped, self._dropped = self._dropped, {}
        return list(dropped.values())

    def close(self) -> None:
        """End the files; what still waited for the disk is lost where it fails."""
        try:
            self._writer.close()
        except OSError as error:
            self.trouble.failed(told(error))
        self._lose(self._writer.kept_index, self._writer.end_index, self.trouble.last_reason)

    def note_deleted(self, dropped: Dropped) -> None:
        """Book a sample file that made room for newer ones."""
        self._has_deleted = True
        self._dropped[dropped.first_index] = dropped

    def _lose(self, first_index: int, end_index: int, reason: str) -> None:
        """Book what the disk did not take, as one with what it follows."""
        samples = end_index - first_index
        if samples <= 0:
            return
        self.trouble.last_reason = reason
        self.samples_lost += samples
        last = self._last_lost
        if (last.first_index + last.samples, last.reason) == (first_index, reason):
            first_index, samples = last.first_index, last.samples + samples
        self._last_lost = self._dropped[first_index] = Dropped(first_index, samples, reason)


def _writer(folder: Path, info: StreamInfo, terms: DiskTerms, store: SampleStore) -> RecordingWriter:
    guard = DiskGuard(terms.reserve(folder), store.note_deleted, lambda: store.needed_from, terms.free)
    return RecordingWriter(folder, info, Storage(terms.resume, terms.rollover, guard, terms.opener))
