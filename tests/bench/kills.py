"""Kills a running `log` at random moments and says what is left: `python -m tests.bench.kills [TIMES [SEED]]`.

The source writes down how many samples it gave before each block, so what was there at the kill is known exactly. Then,
from outside: every sample that is left is the simulated one; of the end at most a second is missing; the book is sound
for SQLite and holds, row for row, what the analysis makes of the same samples, and of that all but a second. A sample
file is of a second, so that some kills come between two of them. Every third recording is gone on with, and killed
once more. Where there is a broker, every flag that a subscriber has got is in the book.
"""

import math
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain
from pathlib import Path

import numpy as np

from monitor.analysis import analyze_recording
from tests.bench.sources import told_end
from tests.bench.subscriber import Heard, subscribed
from tests.bench.truth import Book, Row, Truth, book_in, samples_in, shifted, stretches, truth

AT_ONCE = 2
MAY_LOSE_S = 1.0
LONGEST_S = 60.0
LATEST_S = 6.0
"""The kill comes before so much was recorded."""
TIME, NUMBER, START, COUNT = 2, 0, 5, 7
"""Columns: time_s of a firing; number, start_s and count of a flag."""
FAR = 1 << 50
"""Where nothing is."""


@dataclass(frozen=True)
class Plan:
    """One log and its kills, each when so many samples were given."""

    number: int
    rate_hz: float
    block: int
    engine: str
    kills: tuple[int, ...]

    @property
    def query(self) -> str:
        """The engine's part of the address."""
        return f"rate={self.rate_hz:.0f}&block={self.block}&duration={LATEST_S + 2 * MAY_LOSE_S}&{self.engine}"


@dataclass(frozen=True)
class Outcome:
    """What a kill left, in seconds and rows; `wrong` says what must not be."""

    plan: Plan
    given_s: float
    samples_missing_s: float
    book_missing_s: float
    firings: int
    flags: int
    wrong: tuple[str, ...]
    published: int = 0


def plans(times: int, seed: int) -> Iterator[Plan]:
    """Rates and sizes of blocks from slow to fast, engines with faults, and a moment each; `times` kills in all."""
    chance = random.Random(seed)
    number = 0
    while times > 0:
        number += 1
        rate_hz, block_s = chance.choice((10e3, 50e3, 100e3, 400e3)), chance.choice((1e-3, 5e-3, 20e-3, 0.3))
        rpm, dtype = chance.choice((700, 1500, 4000)), chance.choice(("int8", "int16", "int32"))
        engine = (
            f"rpm={rpm}&seed={seed + number}&dtype={dtype}"
            f"&fault=no-answer,cylinder=4,probability=0.2&fault=no-answer,cylinder=1,probability=0.05"
            f"&fault=feed-dropout,start_s={chance.uniform(1, 4)},duration_s=0.01"
        )
        kills = [round(rate_hz * chance.uniform(0, LATEST_S)) for _ in range(min(times, 2 if number % 3 == 0 else 1))]
        times -= len(kills)
        yield Plan(number, rate_hz, round(rate_hz * block_s), engine, tuple(kills))


def killed(plan: Plan, kill_index: int, told: Path, where: Sequence[str], mqtt: Sequence[str]) -> int:
    """Log until the moment has come, kill; how many samples the log had been given."""
    address = f"tests.bench.sources:engine?told={told}&{plan.query}"
    program = [sys.executable, "-m", "tests.bench.short_files", "log", address, *where, *mqtt]
    state = os.environ | {"XDG_STATE_HOME": str(told.parent)}
    with subprocess.Popen(program, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=state) as process:
        deadline = time.monotonic() + LONGEST_S
        while told_end(told) < max(kill_index, 1) and process.poll() is None and time.monotonic() < deadline:
            time.sleep(0.001)
        process.send_signal(signal.SIGKILL)
        _, said = process.communicate()
    assert process.returncode == -signal.SIGKILL, said.decode(errors="replace")
    return told_end(told)


@dataclass(frozen=True)
class Session:
    """What is left of one run: of `given` samples, the first of which stands at `zero`, those before `end`."""

    given: int
    zero: int
    end: int
    firings: tuple[Row, ...]
    flags: tuple[Row, ...]


def sessions(plan: Plan, kept: Path, book: Book, given: Sequence[int]) -> list[Session]:
    """Take what is left apart where the second run began, if there was one and it left anything."""
    found = stretches(kept)
    later = [first for first, _ in found if first > 0] + [first for first in book.starts[1:] if first is not None]
    zeros = [0, *later, FAR][: len(given)]
    return [
        Session(
            count,
            zero,
            max([end for first, end in found if zero <= first < bound], default=zero),
            tuple(row for row in book.firings if zero <= row[TIME] * plan.rate_hz < bound),
            tuple(row for row in book.flags if zero <= row[START] * plan.rate_hz < bound),
        )
        for count, zero, bound in zip(given, zeros, [*zeros[1:], math.inf], strict=True)
    ]


