"""Tables of samples as other people's programs write them.

A time column gives the rate and shows what is missing; without one the address says the rate (`file.csv?rate=50000`).
A row with a value missing is a lost sample; an infinity is a sample on the end of the converter's range; a last row
that was cut off in writing is left out. A column that is empty in the whole first piece is left out, and
`StreamInfo.source` says so. Counts are microvolts (millivolts where the unit is kV).
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.errors import AddressError, FormatError
from drivers.address import Address
from drivers.files.csv_layout import Layout, find_layout
from drivers.files.csv_pieces import Piece, Table, numbered, parse
from drivers.files.guard import Guard
from drivers.files.stamps import Clock, StampFault, find_rate
from drivers.files.text import whole_lines
from drivers.files.units import SCALES, TICKS_PER_S, VOLTS, Scale
from drivers.files.volts import HIGH_COUNT, LOW_COUNT, blocks_of, to_counts

RATE_AGREES = 0.01
"""How far, as a fraction, a rate given may be from what the time column shows; the column still places the samples."""


class CsvSource:
    """Reads one table. Options: rate=, in Hz; time=s|ms|us|ns, the time column's unit; time=none to ignore it."""

    def __init__(self, address: Address) -> None:
        address.allow("rate", "time")
        self._name = address.path
        self._rate_hz = address.number("rate", None, 1e-3, 1e10)
        self._time_unit = address.choice("time", None, ("s", "ms", "us", "ns", "none"))
        self._guard = Guard(self._name)
        self._pieces: Iterator[Piece] = iter(())
        self._empty: tuple[int, ...] = ()

    def open(self) -> StreamInfo:
        """Tell layout, rate and inputs from the first piece. Raises AddressError, FormatError or SourceLost."""
        try:
            file = Path(self._name).open("rb")  # noqa: SIM115  the guard closes it
        except OSError as error:
            raise AddressError(f"{self._name}: cannot be opened: {error.strerror}") from error
        self._guard.hold(file)
        with self._guard.opening():
            lines = whole_lines(self._name, lambda size: self._guard.read(lambda: file.read(size)))
            head = next(lines, b"")
            self._layout = self._chosen(find_layout(self._name, head.decode(errors="replace")))
            self._pieces = numbered(head, lines, self._layout.first_line)
            return self._begin(next(self._pieces))

    def blocks(self) -> Iterator[SampleBlock]:
        """Read on to the end. Raises FormatError with row and column where a cell cannot be read."""
        try:
            for piece in self._pieces:
                yield from self._blocks_of(piece, parse(self._name, piece, self._layout))
        finally:
            self.close()

    def close(self) -> None:
        """Close the file."""
        self._guard.close()

    def _chosen(self, layout: Layout) -> Layout:
        """Apply what the address says about time."""
        if self._time_unit == "none" and layout.time is not None:
            return replace(layout, time=None, ignored=(*layout.ignored, layout.time))
        if self._time_unit not in (None, "none") and layout.time is None:
            return replace(layout, time=0, ignored=())
        return layout

    def _begin(self, first: Piece) -> StreamInfo:
        table = parse(self._name, first, self._layout)
        values = self._layout.value_columns
        self._empty = tuple(column for column in values if np.isnan(table[column]).all())
        self._used = {column: n for n, column in enumerate(values, start=1) if column not in self._empty}
        if not self._used:
            raise FormatError(f"{self._name}: row {first.first_row}: no column holds a signal beside the time")
        ticks_per_s = self._ticks_per_s()
        self._clock = Clock(self._rate(first, table, ticks_per_s))
        self._pieces = chain([first], self._pieces)
        channels = tuple(self._channel(column) for column in self._used)
        rate_hz = self._rate_hz or self._clock.rate * ticks_per_s
        return StreamInfo(self._name + self._left_out(), rate_hz, channels, np.dtype(np.int32))

    def _ticks_per_s(self) -> float:
        if self._layout.time is None:
            return 1.0
        unit = self._time_unit or self._layout.columns[self._layout.time].unit or "s"
        if unit not in TICKS_PER_S:
            column = self._layout.name_of(self._layout.time)
            raise FormatError(f'{self._name}: {column}: time in "{unit}" is not understood; say time=s, ms, us or ns')
        return TICKS_PER_S[unit]

    def _rate(self, first: Piece, table: Table, ticks_per_s: float) -> float:
        """Give the rate in samples per unit of the time column, or in Hz without one."""
        given = None if self._rate_hz is None else self._rate_hz / ticks_per_s
        if self._layout.time is None:
            if given is None:
                hint = "no time column, so say the rate in Hz: ?rate=50000"
                raise FormatError(f"{self._name}: row {first.first_row}: {hint}")
            return given
        stamps = table[self._layout.time]
        present = np.flatnonzero(np.isfinite(stamps))
        if given is not None and len(present) < 2:
            return given
        try:
            found = find_rate(stamps[present])
        except StampFault as fault:
            raise self._stamp_error(first, present, fault) from fault
        if given is not None and abs(given / found - 1.0) > RATE_AGREES:
            shown = f"{found * ticks_per_s:.9g} Hz by the time column"
            raise FormatError(f"{self._name}: rate: {self._rate_hz:.9g} Hz given, {shown}; time=none ignores that")
        return found

    def _blocks_of(self, piece: Piece, table: Table) -> Iterator[SampleBlock]:
        index, stamped = self._indices(piece, table)
        present = np.ones(len(stamped), np.bool_)
        counts = np.empty((len(self._used), len(stamped)), np.int32)
        for row, column in enumerate(self._used):
            values = table[column][stamped]
            present &= ~np.isnan(values)
            to_counts(values, self._scale(column).counts_per_unit, counts[row])
        self._check_empty(piece, table)
        yield from blocks_of(counts, index, present)

    def _indices(self, piece: Piece, table: Table) -> tuple[NDArray[np.int64], NDArray[np.intp]]:
        """Give the sample index of each row that has one, and which rows those are."""
        if self._layout.time is None:
            rows = np.arange(len(table[0]))
            first = self._clock.next_index
            self._clock.next_index += len(rows)
            return first + rows, rows
        stamps = table[self._layout.time]
        present = np.flatnonzero(np.isfinite(stamps))
        try:
            return self._clock.indices(stamps[present]), present
        except StampFault as fault:
            raise self._stamp_error(piece, present, fault) from fault

    def _stamp_error(self, piece: Piece, present: NDArray[np.intp], fault: StampFault) -> FormatError:
        row = piece.row_of(int(present[fault.row]) if len(present) else 0)
        column = self._layout.name_of(self._layout.time or 0)
        return FormatError(f"{self._name}: row {row}, {column}: {fault}")

    def _check_empty(self, piece: Piece, table: Table) -> None:
        for column in self._empty:
            filled = np.flatnonzero(~np.isnan(table[column]))
            if len(filled):
                row = piece.row_of(int(filled[0]))
                text = "begins here, after it was left out as empty"
                raise FormatError(f"{self._name}: row {row}, {self._layout.name_of(column)}: {text}")

    def _scale(self, column: int) -> Scale:
        return SCALES.get(self._layout.columns[column].unit, VOLTS)

    def _channel(self, column: int) -> ChannelInfo:
        return ChannelInfo(
            input=f"in{self._used[column]}",
            volts_per_count=self._scale(column).volts_per_count,
            low_count=LOW_COUNT,
            high_count=HIGH_COUNT,
            label=self._layout.columns[column].label,
        )

    def _left_out(self) -> str:
        last = len(self._layout.columns) - 1
        told = [c for c in self._empty if c != last or self._layout.columns[c].label]
        return f" (left out as empty: {', '.join(map(self._layout.name_of, told))})" if told else ""
