"""Whether a session's ledger is what an analysis of its samples finds: `python -m tests.bench.ledger_agrees --hours 3`.

Simulated drives, one after the other, with faults, losses and presses of a marker button, are recorded by a session.
Its samples are then analysed from the disk, and firings, flags, marks, gaps and coverage compared row by row; and every
clip is analysed alone.
"""

import argparse
import asyncio
import math
import resource
import sqlite3
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import astuple
from itertools import zip_longest
from pathlib import Path

from acquire.recording import read_blocks, read_info
from drivers.files.recording import RecordingSource
from drivers.simulated.faults import Fault
from drivers.simulated.scenario import Knot, Scenario, named
from drivers.simulated.source import THREE_LEADS, SimulatedEngine
from monitor.analysis import analyze_recording
from monitor.analyzer import Analyzer, Step
from monitor.choice import choose_setup
from monitor.clip_cut import CLIPS_NAME
from monitor.entries import Coverage, Gap
from monitor.flags import Flag
from monitor.ledger import LEDGER_NAME
from monitor.ledger_reader import read_flags
from monitor.live import Options, session

DRIVE_S = 120.0
FAULTS = (
    Fault("no-answer", 4, 0.001),
    Fault("no-call", 1, 0.001),
    Fault("weak-pull-down", 3, 0.001),
    Fault("dwell", 1, 0.001),
    Fault("stray-answer", probability=0.0002),
    Fault("feed-resistance", start_s=55.0, end_s=56.0),
    Fault("feed-dropout", start_s=53.0, end_s=53.004),
    Fault("lost-samples", start_s=30.0, end_s=30.03),
    Fault("lost-samples", start_s=71.0, end_s=71.4),
)
Row = tuple[object, ...]


def drives(hours: float, rate_hz: float) -> SimulatedEngine:
    """Cold start, road and stop, over and over; somebody presses the button in each."""
    duration_s = hours * 3600
    starts = [DRIVE_S * number for number in range(math.ceil(duration_s / DRIVE_S))]
    knots = tuple(Knot(start + knot.time_s, *knot[1:]) for start in starts for knot in named("cold-start-drive").knots)
    scenario = Scenario(knots, marks_s=tuple(start + 47.3 for start in starts))
    return SimulatedEngine(
        None, scenario, FAULTS, inputs=(*THREE_LEADS, "marker"), sample_rate_hz=rate_hz, duration_s=duration_s
    )


async def keep(source: SimulatedEngine, folder: Path) -> None:
    """Record it, as a log does."""
    async with session(source, Options(folder=folder)) as running:
        await running.ended.wait()


def compare(folder: Path) -> dict[str, tuple[int, int]]:
    """Give for each table how many rows the analysis finds, and in how many places the ledger differs from them."""
    source = RecordingSource(folder)
    told = Told(source)
    with closing(source), closing(sqlite3.connect(folder / LEDGER_NAME)) as book:
        firings = _differences(told.firings(), book.execute("SELECT * FROM firings ORDER BY rowid"))
        rest = {
            table: _differences(rows, book.execute(f"SELECT * FROM {table} ORDER BY 1"))
            for table, rows in told.rest().items()
        }
    return {"firings": firings, **rest}


class Told:
    """What the analysis of a recording says, as the rows that a ledger should hold."""

    def __init__(self, source: RecordingSource) -> None:
        info = source.open()
        self._blocks = source.blocks()
        self._analyzer = Analyzer(choose_setup(info, None), info)
        self._flags: dict[int, Row] = {}
        self._marks: list[Row] = []
        self._gaps: list[Row] = []

    def firings(self) -> Iterator[Row]:
        """Analyse it all; the rest is collected meanwhile."""
        end_index = None
        for block in self._blocks:
            if end_index is not None and block.first_index > end_index:
                self._gaps.append(astuple(Gap(end_index, block.first_index - end_index)))
            end_index = block.end_index
            yield from self._take(self._analyzer.feed(block))
        yield from self._take(self._analyzer.finish())

    def rest(self) -> dict[str, list[Row]]:
        """Every other table."""
        standing = self._analyzer.standing
        coverage = Coverage(standing.elapsed_s, standing.coverage, standing.lost_samples)
        flags = [row for _, row in sorted(self._flags.items())]
        return {"flags": flags, "marks": self._marks, "gaps": self._gaps, "coverage": [(1, *astuple(coverage))]}

    def _take(self, step: Step) -> Iterator[Row]:
        self._flags |= {flag.number: astuple(flag) for flag in step.flags}
        self._marks += [(len(self._marks) + n, press.time_s, press.by, "") for n, press in enumerate(step.presses, 1)]
        yield from map(astuple, step.firings)


def alone(folder: Path) -> tuple[int, int]:
    """Give how many flags the clips hold, and how many of them an analysis of the clip alone raises as well.

    Of flags that begin in a clip, but for its first second and a half: by then the roll is called.
    """
    said = raised = 0
    for clip in sorted((folder / CLIPS_NAME).iterdir()):
        info = read_info(clip)
        called_s = next(read_blocks(clip, info)).first_index / info.sample_rate_hz + 1.5
        kept = [flag for flag in read_flags(clip / LEDGER_NAME) if flag.start_s >= called_s]
        found = analyze_recording(str(clip), None).flags
        said += len(kept)
        raised += sum(any(_is_same(flag, other) for other in found) for flag in kept)
    return said, raised


def _is_same(flag: Flag, other: Flag) -> bool:
    """A turn that nobody called has the time that the turns before it let expect, of which a clip knows fewer."""
    same = (flag.kind, flag.cylinder, flag.input) == (other.kind, other.cylinder, other.input)
    return same and abs(flag.start_s - other.start_s) < 1e-3


def _differences(found: Iterable[Row], kept: Iterable[Row]) -> tuple[int, int]:
    pairs = [0, 0]
    for one, other in zip_longest(found, kept):
        pairs[0] += one is not None
        pairs[1] += one != other
    return pairs[0], pairs[1]


def main() -> None:
    """Record, analyse, compare, and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=3.0)
    parser.add_argument("--rate", type=float, default=10_000.0)
    parser.add_argument("--in", dest="where", type=Path, default=None)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.where) as where:
        folder = Path(where) / "drive"
        began_s = time.monotonic()
        asyncio.run(keep(drives(asked.hours, asked.rate), folder))
        print(f"{asked.hours:g} h at {asked.rate:g} samples/s, 4 inputs, kept in {time.monotonic() - began_s:.0f} s\n")
        print("| table | rows | that differ |\n| --- | ---: | ---: |")
        for table, (rows, different) in compare(folder).items():
            print(f"| {table} | {rows:,} | {different} |")
        clips = sum(1 for _ in (folder / CLIPS_NAME).iterdir())
        said, raised = alone(folder)
        book_mb = (folder / LEDGER_NAME).stat().st_size / 1e6
    memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(f"\n{clips} clips; of {said} flags that begin in one, {raised} are raised by an analysis of the clip alone")
    print(f"ledger of {book_mb:.0f} MB; {memory_mb:.0f} MB of memory at most")


if __name__ == "__main__":
    main()
