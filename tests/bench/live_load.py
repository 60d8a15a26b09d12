"""`log` and `watch --record` at 4 inputs x 1 MS/s, in turn: `python -m tests.bench.live_load [--minutes 10]`.

The source is a stretch of a simulated engine over and over, paced by the clock, so that it costs next to nothing.
"""

import argparse
import os
import sqlite3
import tempfile
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from acquire.block import Counts
from acquire.recording import read_blocks, read_info
from drivers.address import parse_address
from drivers.simulated.options import engine_from
from tests.bench.sources import drawn, told_end
from tests.bench.terminal import Terminal, terminal

RATE_HZ = 1_000_000
STRETCH = (
    f"rate={RATE_HZ}&duration=4&rpm=600&wander=0&jitter_deg=0&inputs=supply,control1,control4,acknowledgement"
    "&fault=no-answer,cylinder=4,start_s=1,end_s=1.3"
)
PERIOD, MISSED_BY = 4 * RATE_HZ, round(1.3 * RATE_HZ)
COMMANDS = {"log": "--to", "watch": "--record"}
TICKS_PER_S = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Load:
    """What a command did with what it was given; times in seconds."""

    given: int
    recorded: int
    wrong: int
    lost_in_book: int
    missed: tuple[int, int]
    processor_share: float
    resident_bytes: int
    disk_bytes_per_s: float
    updates_per_s: float
    longest_still_s: float
    status: int


def processor_s(pid: int) -> float:
    """What a process has used of the processors."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS_PER_S


def resident_bytes(pid: int) -> int:
    """What it has in memory."""
    return int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]) * os.sysconf("SC_PAGESIZE")


def loaded(command: str, duration_s: float, folder: Path) -> Load:
    """Run it for so long and hold what it left against what it was given."""
    told, kept = folder / "told", folder / "kept"
    arguments = [command, f"tests.bench.sources:repeated?told={told}&{STRETCH}", COMMANDS[command], str(kept)]
    with terminal(arguments, hash, (120, 40)) as running:
        running.until(lambda: told_end(told) >= RATE_HZ)
        began_s, used_s = time.monotonic(), processor_s(running.process.pid)
        time.sleep(duration_s)
        ended_s, used_s = time.monotonic(), processor_s(running.process.pid) - used_s
        resident = resident_bytes(running.process.pid)
    status = running.process.returncode
    recorded, wrong = against_stretch(kept)
    lost, misses = booked(kept / "ledger.sqlite")
    changes, still_s = changes_between(running, began_s, ended_s)
    size = sum(path.stat().st_size for path in kept.glob("*.arrow"))
    return Load(
        given=told_end(told),
        recorded=recorded,
        wrong=wrong,
        lost_in_book=lost,
        missed=(misses, (told_end(told) + PERIOD - MISSED_BY) // PERIOD),
        processor_share=used_s / (ended_s - began_s),
        resident_bytes=resident,
        disk_bytes_per_s=size / (recorded / RATE_HZ),
        updates_per_s=changes / (ended_s - began_s),
        longest_still_s=still_s,
        status=status,
    )


def against_stretch(kept: Path) -> tuple[int, int]:
    """How many samples the recording has, and how many of them are not those of the stretch."""
    _, right = drawn(engine_from(parse_address(f"simulated:?pace=0&{STRETCH}")))
    read = wrong = 0
    for block in read_blocks(kept, read_info(kept)):
        wrong += int(np.count_nonzero(block.counts != _repeated(right, block.first_index, block.end_index)))
        read += block.samples
    return read, wrong


def _repeated(stretch: Counts, first: int, end: int) -> Counts:
    period = stretch.shape[1]
    turns = -(-end // period) - first // period
    start = first % period
    return np.tile(stretch, turns)[:, start : start + end - first]


def booked(book_path: Path) -> tuple[int, int]:
    """Samples lost and turns without an answer, by the book."""
    with closing(sqlite3.connect(book_path)) as book:
        (lost,) = book.execute("SELECT lost_samples FROM coverage").fetchone()
        (missed,) = book.execute("SELECT count(*) FROM firings WHERE outcome = 'unacknowledged'").fetchone()
    return lost, missed


def changes_between(running: Terminal, began_s: float, ended_s: float) -> tuple[int, float]:
    """How often the screen changed, and the longest time that it did not."""
    at_s = [began_s, *(at_s for at_s, _ in running.seen if began_s < at_s < ended_s), ended_s]
    return len(at_s) - 2, max(after - before for before, after in pairwise(at_s))


def rows(done: Load) -> dict[str, str]:
    """What was measured, in words and figures."""
    return {
        "samples given": f"{done.given:,}",
        "of these not recorded": f"{done.given - done.recorded:,}",
        "of these wrong": f"{done.wrong:,}",
        "lost, by the book": f"{done.lost_in_book:,}",
        "turns without an answer: in the book, given": "{}, {}".format(*done.missed),
        "of a core": f"{done.processor_share:.0%}",
        "resident, MB": f"{done.resident_bytes / 1e6:.0f}",
        "samples to disk, MB/s": f"{done.disk_bytes_per_s / 1e6:.1f}",
        "changes of the screen a second": f"{done.updates_per_s:.1f}",
        "longest without a change, s": f"{done.longest_still_s:.2f}",
        "exit status": f"{done.status}",
    }


def main(commands: Sequence[str], minutes: float, scratch: Path | None) -> None:
    """Print the table."""
    found = []
    for command in commands:
        with tempfile.TemporaryDirectory(dir=scratch) as folder:
            found.append(rows(loaded(command, minutes * 60.0, Path(folder))))
    print(f"{minutes:g} minutes each, 4 inputs at 1 MS/s, int16\n")
    print(f"| | {' | '.join(commands)} |\n|---{'|---:' * len(commands)}|")
    for what in found[0]:
        print(f"| {what} | {' | '.join(one[what] for one in found)} |")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("commands", nargs="*", default=list(COMMANDS), metavar="log|watch")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--scratch", type=Path, help="folder for the recordings, which are deleted afterwards")
    chosen = parser.parse_args()
    main(chosen.commands, chosen.minutes, chosen.scratch)
