"""A ledger read back, of either version."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from acquire.errors import FormatError
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark


def read_flags(path: Path) -> list[Flag]:
    """Every flag in a ledger, by number. Raises FormatError where it is none."""
    try:
        return [Flag(row[0], Kind(row[1]), Severity(row[2]), *row[3:]) for row in _rows(path, "flags")]
    except (ValueError, TypeError) as error:
        raise FormatError(f"{path}: is no ledger of ours: {error}") from error


def read_marks(path: Path) -> list[Mark]:
    """Every mark in a ledger, by number. Raises FormatError where it is none."""
    try:
        return [Mark(*row) for row in _rows(path, "marks")]
    except TypeError as error:
        raise FormatError(f"{path}: is no ledger of ours: {error}") from error


def _rows(path: Path, table: str) -> list[tuple[Any, ...]]:
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as book:
            return book.execute(f"SELECT * FROM {table} ORDER BY number").fetchall()
    except sqlite3.Error as error:
        raise FormatError(f"{path}: is no ledger of ours: {error}") from error
