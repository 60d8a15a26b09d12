"""The disk guard: samples never eat the last of the disk; the oldest of them make room for the newest.

The rule. A sample file is begun only where the disk has room for all of it beside the reserve. Where it has not, this
recording's closed sample files are deleted, oldest first, until it has; each is told. Files with samples that somebody
still needs stay, and so does everything that is no sample file: set-up, ledger, clips. Where nothing is left to delete,
no file is begun, and samples stop until there is room again.

The disk is looked at once a file and not at each batch: what a file may grow to is set aside before its first byte. And
a file system that gives space back late, or keeps it for a snapshot, costs an old file for a new one, not all at once.
"""

import errno
import math
import shutil
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from acquire.recording_layout import Stretch

RESERVE_BYTES = 1 << 30
"""Room for the ledger and clips of many hours after the last sample had to stop (a six at 3000 rpm enters some 80 MB an
hour), and for a system that works badly on a full disk."""
RESERVE_SHARE = 0.05
"""Of a small disk, a memory card for one, no more than this share is kept free."""
FILES_AT_LEAST = 40
"""One file takes at most this part of the room for samples, half of a small disk's reserve: so much at a time goes back
into the reserve that clips are written into. A small disk keeps most samples when one file goes."""
WORTH_BEGINNING = 1 / 64
"""A file is begun for no less than this share of its usual length, about a second."""


@dataclass(frozen=True, slots=True)
class Dropped:
    """Samples that are not there any more: `samples` of them, gaps among them counted, from `first_index` on."""

    first_index: int
    samples: int
    reason: str


def free_bytes(folder: Path) -> int:
    """Bytes that may still be written where a folder is. Raises OSError."""
    return shutil.disk_usage(folder).free


def default_reserve(folder: Path) -> int:
    """Bytes that samples leave free on the disk where a folder is. Raises OSError."""
    return min(RESERVE_BYTES, int(shutil.disk_usage(folder).total * RESERVE_SHARE))


def size_words(size_bytes: float) -> str:
    """For people, in kB or MB."""
    return f"{size_bytes / 1e6:.4g} MB" if size_bytes >= 1e6 else f"{size_bytes / 1e3:.0f} kB"


class DiskGuard:
    """Makes room for sample files. Everything here is called in the thread that writes.

    `tell` hears of every file that was dropped. `needed_from` says from which sample on somebody still needs them, None
    where nobody does; `free` is asked how many bytes a folder has left.
    """

    def __init__(
        self,
        reserve_bytes: int,
        tell: Callable[[Dropped], None],
        needed_from: Callable[[], int | None] = lambda: None,
        free: Callable[[Path], int] = free_bytes,
    ) -> None:
        self._reserve_bytes, self._tell, self._needed_from, self._free = reserve_bytes, tell, needed_from, free

    def make_room(self, folder: Path, closed: deque[Stretch], wanted_bytes: int) -> int:
        """Say how long a new file may grow; drop the oldest of `closed`, and take them out of it, where it needs that.

        Raises OSError where no file can be begun, however much is dropped.
        """
        spare = self._free(folder) - self._reserve_bytes
        room = spare + sum(stretch.file_bytes for stretch in closed)
        least = math.ceil(wanted_bytes * WORTH_BEGINNING)
        granted = min(max(room // FILES_AT_LEAST, least), wanted_bytes)
        while spare < granted and closed and self._may_go(closed[0]):
            spare += self._drop(closed[0])
            closed.popleft()
        if spare < least:
            reserve = size_words(self._reserve_bytes)
            words = f"the disk is full but for the last {reserve}, and no samples may take those"
            raise OSError(errno.ENOSPC, words, str(folder))
        return min(granted, spare)

    def _may_go(self, stretch: Stretch) -> bool:
        needed_from = self._needed_from()
        return needed_from is None or stretch.end_index <= needed_from

    def _drop(self, stretch: Stretch) -> int:
        stretch.path.unlink(missing_ok=True)
        samples = stretch.end_index - stretch.first_index
        self._tell(Dropped(stretch.first_index, samples, f"{stretch.path.name} deleted to make room on the disk"))
        return stretch.file_bytes
