"""What the simulated engine gave, what the analysis makes of it, and what of both a recording holds."""

import sqlite3
from contextlib import closing
from dataclasses import astuple, dataclass, fields
from functools import cached_property
from itertools import takewhile
from pathlib import Path
from typing import Any

import numpy as np

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.recording import read_blocks, read_info
from drivers.address import parse_address
from drivers.simulated.options import engine_from
from monitor.analyzer import Analyzer
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.setup import parse_setup

Row = tuple[Any, ...]


@dataclass(frozen=True)
class Truth:
    """The samples, and of their analysis each firing and each state of each flag with the index at which it was known.

    What the end of the stream decides has the index after the last sample.
    """

    info: StreamInfo
    blocks: tuple[SampleBlock, ...]
    firings: tuple[tuple[int, Firing], ...]
    flags: tuple[tuple[int, Flag], ...]

    @cached_property
    def counts(self) -> Counts:
        """All samples, shape (inputs, samples)."""
        return np.concatenate([block.counts for block in self.blocks], axis=1)

    @cached_property
    def rows(self) -> list[Row]:
        """Every firing as the book should have it."""
        return [astuple(firing) for _, firing in self.firings]

    def known_by(self, index: float) -> int:
        """How many firings were known when so many samples had been seen."""
        return len(list(takewhile(lambda row: row[0] <= index, self.firings)))

    def flags_by(self, index: float) -> set[Row]:
        """Every state of every flag until then."""
        return {astuple(flag) for known, flag in self.flags if known <= index}


def truth(query: str) -> Truth:
    """Draw the samples of a simulated engine that ends, and analyse them block by block."""
    engine = engine_from(parse_address(f"simulated:?pace=0&{query}"))
    info = engine.open()
    return analysed(info, tuple(engine.blocks()))


def analysed(info: StreamInfo, blocks: tuple[SampleBlock, ...]) -> Truth:
    """Take these samples for the truth."""
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "truth"), info)
    steps = [(block.end_index, analyzer.feed(block)) for block in blocks]
    steps.append((blocks[-1].end_index, analyzer.finish()))
    return Truth(
        info,
        blocks,
        tuple((end, firing) for end, step in steps for firing in step.firings),
        tuple((end, flag) for end, step in steps for flag in step.flags),
    )


def shifted(drawn: Truth, zero: int) -> Truth:
    """The same samples, had the first of them stood at `zero`."""
    return analysed(drawn.info, tuple(SampleBlock(zero + one.first_index, one.counts) for one in drawn.blocks))


@dataclass(frozen=True)
class Samples:
    """Of each input: those that can be read, those missing before the last of them, and those that are wrong."""

    read: int = 0
    missing: int = 0
    wrong: int = 0

    @property
    def end(self) -> int:
        """Index after the last."""
        return self.read + self.missing


def samples_in(kept: Path, drawn: Truth, *, begins_anew: bool = False) -> Samples:
    """Hold a recording's samples against the truth; a folder without a header holds none.

    With `begins_anew` the engine began again with its first sample after each gap.
    """
    read = missing = wrong = zero = 0
    if not (kept / "recording.toml").exists():
        return Samples()
    for block in read_blocks(kept, read_info(kept)):
        if block.first_index > read + missing:
            missing = block.first_index - read
            zero = block.first_index if begins_anew else 0
        read += block.samples
        right = drawn.counts[:, block.first_index - zero : block.end_index - zero]
        wrong += int(np.count_nonzero(block.counts != right))
    return Samples(read, missing, wrong)


def stretches(kept: Path) -> list[tuple[int, int]]:
    """First index and end of what a recording holds without a gap."""
    found: list[tuple[int, int]] = []
    for block in read_blocks(kept, read_info(kept)) if (kept / "recording.toml").exists() else ():
        first = found.pop()[0] if found and found[-1][1] == block.first_index else block.first_index
        found.append((first, block.end_index))
    return found


@dataclass(frozen=True)
class Book:
    """SQLite's own word on a book, its firings and flags, and at which sample each session began, where it says so."""

    sound: str = "ok"
    firings: tuple[Row, ...] = ()
    flags: tuple[Row, ...] = ()
    starts: tuple[int | None, ...] = ()


def book_in(kept: Path) -> Book:
    """Read a recording's book as anybody would."""
    path = kept / "ledger.sqlite"
    if not path.exists():
        return Book()
    with closing(sqlite3.connect(path)) as book:
        (sound,) = book.execute("PRAGMA integrity_check").fetchone()
        if not book.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            return Book(sound)
        starts = tuple(first for (first,) in book.execute("SELECT first_index FROM sessions ORDER BY number"))
        return Book(sound, _all(book, "firings", Firing), _all(book, "flags", Flag), starts)


def _all(book: sqlite3.Connection, table: str, record: type[Firing] | type[Flag]) -> tuple[Row, ...]:
    columns = ", ".join(field.name for field in fields(record))
    return tuple(book.execute(f"SELECT {columns} FROM {table} ORDER BY rowid"))
