"""Kills a running `log` at random moments and says what is left: `python -m tests.bench.kills [TIMES [SEED]]`.

The source writes down how many samples it gave before each block, so what was there at the kill is known exactly. Then,
from outside: every sample that is left is the simulated one; of the end at most a second is missing; the book is sound
for SQLite and holds, row for row, what the analysis makes of the same samples, and of that all but a second. A sample
file is of a second, so that some kills come between two of them.
"""

import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from tests.bench.sources import told_end
from tests.bench.truth import Truth, book_in, samples_in, truth

AT_ONCE = 2
MAY_LOSE_S = 1.0
LONGEST_S = 60.0
LATEST_S = 6.0
"""The kill comes before so much was recorded."""


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
    program = [sys.executable, "-m", "tests.bench.short_files", "log", address, "--to", str(folder / "kept")]
    with subprocess.Popen(program, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        deadline = time.monotonic() + LONGEST_S
        while told_end(told) < max(plan.kill_index, 1) and process.poll() is None and time.monotonic() < deadline:
            time.sleep(0.001)
        process.send_signal(signal.SIGKILL)
        _, said = process.communicate()
    assert process.returncode == -signal.SIGKILL, said.decode(errors="replace")
    return told_end(told)


def judged(plan: Plan, kept: Path, given: int) -> Outcome:
    """Hold what is left against what was given."""
    drawn = truth(plan.query)
    samples, book = samples_in(kept, drawn), book_in(kept)
    second, rows = plan.rate_hz * MAY_LOSE_S, len(book.firings)
    known = min(drawn.known_by(given), drawn.known_by(samples.end + second))
    old_flags = {number for number, *_ in drawn.flags_by(given - second)}
    checks = {
        f"{samples}": samples.wrong == samples.missing == 0,
        f"{samples.end} samples of {given}": given - second <= samples.end <= given,
        f"book: {book.sound}": book.sound == "ok",
        "firings differ from the samples'": list(book.firings) == drawn.rows[:rows],
        f"{rows} firings": drawn.known_by(given - second) <= rows <= known,
        "flags that never were": set(book.flags) <= drawn.flags_by(given),
        "clips": clips_are_right(kept, drawn),
        "flags of more than a second ago are missing": old_flags <= {number for number, *_ in book.flags},
    }
    newest = drawn.firings[rows][0] if rows < drawn.known_by(given) else given
    return Outcome(
        plan,
        given / plan.rate_hz,
        (given - samples.end) / plan.rate_hz,
        (given - newest) / plan.rate_hz,
        rows,
        len(book.flags),
        tuple(what for what, holds in checks.items() if not holds),
    )


def clips_are_right(kept: Path, drawn: Truth) -> bool:
    """Whether each finished clip opens and holds samples, the simulated ones."""
    held = [samples_in(clip, drawn) for clip in kept.glob("clips/*") if clip.name.isdigit()]
    return all(samples.read and not samples.wrong for samples in held)


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
