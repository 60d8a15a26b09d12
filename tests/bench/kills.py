"""Kills a running `log` at random moments and says what is left: `python -m tests.bench.kills [TIMES [SEED]]`.

The source writes down how many samples it gave before each block, so what was there at the kill is known exactly. Then,
from outside: every sample that is left is the simulated one; of the end at most a second is missing; the book is sound
for SQLite and holds, row for row, what the analysis makes of the same samples, and of that all but a second.
"""

import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import astuple, dataclass, fields
from functools import partial
from itertools import takewhile
from pathlib import Path

import numpy as np

from acquire.block import SampleBlock, StreamInfo
from acquire.recording import read_blocks, read_info
from drivers.address import parse_address
from drivers.simulated.options import engine_from
from monitor.analyzer import Analyzer
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.setup import parse_setup
from tests.bench.sources import told_end

AT_ONCE = 4
MAY_LOSE_S = 1.0
LONGEST_S = 60.0
LATEST_S = 6.0
"""The kill comes before so much was recorded."""

Row = tuple[object, ...]


@dataclass(frozen=True)
class Plan:
    """One log and its kill, when so many samples were given."""

    rate_hz: float
    block: int
    engine: str
    kill_index: int

    @property
    def query(self) -> str:
        """The engine's part of the address."""
        return f"rate={self.rate_hz:.0f}&block={self.block}&duration={LATEST_S + 2 * MAY_LOSE_S}&{self.engine}"


@dataclass(frozen=True)
class Outcome:
    """What was left, in seconds and rows; `wrong` says what must not be."""

    plan: Plan
    given_s: float
    samples_missing_s: float
    book_missing_s: float
    firings: int
    flags: int
    wrong: tuple[str, ...]


def plans(times: int, seed: int) -> Iterator[Plan]:
    """Rates and sizes of blocks from slow to fast, engines with faults, and a moment each."""
    chance = random.Random(seed)
    for number in range(times):
        rate_hz, block_s = chance.choice((10e3, 50e3, 100e3, 400e3)), chance.choice((1e-3, 5e-3, 20e-3, 0.3))
        rpm, dtype = chance.choice((700, 1500, 4000)), chance.choice(("int8", "int16", "int32"))
        engine = (
            f"rpm={rpm}&seed={seed + number}&dtype={dtype}"
            f"&fault=no-answer,cylinder=4,probability=0.2&fault=no-answer,cylinder=1,probability=0.05"
            f"&fault=feed-dropout,start_s={chance.uniform(1, 4)},duration_s=0.01"
        )
        yield Plan(rate_hz, round(rate_hz * block_s), engine, round(rate_hz * chance.uniform(0, LATEST_S)))


def killed(plan: Plan, folder: Path) -> int:
    """Log until the moment has come, kill; how many samples the log had been given."""
    told = folder / "told"
    address = f"tests.bench.sources:engine?told={told}&{plan.query}"
    program = [
        sys.executable,
        "-c",
        "from monitor.cli import main; main()",
        "log",
        address,
        "--to",
        str(folder / "kept"),
    ]
    with subprocess.Popen(program, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        deadline = time.monotonic() + LONGEST_S
        while told_end(told) < max(plan.kill_index, 1) and process.poll() is None and time.monotonic() < deadline:
            time.sleep(0.001)
        process.send_signal(signal.SIGKILL)
        _, said = process.communicate()
    assert process.returncode == -signal.SIGKILL, said.decode(errors="replace")
    return told_end(told)


@dataclass(frozen=True)
class Truth:
    """The simulated samples, and of their analysis each firing and each state of each flag with when it was known."""

    info: StreamInfo
    blocks: tuple[SampleBlock, ...]
    firings: tuple[tuple[int, Firing], ...]
    flags: tuple[tuple[int, Flag], ...]

    def known_by(self, index: float) -> int:
        """How many firings were known when so many samples had been seen."""
        return len(list(takewhile(lambda row: row[0] <= index, self.firings)))


def truth(plan: Plan) -> Truth:
    """Draw the same samples again and analyse them block by block."""
    engine = engine_from(parse_address(f"simulated:?pace=0&{plan.query}"))
    info = engine.open()
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info)
    blocks = tuple(engine.blocks())
    steps = [(block.end_index, analyzer.feed(block)) for block in blocks]
    return Truth(
        info,
        blocks,
        tuple((end, firing) for end, step in steps for firing in step.firings),
        tuple((end, flag) for end, step in steps for flag in step.flags),
    )


