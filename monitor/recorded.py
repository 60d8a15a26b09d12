"""What was written down beside a recording's samples while they were taken: flags, and marks that no sample shows."""

import math
from dataclasses import dataclass
from pathlib import Path

from acquire.errors import FormatError
from drivers.address import exists, parse_address
from monitor.flags import Flag
from monitor.ledger import LEDGER_NAME
from monitor.ledger_reader import read_begins, read_flags, read_marks
from monitor.marks import Mark


@dataclass(frozen=True, slots=True)
class Recorded:
    """Marks and flags by number; `remark` says in one line why those of a ledger that is there are not."""

    marks: tuple[Mark, ...] = ()
    flags: tuple[Flag, ...] = ()
    remark: str = ""
    is_there: bool = False
    """Whether a ledger could be read."""
    begins: frozenset[int] = frozenset()
    """Index of each session's first sample: what is missing before it was never to be recorded."""


def recorded_beside(recording: str) -> Recorded:
    """Read the ledger of a recording's folder; without one nothing was written down. Raises AddressError."""
    address = parse_address(recording)
    path = Path(address.path) / LEDGER_NAME
    if address.scheme != "file" or not exists(str(path)):
        return Recorded()
    try:
        marks, flags = tuple(read_marks(path)), tuple(read_flags(path))
        return _checked(path, Recorded(marks, flags, is_there=True, begins=read_begins(path)))
    except FormatError as error:
        return Recorded(remark=f"{error}; marks set by hand are not known")


def _checked(path: Path, found: Recorded) -> Recorded:
    """The same, if its columns hold what they are there for: SQLite itself takes anything anywhere."""
    times = [*(mark.time_s for mark in found.marks), *(flag.start_s for flag in found.flags)]
    words = [word for mark in found.marks for word in (mark.by, mark.note)]
    for value in times:
        if not (isinstance(value, int | float) and math.isfinite(value)):
            raise FormatError(f"{path}: {value!r} is no moment; seconds would be right")
    for word in words:
        if not isinstance(word, str):
            raise FormatError(f"{path}: a mark holds {word!r}; text would be right")
    return found
