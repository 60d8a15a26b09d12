"""Disks that fail when a test wants it."""

import errno
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer


@dataclass
class SmallDisk:
    """Has room for `room` bytes in all; opens files that fill it, and fail like a full disk: the last write in part."""

    room: int
    more: int = 0
    """Room that is there once the next file is opened."""
    opened: list[Path] = field(default_factory=list)

    def open(self, path: Path) -> io.FileIO:
        self.opened.append(path)
        self.room, self.more = self.room + self.more, 0
        return _Counted(path, self._take)

    def _take(self, wanted: int) -> int:
        taken = min(wanted, self.room)
        if wanted and not taken:
            raise OSError(errno.ENOSPC, "No space left on device")
        self.room -= taken
        return taken


class _Counted(io.FileIO):
    def __init__(self, path: Path, take: Callable[[int], int]) -> None:
        super().__init__(path, "xb")
        self._take = take

    def write(self, data: "ReadableBuffer", /) -> int:
        view = memoryview(data).cast("B")
        return super().write(view[: self._take(len(view))])
