"""A source being read in a thread of its own, as the pump does, and what a process holds."""

import math
import threading
from collections import Counter
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from acquire.block import StreamInfo
from acquire.source import Source

LONGEST_S = 20.0
FIRST_WAIT_S = 0.1
DESCRIPTORS = Path("/proc/self/fd")


class Reading:
    """Opens a source, reads it to its end, or so many blocks, or up to an index, and closes it; all in one thread."""

    def __init__(
        self, source: Source, *, blocks: int | None = None, end_index: float = math.inf, close_first: bool = False
    ) -> None:
        self.started, self.opened, self.first, self.ended = (threading.Event() for _ in range(4))
        self.spans: list[tuple[int, int]] = []
        self.kinds: set[tuple[np.dtype[Any], int]] = set()
        self.error: BaseException | None = None
        self._source, self._blocks, self._end_index = source, blocks, end_index
        self._close_first = close_first
        self._info: StreamInfo | None = None
        self._thread = threading.Thread(target=self._run, name="reading")

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._source.close()
        self._thread.join(LONGEST_S)
        assert not self._thread.is_alive(), "the source does not end"

    @property
    def waiting(self) -> threading.Event:
        """Set once it has begun and a moment has passed, in which it found nothing more to do."""
        assert self.started.wait(LONGEST_S)
        self.ended.wait(FIRST_WAIT_S)
        return self.started

    def result(self) -> StreamInfo:
        """Wait for the end, and give what was opened, or raise what went wrong."""
        assert self.ended.wait(LONGEST_S), "the source does not end"
        if self.error is not None:
            raise self.error
        assert self._info is not None
        return self._info

    def _run(self) -> None:
        try:
            if self._close_first:
                self._source.close()
            self._read()
        except BaseException as error:  # noqa: BLE001  whatever it is, the test's own thread judges it
            self.error = error
        finally:
            self._source.close()
            self.ended.set()

    def _read(self) -> None:
        self.started.set()
        self._info = self._source.open()
        self.opened.set()
        if self._blocks == 0:
            return
        for block in self._source.blocks():
            self.spans.append((block.first_index, block.end_index))
            self.kinds.add((block.counts.dtype, len(block.counts)))
            self.first.set()
            if len(self.spans) == self._blocks or block.end_index >= self._end_index:
                return


def held() -> tuple[frozenset[str], Counter[str]]:
    """Name the threads that run and count what the open descriptors lead to (where the system tells)."""
    threads = frozenset(thread.name for thread in threading.enumerate())
    targets = [_target(entry) for entry in sorted(DESCRIPTORS.iterdir())] if DESCRIPTORS.is_dir() else []
    return threads, Counter(filter(None, targets))


def joined(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Join spans that follow each other without a gap."""
    runs: list[tuple[int, int]] = []
    for first, end in spans:
        if runs and runs[-1][1] == first:
            first = runs.pop()[0]
        runs.append((first, end))
    return runs


def _target(entry: Path) -> str:
    try:
        return str(entry.readlink())
    except OSError:  # the one that the listing itself used
        return ""
