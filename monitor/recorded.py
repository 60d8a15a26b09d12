"""What was written down beside a recording's samples while they were taken: flags, and marks that no sample shows."""

import math
from dataclasses import dataclass
from pathlib import Path

from acquire.errors import FormatError
from drivers.address import parse_address
from monitor.flags import Flag
from monitor.ledger import LEDGER_NAME
from monitor.ledger_reader import read_flags, read_marks
from monitor.marks import Mark


@dataclass(frozen=True, slots=True)
class Recorded:
    """Marks and flags by number; `remark` says in one line why there are none where a ledger should be."""

    marks: tuple[Mark, ...] = ()
    flags: tuple[Flag, ...] = ()
    remark: str = ""
    is_there: bool = False
    """Whether a ledger could be read."""


def recorded_beside(recording: str) -> Recorded:
    """Read the ledger of a recording's folder; of anything else nothing was written down. Raises AddressError."""
    address = parse_address(recording)
    folder = Path(address.path)
    if address.scheme != "file" or not folder.is_dir():
        return Recorded()
    path = folder / LEDGER_NAME
    if not path.exists():
        return Recorded(remark=f"{folder}: there is no {LEDGER_NAME}; marks set by hand are not known")
    try:
        return _checked(path, Recorded(tuple(read_marks(path)), tuple(read_flags(path)), is_there=True))
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
