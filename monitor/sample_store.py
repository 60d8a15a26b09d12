"""Samples on the disk: what it does not take is told, tried again, and booked as missing."""

from acquire.block import SampleBlock
from acquire.clock import Clock
from acquire.recording import RecordingWriter
from monitor.entries import Dropped
from monitor.trouble import Trouble, told


class SampleStore:
    """The sample files of one recording. Everything here belongs in the disk's thread, but `trouble.words`."""

    def __init__(self, writer: RecordingWriter, clock: Clock) -> None:
        self._writer = writer
        self._dropped: list[Dropped] = []
        self.trouble = Trouble("samples", clock)
        self.samples_lost = 0
        """Samples (of each input) that the disk did not take, since the start."""

    def write(self, block: SampleBlock) -> None:
        """Keep a block, or book it as dropped while the disk does not take any."""
        if self.trouble.is_due:
            try:
                self._writer.write(block)
            except OSError as error:
                self.trouble.failed(told(error))
            else:
                self.trouble.over()
                return
        self._drop(Dropped(block.first_index, block.samples, self.trouble.reason))

    def take_dropped(self) -> list[Dropped]:
        """What was dropped since the last call."""
        dropped, self._dropped = self._dropped, []
        return dropped

    def close(self) -> None:
        """End the files."""
        try:
            self._writer.close()
        except OSError as error:
            self.trouble.failed(told(error))

    def _drop(self, dropped: Dropped) -> None:
        """Book it, in one row with what it follows."""
        self.samples_lost += dropped.samples
        if self._dropped:
            last = self._dropped[-1]
            if (last.first_index + last.samples, last.reason) == (dropped.first_index, dropped.reason):
                self._dropped[-1] = Dropped(last.first_index, last.samples + dropped.samples, last.reason)
                return
        self._dropped.append(dropped)
