"""A ledger read back, of either version."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from acquire.errors import FormatError
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark

_UNCLIPPED = """
SELECT moment_s FROM (
    SELECT start_s AS moment_s FROM flags UNION SELECT end_s FROM flags WHERE end_s IS NOT NULL
    UNION SELECT time_s FROM marks
) WHERE NOT EXISTS (SELECT 1 FROM clips WHERE round(moment_s * ?) BETWEEN first_index AND first_index + samples)
ORDER BY moment_s DESC LIMIT ?
"""


def read_flags(path: Path) -> list[Flag]:
    """Every flag in a ledger, by number. Raises FormatError where it is none."""
    rows = _rows(path, "flags")
    try:
        return [Flag(row[0], Kind(row[1]), Severity(row[2]), *row[3:]) for row in rows]
    except (ValueError, TypeError) as error:
        raise FormatError(f"{path}: is no ledger of ours: {error}") from error


def read_marks(path: Path) -> list[Mark]:
    """Every mark in a ledger, by number. Raises FormatError where it is none."""
    try:
        return [Mark(*row) for row in _rows(path, "marks")]
    except TypeError as error:
        raise FormatError(f"{path}: is no ledger of ours: {error}") from error


def read_begins(path: Path) -> frozenset[int]:
    """First sample of each session in a ledger; none in one of layout 1. Raises FormatError where it is no ledger."""
    [(layout,)] = _asked(path, "PRAGMA user_version")
    if layout < 2:
        return frozenset()
    return frozenset(first for (first,) in _asked(path, "SELECT first_index FROM sessions") if first is not None)


def read_unclipped(path: Path, sample_rate_hz: float, most: int) -> list[float]:
    """The latest moments, in seconds, that should have a clip and have none: a kill came before it.

    Raises FormatError where it is no ledger of version 2.
    """
    return [moment_s for (moment_s,) in _asked(path, _UNCLIPPED, (sample_rate_hz, most))]


def require_whole(path: Path, book: sqlite3.Connection) -> None:
    """Refuse a book that was cut within a page: SQLite takes what is missing of it for zeros, and makes rows of those.

    While a write-ahead file is there a page may be short, for it stands in that one. Raises FormatError, sqlite3.Error.
    """
    [page_bytes] = book.execute("PRAGMA page_size").fetchone()
    ahead = path.with_name(f"{path.name}-wal")
    if path.stat().st_size % page_bytes and not (ahead.exists() and ahead.stat().st_size):
        raise FormatError(f"{path}: was cut short; its last page is not whole")


def _rows(path: Path, table: str) -> list[tuple[Any, ...]]:
    return _asked(path, f"SELECT * FROM {table} ORDER BY number")


def _asked(path: Path, query: str, values: tuple[float, ...] = ()) -> list[tuple[Any, ...]]:
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as book:
            rows = book.execute(query, values).fetchall()
            require_whole(path, book)
            return rows
    except sqlite3.Error as error:
        if "unable to open" in str(error):
            raise FormatError(f"{path}: cannot be opened; {_why_not(path)}") from error
        raise FormatError(f"{path}: is no ledger of ours: {error}") from error


def _why_not(path: Path) -> str:
    """Why SQLite cannot open it; it does not say."""
    try:
        path.open("rb").close()
    except OSError as error:
        return str(error.strerror)
    return "with a -wal file beside it, it wants a folder that can be written to: copy the recording to one"
