"""Our own recordings as a source."""

from collections.abc import Iterator
from pathlib import Path

from acquire.block import SampleBlock, StreamInfo
from acquire.recording import read_between, read_blocks, read_info


class RecordingSource:
    """Reads a recording's folder; see acquire.source.Source for the contract."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._info: StreamInfo | None = None
        self._closed = False

    def open(self) -> StreamInfo:
        """Read recording.toml. Raises AddressError where no folder is, FormatError where it is no recording."""
        self._info = read_info(self._folder)
        return self._info

    def blocks(self) -> Iterator[SampleBlock]:
        """Give every whole batch. Raises FormatError at what cannot be understood, after all that precedes it."""
        return self._until_closed(read_blocks(self._folder, self._opened))

    def blocks_between(self, first_index: int, end_index: int) -> Iterator[SampleBlock]:
        """Give the samples there are from `first_index` to before `end_index`; otherwise as `blocks`."""
        return self._until_closed(read_between(self._folder, self._opened, first_index, end_index))

    @property
    def _opened(self) -> StreamInfo:
        if self._info is None:
            raise RuntimeError("open comes before blocks")
        return self._info

    def _until_closed(self, blocks: Iterator[SampleBlock]) -> Iterator[SampleBlock]:
        for block in blocks:
            if self._closed:
                return
            yield block

    def close(self) -> None:
        """End `blocks` at its next batch."""
        self._closed = True
