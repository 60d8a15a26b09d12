"""A power cut at every byte: `python -m tests.bench.truncation [STEP]` cuts the files of a recording, each STEP bytes.

A recording whose log was killed, with its ledger's write-ahead file; then with that file folded into the ledger, as at
a clean end. Of every file the last 64 kB are taken away, byte by byte, and each time all is read again: samples are
those that were there, up to somewhere; so are rows of the book; or one line says which file cannot be read. Every
thousandth time or so the recording is gone on with, too.
"""

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

import numpy as np

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.errors import FormatError
from acquire.recording import RecordingWriter, Storage, read_blocks, read_info
from monitor.flags import Flag
from monitor.ledger_reader import read_flags

TAIL = 64 << 10
ENGINE = "simulated:?rate=20000&rpm=3000&seed=5&fault=no-answer,cylinder=4,probability=0.2"
LOG = (sys.executable, "-m", "tests.bench.short_files", "log")
BOOK = "ledger.sqlite"
LONGEST_S = 60.0
RESUME_EVERY = 997


@dataclass
class Result:
    """What became of one file's cuts: read to some point, or refused; what was `wrong` must not be, with an example."""

    name: str
    cuts: int = 0
    refused: int = 0
    wrong: int = 0
    example: str = ""


@dataclass(frozen=True)
class Whole:
    """What a recording held before anything was cut; samples from index 0 on, shape (inputs, samples)."""

    info: StreamInfo
    counts: Counts
    flags: list[Flag]
    firings: list[tuple[object, ...]]


def killed(folder: Path) -> Path:
    """Let a log write several sample files and kill it."""
    log = subprocess.Popen([*LOG, ENGINE, "--to", str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    deadline = time.monotonic() + LONGEST_S
    while _size(folder / "samples-002.arrow") == 0 or _size(folder / f"{BOOK}-wal") < TAIL:
        assert log.poll() is None, log.stderr.read() if log.stderr else ""
        assert time.monotonic() < deadline, "the log is not under way"
        time.sleep(0.01)
    log.kill()
    log.communicate()
    return folder


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def folded(folder: Path, to: Path) -> Path:
    """Copy a recording and let SQLite fold the write-ahead file into the book."""
    shutil.copytree(folder, to)
    with closing(sqlite3.connect(to / BOOK)) as book:
        book.execute("PRAGMA journal_mode = DELETE")
    return to


def cut_each(folder: Path, step: int, names: str = "*") -> Iterator[Result]:
    """Cut every file of a recording with such a name; the recording is left as it was."""
    counts = np.concatenate([block.counts for block in read_blocks(folder, read_info(folder))], axis=1)
    whole = Whole(read_info(folder), counts, read_flags(folder / BOOK), _firings(folder))
    for path in sorted(folder.glob(names)):
        if path.is_file() and not path.name.endswith("-shm") and path.stat().st_size:
            yield _cut(folder, path.name, whole, step)


def _cut(folder: Path, name: str, whole: Whole, step: int) -> Result:
    result, judge = Result(name), _book if BOOK in name else _samples
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(shutil.copytree(folder, Path(scratch) / "cut", ignore=shutil.ignore_patterns("clips", "*-shm")))
        size = (copy / name).stat().st_size
        for length in range(size, max(size - TAIL, 0) - 1, -step):
            os.truncate(copy / name, length)
            result.cuts += 1
            try:
                wrong = judge(copy, whole)
            except FormatError as error:
                result.refused += 1
                wrong = _ill_said(error, copy)
            if result.cuts % RESUME_EVERY == 0:
                wrong = wrong or _resumed(copy, whole)
            if wrong:
                result.wrong += 1
                result.example = result.example or f"cut to {length} of {size} bytes: {wrong}"
    return result


def _samples(folder: Path, whole: Whole) -> str:
    """Hold what can be read to what was there; "" where all of that is right."""
    info = read_info(folder)
    for block in read_blocks(folder, info):
        if not np.array_equal(block.counts, whole.counts[:, block.first_index : block.end_index]):
            return f"sample {block.first_index} or one behind it is wrong"
    same = replace(info, total_samples=None) == replace(whole.info, total_samples=None)
    return "" if same else "the header says something else"


def _book(folder: Path, whole: Whole) -> str:
    """Hold the rows that can be read to those that were there; a flag may have been shorter then."""
    flags, firings = read_flags(folder / BOOK), _firings(folder)
    if [_named(flag) for flag in flags] != [_named(flag) for flag in whole.flags[: len(flags)]]:
        return "a flag is wrong"
    return "" if firings == whole.firings[: len(firings)] else "a firing is wrong"


def _named(flag: Flag) -> tuple[object, ...]:
    return flag.number, flag.kind, flag.cylinder, flag.start_s


def _firings(folder: Path) -> list[tuple[object, ...]]:
    """Every firing, as SQLite reads them."""
    try:
        with closing(sqlite3.connect(f"{(folder / BOOK).as_uri()}?mode=ro", uri=True)) as book:
            return book.execute("SELECT * FROM firings ORDER BY rowid").fetchall()
    except sqlite3.DatabaseError as error:
        raise FormatError(f"{folder / BOOK}: {error}") from error


def _ill_said(error: FormatError, folder: Path) -> str:
    """Say what is wrong with an error's text; "" where nothing is."""
    text = str(error)
    return "" if text.startswith(str(folder)) and text.isprintable() else f"said as {text!r}"


def _resumed(folder: Path, whole: Whole) -> str:
    """Go on with a copy of the recording; "" where all is there that was, and what was added, or it was refused."""
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(shutil.copytree(folder, Path(scratch) / "resumed"))
        end = whole.counts.shape[1]
        try:
            before = _ends(copy)
            with RecordingWriter(copy, whole.info, storage=Storage(resume=True)) as writer:
                writer.write(SampleBlock(end + 5, whole.counts[:, :100]))
        except FormatError as error:
            return _ill_said(error, copy)
        return "" if _ends(copy) == [*before, end + 105] else "what was added cannot be read"


def _ends(folder: Path) -> list[int]:
    return [block.end_index for block in read_blocks(folder, read_info(folder))]


def main(step: int = 1) -> None:
    """Print what became of each file's cuts."""
    print("file | cuts | read to some point | refused in one line | wrong")
    with tempfile.TemporaryDirectory() as scratch:
        log = killed(Path(scratch) / "killed")
        cuts = chain(cut_each(log, step), cut_each(folded(log, Path(scratch) / "folded"), step, BOOK))
        for one in cuts:
            read = one.cuts - one.refused - one.wrong
            print(f"{one.name} | {one.cuts} | {read} | {one.refused} | {one.wrong} {one.example}", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
