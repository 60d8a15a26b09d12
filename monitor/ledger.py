"""The book of a recording: one SQLite file that anybody can read; LEDGER.md describes it."""

import platform
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import astuple, dataclass, fields
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from types import TracebackType
from typing import Self

from acquire.errors import CoilcallError, FormatError
from acquire.recording_guard import Dropped
from monitor.entries import Clip, Entries, Event, Gap
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.ledger_reader import require_whole
from monitor.ledger_tables import SCHEMA, lay_out
from monitor.marks import Mark

LEDGER_NAME = "ledger.sqlite"
BUSY_S = 0.5
"""How long to wait for somebody else who writes into the book; after that the write has failed for now."""

_VERSIONS = f"coilcall {version('coilcall')}, Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
_COUNT_ON = "SELECT (SELECT value FROM about WHERE key = 'recording_id'), "
_COUNT_ON += ", ".join(f"(SELECT coalesce(max(number), 0) FROM {table})" for table in ("sessions", "flags", "marks"))

_MOST = 2**62
"""What is counted on from below it stays within SQLite's 64 bits, however long the session."""


@dataclass(frozen=True, slots=True)
class Counted:
    """Where a book stands: its recording's id, and the highest numbers in it (0 where there is none)."""

    recording_id: str
    session: int
    flag: int
    mark: int


class Ledger:
    """One book, new or gone on with, for one session. Every `write` is one transaction, on the disk when it returns.

    Not to be used from two threads at once. Raises CoilcallError where it cannot be written, or is there though it
    should be new; FormatError where it should be gone on with and cannot be understood.
    """

    def __init__(
        self, path: Path, started_utc: datetime, *, is_new: bool = True, first_index: int | None = None
    ) -> None:
        """`first_index` is where its session begins, where that is known before the first sample comes."""
        self.path = path
        if path.exists() is is_new:
            wrong = "is there already; name another folder" if is_new else "is not there, so nothing can go on in it"
            raise CoilcallError(f"{path}: {wrong}")
        with self._telling():
            self._book = sqlite3.connect(path, BUSY_S, isolation_level=None, check_same_thread=False)
        try:
            with self._telling():
                self._prepare()
                self.counted = self._begin_session(started_utc, first_index)
        except CoilcallError:
            self._book.close()
            raise
        self._file = _identity(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def write(self, entries: Entries) -> None:
        """Add all of it or, on an error, nothing."""
        if _identity(self.path) != self._file:
            raise CoilcallError(f"{self.path}: is gone; somebody deleted, moved or replaced it")
        # As a context, a connection commits, or rolls back on an error.
        with self._telling(), self._book:
            self._book.execute("BEGIN IMMEDIATE")
            self._add(entries)

    def close(self) -> None:
        """Fold the write-ahead file into the book, for good, so that it opens from a read-only medium too.

        One file is left, unless somebody else is reading just now. Safe to call twice.
        """
        with suppress(sqlite3.Error):
            self._book.execute("PRAGMA journal_mode = DELETE")
        self._book.close()

    def _prepare(self) -> None:
        # FULL: in write-ahead mode anything less leaves what was committed last to the mercy of a power cut.
        self._book.executescript("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;")
        if not self._book.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            lay_out(self._book, uuid.uuid4().hex)
        found = self._book.execute("SELECT value FROM about WHERE key = 'schema'").fetchone()
        if found != (SCHEMA,):
            raise FormatError(f"{self.path}: its layout is {found and found[0]}; only {SCHEMA} can be gone on with")
        require_whole(self.path, self._book)
        if self._book.execute("SELECT 1 FROM about WHERE key = 'because'").fetchone():
            raise FormatError(f"{self.path}: is that of a clip; go on in the recording that it was cut from")

    def _begin_session(self, started_utc: datetime, first_index: int | None) -> Counted:
        """Give where the book stood before it."""
        counted = Counted(*self._book.execute(_COUNT_ON).fetchone())
        _require_countable(self.path, counted)
        row = (counted.session + 1, started_utc.isoformat(), first_index, _VERSIONS)
        self._book.execute("INSERT INTO sessions VALUES (?, ?, ?, ?)", row)
        return counted

    def _add(self, entries: Entries) -> None:
        book, session = self._book, self.counted.session + 1
        book.executemany(_insert("firings", Firing), map(astuple, entries.firings))
        book.executemany(_insert("flags", Flag), map(astuple, entries.flags))
        book.executemany(_insert("gaps", Gap), map(astuple, entries.gaps))
        book.executemany(_insert("marks", Mark), map(astuple, entries.marks))
        book.executemany(_insert("events", Event), map(astuple, entries.events))
        book.executemany(_insert("dropped", Dropped), map(astuple, entries.dropped))
        book.executemany(_insert("clips", Clip), map(astuple, entries.clips))
        if entries.first_index is not None:
            book.execute("UPDATE sessions SET first_index = ? WHERE number = ?", (entries.first_index, session))
        if entries.coverage is not None:
            row = (session, *astuple(entries.coverage))
            book.execute("INSERT OR REPLACE INTO coverage VALUES (?, ?, ?, ?)", row)

    @contextmanager
    def _telling(self) -> Iterator[None]:
        """Say what SQLite refuses, and of which book."""
        try:
            yield
        except sqlite3.Error as error:
            raise CoilcallError(f"{self.path}: cannot be written: {error}") from error


def _require_countable(path: Path, counted: Counted) -> None:
    """Refuse what a damaged book may say of where it stands: SQLite takes anything anywhere. Raises FormatError."""
    if not isinstance(counted.recording_id, str):
        raise FormatError(f"{path}: its recording_id is {counted.recording_id!r}; text would be right")
    for what, number in (("session", counted.session), ("flag", counted.flag), ("mark", counted.mark)):
        if not (isinstance(number, int) and 0 <= number < _MOST):
            raise FormatError(f"{path}: its last {what} is number {number!r}; nothing can be counted on from there")


def _identity(path: Path) -> tuple[int, int] | None:
    """What file stands there now; None where none does."""
    with suppress(OSError):
        found = path.stat()
        return found.st_dev, found.st_ino
    return None


def _insert(table: str, record: type[Firing | Flag | Gap | Mark | Event | Dropped | Clip]) -> str:
    names = [field.name for field in fields(record)]
    # Or replace: flags grow, and so does what is dropped. And no row that is there already may keep others out.
    return f"INSERT OR REPLACE INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