def wrong_samples(kept: Path, drawn: Truth) -> tuple[int, int]:
    """Where the recording ends, and how many of its samples are not the simulated ones or not there."""
    right = np.concatenate([block.counts for block in drawn.blocks], axis=1)
    end = wrong = 0
    for block in read_blocks(kept, read_info(kept)):
        wrong += block.first_index - end
        wrong += int(np.count_nonzero(block.counts != right[:, block.first_index : block.end_index]))
        end = block.end_index
    return end, wrong


def book_of(path: Path) -> tuple[str, list[Row], list[Row]]:
    """SQLite's own word on the book, its firings and its flags."""
    with closing(sqlite3.connect(path)) as book:
        (sound,) = book.execute("PRAGMA integrity_check").fetchone()
        return sound, _all(book, "firings", Firing), _all(book, "flags", Flag)


def _all(book: sqlite3.Connection, table: str, record: type[Firing] | type[Flag]) -> list[Row]:
    columns = ", ".join(field.name for field in fields(record))
    return book.execute(f"SELECT {columns} FROM {table} ORDER BY rowid").fetchall()


def judged(plan: Plan, kept: Path, given: int) -> Outcome:
    """Hold what is left against what was given."""
    drawn = truth(plan)
    end, wrong = wrong_samples(kept, drawn) if (kept / "recording.toml").exists() else (0, 0)
    book = kept / "ledger.sqlite"
    sound, rows, flags = book_of(book) if book.exists() else ("ok", [], [])
    second = plan.rate_hz * MAY_LOSE_S
    states = {astuple(flag) for known, flag in drawn.flags if known <= given}
    checks = {
        f"{wrong} wrong samples": wrong == 0,
        f"{end} samples of {given}": given - second <= end <= given,
        f"book: {sound}": sound == "ok",
        f"firings differ from the samples' in {len(rows)} rows": rows == _rows(drawn, len(rows)),
        f"{len(rows)} firings, more than were known": len(rows)
        <= min(drawn.known_by(given), drawn.known_by(end + second)),
        f"{len(rows)} firings, a second's less": len(rows) >= drawn.known_by(given - second),
        f"flags that never were: {set(flags) - states}": set(flags) <= states,
        "flags of more than a second ago missing": _numbers(drawn, given - second) <= {flag[0] for flag in flags},
    }
    newest = drawn.firings[len(rows)][0] if len(rows) < drawn.known_by(given) else given
    return Outcome(
        plan,
        given / plan.rate_hz,
        (given - end) / plan.rate_hz,
        (given - newest) / plan.rate_hz,
        len(rows),
        len(flags),
        tuple(what for what, holds in checks.items() if not holds),
    )


def _rows(drawn: Truth, count: int) -> list[Row]:
    return [astuple(firing) for _, firing in drawn.firings[:count]]


def _numbers(drawn: Truth, index: float) -> set[object]:
    return {flag.number for known, flag in drawn.flags if known <= index}


def one(plan: Plan, scratch: Path) -> Outcome:
    """A log, its kill and the judgement."""
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        given = killed(plan, Path(folder))
        return judged(plan, Path(folder) / "kept", given)


def campaign(times: int, seed: int, scratch: Path) -> list[Outcome]:
    """So many of them, a few at a time: the logs are processes of their own."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(partial(one, scratch=scratch), plans(times, seed)))


def table(done: Sequence[Outcome]) -> str:
    """One row for each sample rate, in Markdown."""
    lines = ["| kS/s | kills | firings | flags | samples missing, s | firings missing, s | wrong |", "|---:" * 7 + "|"]
    for rate_hz in sorted({one.plan.rate_hz for one in done}):
        some = [one for one in done if one.plan.rate_hz == rate_hz]
        counts = sum(one.firings for one in some), sum(one.flags for one in some), sum(bool(one.wrong) for one in some)
        samples, book = _spread([one.samples_missing_s for one in some]), _spread([one.book_missing_s for one in some])
        lines.append(
            f"| {rate_hz / 1e3:g} | {len(some)} | {counts[0]:,} | {counts[1]:,} | {samples} | {book} | {counts[2]} |"
        )
    return "\n".join(lines)


def _spread(values: Sequence[float]) -> str:
    return f"{np.median(values):.2f}, at most {max(values):.2f}"


def main(times: int = 200, seed: int = 1) -> int:
    """Print the table, and each outcome that must not be."""
    with tempfile.TemporaryDirectory() as scratch:
        done = campaign(times, seed, Path(scratch))
    print(table(done))
    for one in done:
        if one.wrong:
            print(one.plan, f"given {one.given_s:.2f} s:", *one.wrong, sep="\n  ")
    return int(any(one.wrong for one in done))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
