"""Pieces of a table and the numbers in them; the first bad cell of a piece is found slowly and exactly."""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import csv as arrow_csv

from acquire.errors import FormatError, one_line
from drivers.files.csv_layout import LOST, Layout, lines_of

Table = list[NDArray[np.float64]]
"""One array (rows,) a column; NaN where a cell holds no value."""

_LINE_END = re.compile(rb"\r\n|\r|\n")


@dataclass(frozen=True, slots=True)
class Piece:
    """Some whole lines of the file; `first_row` counts the file's lines from 1."""

    first_row: int
    content: bytes

    def rows(self) -> Iterator[tuple[int, str]]:
        """Give (row of the file, line) for each line that is not blank."""
        for row, line in enumerate(lines_of(self.content.decode(errors="replace")), start=self.first_row):
            if line.strip():
                yield row, line

    def row_of(self, number: int) -> int:
        """Give the file's row of the piece's row `number`, from 0 and without blank lines."""
        return next(islice(self.rows(), number, None), (self.first_row, ""))[0]


def numbered(head: bytes, lines: Iterator[bytes], first_line: int) -> Iterator[Piece]:
    """Cut `first_line` lines from the head, and number the rest and all that follows."""
    ends = [0, *(match.end() for match in islice(_LINE_END.finditer(head), first_line))]
    row, content = first_line + 1, head[ends[-1] :]
    while content:
        yield Piece(row, content)
        row += content.count(b"\n") or content.count(b"\r")
        content = next(lines, b"")


def parse(name: str, piece: Piece, layout: Layout) -> Table:
    """Read all numbers of a piece. Raises FormatError with row and column of the first cell that is none."""
    content = _without_cut_row(piece.content, layout).replace("∞".encode(), b"inf")
    if not content.strip():
        return [np.empty(0) for _ in layout.columns]
    try:
        return _read(content, layout)
    except pa.ArrowInvalid:
        pass
    try:
        return _read(_tidy(content, layout), layout)
    except pa.ArrowInvalid as error:
        raise _first_fault(name, piece, layout, str(error)) from error


def _read(content: bytes, layout: Layout) -> Table:
    names = [str(number) for number in range(len(layout.columns))]
    table = arrow_csv.read_csv(
        pa.BufferReader(content),
        arrow_csv.ReadOptions(column_names=names, block_size=len(content) + 1, use_threads=True),
        arrow_csv.ParseOptions(delimiter=layout.dialect.delimiter),
        arrow_csv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.float64()),
            null_values=list(LOST),
            decimal_point=layout.dialect.decimal,
        ),
    )
    return [column.to_numpy() for column in table.columns]


def _tidy(content: bytes, layout: Layout) -> bytes:
    """Take blanks from around cells, which markers of lost values do not forgive."""
    delimiter = layout.dialect.delimiter.encode()
    if delimiter != b"\t":
        content = content.replace(b"\t", b" ")
    for mark in (delimiter, b"\r", b"\n"):
        for spaced in (b" " + mark, mark + b" "):
            while spaced in content:
                content = content.replace(spaced, mark)
    return content


def _without_cut_row(content: bytes, layout: Layout) -> bytes:
    """Leave out the file's last row where writing it was cut off before its last cell."""
    if content.endswith((b"\n", b"\r")):
        return content
    start = max(content.rfind(b"\n"), content.rfind(b"\r")) + 1
    try:
        cells = layout.dialect.split(content[start:].decode(errors="replace"))
    except csv.Error:
        return content
    return content[:start] if len(cells) < len(layout.columns) else content


def _first_fault(name: str, piece: Piece, layout: Layout, reason: str) -> FormatError:
    for row, line in piece.rows():
        fault = _fault_in(line, layout)
        if fault:
            return FormatError(f"{name}: row {row}{fault}")
    return FormatError(f"{name}: from row {piece.first_row}: {one_line(reason)[:120]}")


def _fault_in(line: str, layout: Layout) -> str:
    try:
        cells = layout.dialect.split(line)
    except csv.Error as error:
        return f": {error}"
    width = len(layout.columns)
    if len(cells) != width:
        return f", column {min(len(cells), width) + 1}: {len(cells)} cells, and {width} in the rows before"
    for column, cell in enumerate(cells):
        if not layout.dialect.is_value(cell):
            return f', {layout.name_of(column)}: "{_brief(cell)}" is not a number'
    return ""


def _brief(cell: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in cell)
    return shown if len(shown) <= 30 else f"{shown[:27]}..."
