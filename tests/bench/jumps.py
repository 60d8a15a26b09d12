"""How long a jump in a replay takes: `python -m tests.bench.jumps --hours 3`.

The recording is a minute of the simulated engine over and over, three inputs, with a ledger of its flags. Timed is from
the key to the picture that stands at the place, through everything but the drawing. Prints the table of DEVELOPERS.md.
"""

import argparse
import asyncio
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from acquire.block import SampleBlock
from acquire.clock import SystemClock
from acquire.recording import RecordingWriter
from drivers.registry import source_for
from monitor.analyzer import Analyzer
from monitor.entries import Entries
from monitor.flags import Flag
from monitor.ledger import LEDGER_NAME, Ledger
from monitor.player import Replay
from monitor.recorded import recorded_beside
from monitor.replay import Pace
from monitor.setup import parse_setup
from monitor.source_view import SourceState
from monitor.text import elapsed

MINUTE_S = 60
FAULTS = "&fault=no-answer,cylinder=4,probability=0.0005"


def record(folder: Path, minutes: int, rate_hz: int, rpm: int) -> None:
    """Write samples and ledger."""
    source = source_for(f"simulated:?rpm={rpm}&rate={rate_hz}&pace=0&duration={MINUTE_S}{FAULTS}")
    info = source.open()
    blocks = [SampleBlock(block.first_index, block.counts.copy()) for block in source.blocks()]
    analyzer, flags = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info), dict[int, Flag]()
    for step in (*map(analyzer.feed, blocks), analyzer.finish()):
        flags.update((flag.number, flag) for flag in step.flags)
    with RecordingWriter(folder, replace(info, total_samples=None)) as writer:
        for minute in range(minutes):
            for block in blocks:
                writer.write(SampleBlock(block.first_index + minute * MINUTE_S * rate_hz, block.counts))
    shifted = [replace(flag, start_s=flag.start_s + m * MINUTE_S) for m in range(minutes) for flag in flags.values()]
    with Ledger(folder / LEDGER_NAME, datetime.now(UTC)) as book:
        book.write(Entries(flags=[replace(flag, number=n) for n, flag in enumerate(shifted, 1)]))


async def timed(replay: Replay, press: Callable[[], None], times: int = 1) -> tuple[float, float, float]:
    """Press so many times; how long until it stands there, how much of the processor that took, and where it is."""
    started, worked = time.perf_counter(), time.process_time()
    for _ in range(times):
        press()
    while replay.source().state is SourceState.JUMPING:  # noqa: ASYNC110  a screen asks again and again too
        await asyncio.sleep(0.005)
    return time.perf_counter() - started, time.process_time() - worked, replay.snapshot().time_s


async def measure(folder: Path) -> None:
    """Jump about, and print the table."""
    opened, worked = time.perf_counter(), time.process_time()
    recorded = recorded_beside(str(folder))
    replay = Replay(partial(source_for, str(folder)), None, Pace(SystemClock()), recorded)
    print("| jump | seconds | of the processor | to |\n| --- | ---: | ---: | ---: |")
    async with asyncio.TaskGroup() as tasks:
        tasks.create_task(replay.play())
        await replay.opened.wait()
        took = f"{time.perf_counter() - opened:.2f} | {time.process_time() - worked:.2f}"
        print(f"| open, with {len(recorded.flags)} flags known | {took} | 0:00:00 |")
        replay.toggle_pause()
        far = max(len(recorded.flags) - 10, 41)
        jumps = (
            ("to the first flag", replay.later, 1),
            ("on to the 40th", replay.later, 39),
            (f"on to number {far}", replay.later, far - 40),
            ("back to the one before", replay.earlier, 1),
            ("to the beginning", replay.beginning, 1),
        )
        for words, press, times in jumps:
            took_s, worked_s, at_s = await timed(replay, press, times)
            print(f"| {words} | {took_s:.2f} | {worked_s:.2f} | {elapsed(at_s)} |")
        replay.close()


def main() -> None:
    """Make the recording, jump, take it away."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=3.0)
    parser.add_argument("--rate", type=int, default=50_000)
    parser.add_argument("--rpm", type=int, default=2000)
    chosen = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="jumps-")) / "drive"
    try:
        record(folder, round(chosen.hours * 60), chosen.rate, chosen.rpm)
        print(f"{chosen.hours:g} h, 3 inputs at {chosen.rate} samples/s, six cylinders at {chosen.rpm} rpm\n")
        asyncio.run(measure(folder))
    finally:
        shutil.rmtree(folder.parent)


if __name__ == "__main__":
    main()
