"""How a session is kept on the disk."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from acquire.clock import Clock, SystemClock
from acquire.recording import Rollover, default_reserve, free_bytes
from acquire.recording_file import Opener, open_new


@dataclass(frozen=True, slots=True)
class Surroundings:
    """How much around a flag or mark becomes a clip. Every field has its reason below it."""

    before_s: float = 2.0
    """A dozen cycles at idle: enough for the analysis of the clip alone to call the roll before the moment comes."""
    after_s: float = 1.0
    """Whether it went on, or what came next."""
    longest_s: float = 30.0
    """Moments that follow each other closely share a clip, and one that is lost or damaged takes no more than this."""
    late_s: float = 5.0
    """A flag may be raised so long after it began: a miss is sure only when its neighbours were seen."""


@dataclass(frozen=True, slots=True)
class DiskTerms:
    """`resume` goes on in a recording that is there. `reserve_bytes` stay free (None: a default for the disk's size).

    `clock` tells when a failing disk is tried again; `opener` makes sample files; `free` says what a folder has left.
    """

    resume: bool = False
    reserve_bytes: int | None = None
    rollover: Rollover = field(default_factory=Rollover)
    surroundings: Surroundings = field(default_factory=Surroundings)
    clock: Clock = field(default_factory=SystemClock)
    opener: Opener = open_new
    free: Callable[[Path], int] = free_bytes

    def reserve(self, folder: Path) -> int:
        """Bytes that samples leave free on the disk where a folder is, or will be made. Raises OSError."""
        there = next(path for path in (folder, *folder.absolute().parents) if path.exists())
        return default_reserve(there) if self.reserve_bytes is None else self.reserve_bytes
