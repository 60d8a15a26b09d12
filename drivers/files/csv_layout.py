"""What the columns of a table are, told from its first lines."""

import csv
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from acquire.errors import FormatError
from drivers.files.units import TICKS_PER_S, plain_unit, unit_in

LINES = 500
"""How far from the top the first row of numbers is looked for."""

LOST = ("", "nan", "NaN", "NAN", "-nan", "-NaN", "-", "--", "---", "----", "n/a", "N/A", "NA", "null", "NULL")
"""Cells that hold no value."""

_INFINITE = r"[+-]?(?:∞|inf|infinity)"
_NUMBER = {
    decimal: re.compile(rf"[+-]?(?:\d+{mark}?\d*|{mark}\d+)(?:e[+-]?\d+)?|{_INFINITE}", re.ASCII | re.IGNORECASE)
    for decimal, mark in ((".", r"\."), (",", ","))
}
_TIME = re.compile(
    r"(time|zeit|temps|tiempo|tempo|timestamp|seconds?|secs?|elapsed)(?![a-z])|t\s*($|[\[(])", re.IGNORECASE
)
_COUNTER = re.compile(r"\W*(index|idx|samples?|sample ?(no|number)?|no|nr|n|row|point|#)\W*", re.IGNORECASE)


class Dialect(NamedTuple):
    """How lines fall into cells, and cells into digits."""

    delimiter: str
    decimal: str

    def split(self, line: str) -> list[str]:
        """Split one line into its cells. Raises csv.Error."""
        return [cell.strip() for cell in next(csv.reader([line], delimiter=self.delimiter), [])]

    def is_number(self, cell: str) -> bool:
        """Tell a number or an infinity."""
        return bool(_NUMBER[self.decimal].fullmatch(cell))

    def is_value(self, cell: str) -> bool:
        """Tell a number, or a cell without a value."""
        return cell in LOST or self.is_number(cell)


DIALECTS = (
    Dialect(";", "."),
    Dialect("\t", "."),
    Dialect(",", "."),
    Dialect(";", ","),
    Dialect("\t", ","),
    Dialect(",", ","),
)
"""In order of preference where several fit as well."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its header's text, "" without one, and its unit in lower case, "" where none is stated."""

    label: str
    unit: str


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a table. `time` is the number of the time column, from 0; `first_line` that of the first data row.

    `ignored` are columns that are neither time nor signal: those that only count rows, or are to be left alone.
    """

    dialect: Dialect
    columns: tuple[Column, ...]
    first_line: int
    time: int | None
    ignored: tuple[int, ...]

    @property
    def value_columns(self) -> tuple[int, ...]:
        """Which columns hold signals."""
        return tuple(i for i in range(len(self.columns)) if i != self.time and i not in self.ignored)

    def name_of(self, column: int) -> str:
        """Name a column for people: its number from 1, and its header where it has one."""
        label = self.columns[column].label
        return f'column {column + 1} "{label}"' if label else f"column {column + 1}"


def find_layout(name: str, text: str) -> Layout:
    """Tell the layout from the top of a table. Raises FormatError where no rows of numbers are found."""
    lines = lines_of(text)[:LINES]
    first, cells, dialect = max((_data_rows(lines, one) for one in DIALECTS), key=lambda found: found.score).where
    if not cells:
        raise FormatError(f"{name}: row {_first_text(lines)}: no rows of numbers found in the first {LINES} lines")
    first = _earliest(lines, first, dialect)
    columns = _columns(lines[:first], cells, dialect)
    rows = _numbers(lines[first : first + 50], dialect)
    time = _time_column(columns, rows)
    counts = time != 0 and cells > 1 and (_COUNTER.fullmatch(columns[0].label) or _counts(rows))
    return Layout(dialect, columns, first, time, (0,) if counts else ())


def lines_of(text: str) -> list[str]:
    """Split at line ends of any kind, and at nothing else."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


class _Found(NamedTuple):
    score: tuple[int, int]
    where: tuple[int, int, Dialect]


def _data_rows(lines: list[str], dialect: Dialect) -> _Found:
    """Find the most frequent number of cells among rows of numbers, and the first of two such rows in a row."""
    widths = [_data_width(line, dialect) for line in lines if line.strip()]
    places = [i for i, line in enumerate(lines) if line.strip()]
    width = max(set(widths), key=lambda w: (w > 0, widths.count(w), w), default=0)
    if not width:
        return _Found((0, 0), (0, 0, dialect))
    pairs = (i for i, w in enumerate(widths) if w == width and widths[i + 1 : i + 2] in ([width], []))
    first = next(pairs, widths.index(width))
    return _Found((widths.count(width), width), (places[first], width, dialect))


