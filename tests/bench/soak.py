"""A day of driving through the whole logger, faster than real time: `python -m tests.bench.soak [--hours 24]`.

A minute of a simulated engine, a whole number of its cycles, is repeated; two cylinders miss in it at known turns. It
says each hour how much memory the process has and what lies on the disk, and at the end whether the book counted every
minute as the engine did. Of the first and the last minute some turns may be missing, at the stream's own edges. The
disk is taken to be smaller than the recording, so that its guard has to make room.
"""

import argparse
import asyncio
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from acquire.errors import CoilcallError
from acquire.recording import read_blocks, read_info
from acquire.recording_guard import RESERVE_SHARE
from drivers.address import parse_address
from drivers.simulated.options import engine_from
from monitor.disk_terms import DiskTerms
from monitor.live import Options, Session, session
from monitor.road.stops import occupied_bytes
from tests.bench.sources import Repeated, drawn

PERIOD_S, RATE_HZ = 60.0, 100_000
ENGINE = (
    f"simulated:?pace=0&rate={RATE_HZ}&duration={PERIOD_S}&rpm=600&wander=0&jitter_deg=0"
    "&fault=no-answer,cylinder=4,start_s=20,end_s=20.3&fault=no-answer,cylinder=1,start_s=40,end_s=41"
)
LOOK_EVERY_S = 1.0
MEGA = 1e6

Counts = Counter[tuple[int, str]]


def repeated(minutes: int) -> tuple[Repeated, Counts]:
    """So many minutes, and how often each cylinder's turns have each outcome in one."""
    engine = engine_from(parse_address(ENGINE))
    source = Repeated(*drawn(engine), minutes)
    return source, Counter((row.cylinder, str(row.expected)) for row in engine.truth())


@dataclass(frozen=True)
class Memory:
    """Of this process, in bytes: all that is resident, and what of it is no file's page."""

    resident: int
    own: int

    @classmethod
    def now(cls) -> "Memory":
        lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
        sizes = {name: text.split()[0] for name, _, text in (line.partition(":") for line in lines) if text.strip()}
        return cls(int(sizes["VmRSS"]) * 1024, int(sizes["RssAnon"]) * 1024)


async def run(source: Repeated, folder: Path, hours: float, room_bytes: float) -> list[Memory]:
    """Log it to the end; the memory after each hour of samples."""
    after: list[Memory] = []
    reserve_bytes = int(room_bytes * RESERVE_SHARE)
    disk = DiskTerms(reserve_bytes=reserve_bytes, free=lambda kept: max(int(room_bytes) - occupied_bytes(kept), 0))
    try:
        async with session(source, Options(folder=folder, disk=disk)) as running:
            while not running.ended.is_set():
                with suppress(TimeoutError):
                    await asyncio.wait_for(running.ended.wait(), LOOK_EVERY_S)
                if running.snapshot().time_s >= (len(after) + 1) * min(3600.0, hours * 900.0):
                    after.append(Memory.now())
                    say(running, folder, after[-1])
    except CoilcallError as error:  # what could not be kept; the rest is counted all the same
        print(error)
    return after


def say(running: Session, folder: Path, memory: Memory) -> None:
    """One line on how it stands."""
    now = running.snapshot()
    print(
        f"{time.strftime('%H:%M:%S')}  {now.time_s / 3600:5.2f} h  resident {memory.resident / MEGA:.1f} MB,"
        f" own {memory.own / MEGA:.1f} MB  disk {occupied_bytes(folder) / MEGA:,.0f} MB  {now.flags_raised} flags",
        flush=True,
    )


def counted(book_path: Path, minutes: int) -> list[Counts]:
    """What the book counted in each minute."""
    found: list[Counts] = [Counter() for _ in range(minutes)]
    query = f"SELECT CAST(time_s / {PERIOD_S} AS INTEGER), cylinder, outcome, count(*) FROM firings GROUP BY 1, 2, 3"
    with closing(sqlite3.connect(book_path)) as book:
        for number, cylinder, outcome, count in book.execute(query):
            found[number][cylinder, outcome] += count
    return found


def kept_and_dropped(folder: Path, total: int) -> str:
    """Say whether each sample can be read or is booked as dropped, and how many clips there are."""
    kept = sum(block.samples for block in read_blocks(folder, read_info(folder)))
    with closing(sqlite3.connect(folder / "ledger.sqlite")) as book:
        (dropped,) = book.execute("SELECT total(samples) FROM dropped").fetchone()
        (clips,) = book.execute("SELECT count(*) FROM clips").fetchone()
        (moments,) = book.execute("SELECT count(*) FROM flags").fetchone()
    return (
        f"samples kept {kept:,}, booked as dropped {dropped:,.0f}, neither {total - kept - dropped:,.0f};"
        f" {clips} clips of {moments} flags"
    )


def is_edge(counts: Counts, right: Counts) -> bool:
    """Whether nothing but a few answered turns is missing."""
    return 0 <= right.total() - counts.total() <= 6 and not counts - right


def main(hours: float, room_bytes: float, scratch: Path | None) -> int:
    """Log, print, and hold the counts against the engine's; 1 where they differ."""
    minutes = round(hours * 3600 / PERIOD_S)
    source, right = repeated(minutes)
    with tempfile.TemporaryDirectory(dir=scratch) as name:
        folder, began_s = Path(name) / "kept", time.monotonic()
        after = asyncio.run(run(source, folder, hours, room_bytes))
        took_min = (time.monotonic() - began_s) / 60
        print(f"{hours:g} h in {took_min:.1f} minutes; disk {occupied_bytes(folder) / MEGA:,.0f} MB")
        first, *whole, last = counted(folder / "ledger.sqlite", minutes)
        print(kept_and_dropped(folder, round(minutes * PERIOD_S * RATE_HZ)))
    own = [one.own / MEGA for one in after]
    print(f"own memory after the first part {own[0]:.1f} MB, then {min(own):.1f} to {max(own):.1f} MB")
    wrong = [(number, counts) for number, counts in enumerate(whole, 2) if counts != right]
    print(f"minutes counted exactly: {len(whole) - len(wrong)} of {len(whole)}, each {dict(right)}")
    print(f"missing in the first minute: {dict(right - first)}, in the last: {dict(right - last)}")
    for number, counts in wrong[:10]:
        print(f"minute {number}: {dict(counts)}")
    return int(bool(wrong) or not is_edge(first, right) or not is_edge(last, right))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--room", type=float, default=10e9, help="bytes that the disk is taken to have")
    parser.add_argument("--scratch", type=Path, help="folder for the recording, which is deleted afterwards")
    chosen = parser.parse_args()
    sys.exit(main(chosen.hours, chosen.room, chosen.scratch))
