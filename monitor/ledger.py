"""The book of firings, flags, gaps and coverage: one SQLite file that anybody can read.

`about` holds the version of the layout; `firings` has the fields of Firing as its columns, and `flags` those of Flag;
`gaps` are the samples that never came; `marks` has the fields of Mark; `coverage` is one row, brought up to
date with every write.
"""

import sqlite3
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from types import TracebackType
from typing import Self

from acquire.errors import CoilcallError, FormatError
from monitor.firing.records import Firing
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark

SCHEMA = "coilcall.ledger/1"

_TABLES = """
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE firings (
    turn INTEGER NOT NULL, cylinder INTEGER NOT NULL, time_s REAL NOT NULL, outcome TEXT NOT NULL, called INTEGER,
    dwell_ms REAL, acknowledgement_delay_ms REAL, acknowledgement_width_ms REAL, acknowledgement_low_v REAL,
    acknowledgement_rest_v REAL, control_high_v REAL, control_low_v REAL, ground_v REAL, current_a REAL,
    battery_v REAL, supply_before_v REAL, supply_low_v REAL, speed_rpm REAL
);
CREATE TABLE flags (
    number INTEGER PRIMARY KEY, kind TEXT NOT NULL, severity TEXT NOT NULL, cylinder INTEGER, input TEXT,
    start_s REAL NOT NULL, end_s REAL, count INTEGER NOT NULL, detail TEXT NOT NULL
);
CREATE TABLE gaps (first_index INTEGER PRIMARY KEY, samples INTEGER NOT NULL);
CREATE TABLE marks (number INTEGER PRIMARY KEY, time_s REAL NOT NULL, by TEXT NOT NULL, note TEXT NOT NULL);
CREATE TABLE coverage (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    elapsed_s REAL NOT NULL, coverage REAL NOT NULL, lost_samples INTEGER NOT NULL
);
"""


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples that never came: `samples` of them from index `first_index` on."""

    first_index: int
    samples: int


@dataclass(frozen=True, slots=True)
class Coverage:
    """Seconds since the first sample, the share of them that was observed, and the samples lost."""

    elapsed_s: float
    coverage: float
    lost_samples: int


@dataclass(frozen=True, slots=True)
class Entries:
    """What one write adds to the book; a flag that is there already is brought up to date."""

    firings: Sequence[Firing] = ()
    flags: Sequence[Flag] = ()
    gaps: Sequence[Gap] = ()
    coverage: Coverage | None = None
    marks: Sequence[Mark] = ()


class Ledger:
    """One new book. Every `write` is one transaction, on the disk when it returns.

    Not to be used from two threads at once. Raises CoilcallError where the file exists, or cannot be written.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        if path.exists():
            raise CoilcallError(f"{path}: is there already; a ledger is written once, name another folder")
        try:
            self._book = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
            self._begin()
        except sqlite3.Error as error:
            raise self._error(error) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _begin(self) -> None:
        # FULL: in write-ahead mode anything less leaves what was committed last to the mercy of a power cut.
        self._book.executescript("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA user_version = 1;")
        self._book.executescript(f"BEGIN; {_TABLES} INSERT INTO about VALUES ('schema', '{SCHEMA}'); COMMIT;")

    def write(self, entries: Entries) -> None:
        """Add all of it or, on an error, nothing."""
        try:
            self._book.execute("BEGIN")
            self._add(entries)
            self._book.execute("COMMIT")
        except sqlite3.Error as error:
            if self._book.in_transaction:
                self._book.execute("ROLLBACK")
            raise self._error(error) from error

    def _add(self, entries: Entries) -> None:
        book = self._book
        book.executemany(_insert("firings", Firing), map(astuple, entries.firings))
        book.executemany(_insert("flags", Flag), map(astuple, entries.flags))
        book.executemany(_insert("gaps", Gap), map(astuple, entries.gaps))
        book.executemany(_insert("marks", Mark), map(astuple, entries.marks))
        if entries.coverage is not None:
            book.execute("INSERT OR REPLACE INTO coverage VALUES (1, ?, ?, ?)", astuple(entries.coverage))

    def close(self) -> None:
        """Fold the write-ahead file into the book, for good, so that it opens from a read-only medium too.

        One file is left, unless somebody else is reading just now. Safe to call twice.
        """
        with suppress(sqlite3.Error):
            self._book.execute("PRAGMA journal_mode = DELETE")
        self._book.close()

    def _error(self, error: sqlite3.Error) -> CoilcallError:
        return CoilcallError(f"{self._path}: cannot be written: {error}")


def read_flags(path: Path) -> list[Flag]:
    """Every flag in a ledger, by number. Raises FormatError where it is none."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as book:
            rows = book.execute("SELECT * FROM flags ORDER BY number").fetchall()
        return [Flag(row[0], Kind(row[1]), Severity(row[2]), *row[3:]) for row in rows]
    except (sqlite3.Error, ValueError, TypeError) as error:
        raise FormatError(f"{path}: is no ledger of ours: {error}") from error


def _insert(table: str, record: type[Firing] | type[Flag] | type[Gap] | type[Mark]) -> str:
    names = [field.name for field in fields(record)]
    verb = "INSERT OR REPLACE" if record is Flag else "INSERT"
    return f"{verb} INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