def _earliest(lines: list[str], first: int, dialect: Dialect) -> int:
    """Go up from the first good row over lines that begin with a number: bad rows, to be refused, not passed over."""
    for i in range(first - 1, -1, -1):
        if lines[i].strip():
            if not _begins_with_number(lines[i], dialect):
                break
            first = i
    return first


def _begins_with_number(line: str, dialect: Dialect) -> bool:
    try:
        return dialect.is_number(dialect.split(line)[0])
    except csv.Error:
        return False


def _data_width(line: str, dialect: Dialect) -> int:
    """Give the number of cells where the line is a row of numbers, else 0."""
    try:
        cells = dialect.split(line)
    except csv.Error:
        return 0
    is_data = any(map(dialect.is_number, cells)) and all(map(dialect.is_value, cells))
    return len(cells) if is_data else 0


def _columns(above: list[str], width: int, dialect: Dialect) -> tuple[Column, ...]:
    """Read header and unit row, if any, from the lines above the data."""
    fitting = [cells for cells in (_header_cells(line, width, dialect) for line in above if line.strip()) if cells]
    units = [""] * width
    if fitting and _is_unit_row(fitting[-1], has_header=len(fitting) > 1):
        units = [plain_unit(cell) or cell.casefold() for cell in fitting.pop()]
    labels = fitting[-1] if fitting and not all(map(dialect.is_value, fitting[-1])) else [""] * width
    return tuple(Column(label, unit or unit_in(label)) for label, unit in zip(labels, units, strict=True))


def _header_cells(line: str, width: int, dialect: Dialect) -> list[str] | None:
    """Split a line above the data; a comment mark before it and a delimiter too many or too few are forgiven."""
    try:
        cells = dialect.split(line.lstrip("#%/ "))
    except csv.Error:
        return None
    if len(cells) == width + 1 and not cells[-1]:
        cells.pop()
    if len(cells) == width - 1 and width > 2:
        cells.append("")
    return cells if len(cells) == width else None


def _is_unit_row(cells: list[str], has_header: bool) -> bool:
    """Tell a row of units: all of them known; below a header, half of them will do."""
    stated = [cell for cell in cells if cell]
    known = [cell for cell in stated if plain_unit(cell) is not None]
    return bool(known) and (len(known) == len(stated) or (has_header and 2 * len(known) >= len(stated)))


def _numbers(lines: list[str], dialect: Dialect) -> list[list[float | None]]:
    rows = []
    for line in lines:
        if _data_width(line, dialect):
            plain = [cell.replace(dialect.decimal, ".").replace("∞", "inf") for cell in dialect.split(line)]
            rows.append([None if cell in LOST else float(cell) for cell in plain])
    return rows


def _time_column(columns: tuple[Column, ...], rows: list[list[float | None]]) -> int | None:
    """Find time by its name, else by its unit, else as an unnamed first column that rises evenly."""
    for i, column in enumerate(columns):
        if _TIME.match(column.label):
            return i
    for i, column in enumerate(columns):
        if column.unit in TICKS_PER_S:
            return i
    if len(columns) > 1 and not _COUNTER.fullmatch(columns[0].label) and not _counts(rows) and _rises_evenly(rows):
        return 0
    return None


def _rises_evenly(rows: list[list[float | None]]) -> bool:
    steps = _first_steps(rows)
    return len(steps) > 0 and min(steps) > 0 and sum(step < 1.5 * min(steps) for step in steps) > 0.5 * len(steps)


def _counts(rows: list[list[float | None]]) -> bool:
    """Tell a first column that only counts rows: every step is exactly 1."""
    steps = _first_steps(rows)
    return len(steps) > 1 and all(step == 1.0 for step in steps)


def _first_steps(rows: list[list[float | None]]) -> list[float]:
    first = [row[0] for row in rows if row and row[0] is not None]
    return [b - a for a, b in pairwise(first)]


def _first_text(lines: list[str]) -> int:
    return next((i + 1 for i, line in enumerate(lines) if line.strip()), 1)