def judged(plan: Plan, left: Session, drawn: Truth, flags_before: int) -> Outcome:
    """Hold what is left of a run against what it was given; flags are numbered on from those before."""
    given, second = left.zero + left.given, plan.rate_hz * MAY_LOSE_S
    rows, states = len(left.firings), {(row[NUMBER] - flags_before, *row[1:]) for row in left.flags}
    old_flags = {state[NUMBER] for state in drawn.flags_by(given - second)}
    known = min(drawn.known_by(given), drawn.known_by(left.end + second))
    checks = {
        f"samples end at {left.end} of {given}": given - second <= left.end <= given,
        "firings differ from the samples'": list(left.firings) == drawn.rows[:rows],
        f"{rows} firings": drawn.known_by(given - second) <= rows <= known,
        "flags that never were": states <= drawn.flags_by(given),
        "flags of more than a second ago are missing": old_flags <= {state[NUMBER] for state in states},
    }
    newest = drawn.firings[rows][0] if rows < drawn.known_by(given) else given
    return Outcome(
        plan,
        left.given / plan.rate_hz,
        (given - left.end) / plan.rate_hz,
        (given - newest) / plan.rate_hz,
        rows,
        len(left.flags),
        tuple(what for what, holds in checks.items() if not holds),
    )


def whole_is_wrong(kept: Path, drawn: Truth, book: Book, published: Sequence[Row]) -> tuple[str, ...]:
    """What must not be, of the recording as a whole."""
    samples = samples_in(kept, drawn, begins_anew=True)
    clips = [samples_in(clip, drawn) for clip in kept.glob("clips/*") if clip.name.isdigit() and not book.starts[1:]]
    counts = {row[NUMBER]: row[COUNT] for row in book.flags}
    checks = {
        f"{samples}": samples.wrong == 0,
        f"book: {book.sound}": book.sound == "ok",
        f"clips: {clips}": all(clip.read and not clip.wrong for clip in clips),
        "analyze does not come to its end": not samples.read or analyzed_end(kept) == samples.end,
        "published, but not in the book": all(count <= counts.get(number, 0) for number, count in published),
    }
    return tuple(what for what, holds in checks.items() if not holds)


def analyzed_end(kept: Path) -> int:
    """Where `analyze` comes to with it."""
    return analyze_recording(str(kept), None).analyzer.standing.end_index


def one(plan: Plan, scratch: Path, heard: Heard | None) -> list[Outcome]:
    """A log, its kills and the judgement of each run."""
    mqtt = heard.options(plan.number) if heard else []
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        kept = Path(folder) / "kept"
        given = [killed(plan, plan.kills[0], Path(folder) / "told-1", ["--to", str(kept)], mqtt)]
        if plan.kills[1:] and (kept / "recording.toml").exists():
            given.append(killed(plan, plan.kills[1], Path(folder) / "told-2", ["--resume", str(kept)], mqtt))
        drawn, book = truth(plan.query), book_in(kept)
        first, *later = sessions(plan, kept, book, given)
        outcomes = [judged(plan, first, drawn, 0)]
        outcomes += [judged(plan, left, shifted(drawn, left.zero), len(first.flags)) for left in later]
        published = heard.flags(plan.number) if heard else []
        wrong = whole_is_wrong(kept, drawn, book, published)
    last = outcomes[-1]
    return [*outcomes[:-1], replace(last, published=len(published), wrong=last.wrong + wrong)]


def campaign(times: int, seed: int, scratch: Path) -> list[Outcome]:
    """So many of them, a few at a time: the logs are processes of their own."""
    with subscribed(scratch) as heard, ThreadPoolExecutor(AT_ONCE) as pool:
        return list(chain.from_iterable(pool.map(partial(one, scratch=scratch, heard=heard), plans(times, seed))))


def table(done: Sequence[Outcome]) -> str:
    """One row for each sample rate, in Markdown."""
    lines = [
        "| kS/s | kills | firings | flags | flags published | samples missing, s | firings missing, s | wrong |",
        "|---:" * 8 + "|",
    ]
    for rate_hz in sorted({one.plan.rate_hz for one in done}):
        some = [one for one in done if one.plan.rate_hz == rate_hz]
        cells = [
            f"{rate_hz / 1e3:g}",
            f"{len(some)}",
            f"{sum(one.firings for one in some):,}",
            f"{sum(one.flags for one in some):,}",
            f"{sum(one.published for one in some):,}",
            _spread([one.samples_missing_s for one in some]),
            _spread([one.book_missing_s for one in some]),
            f"{sum(bool(one.wrong) for one in some)}",
        ]
        lines.append(f"| {' | '.join(cells)} |")
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
