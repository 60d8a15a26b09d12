"""What browsers cost the process that watches: `python -m tests.bench.browser_load`.

`coilcall watch --serve` over four inputs at 1 MS/s: alone; with four browsers that take what is drawn; and with four
that asked for the screen and take nothing, like a phone out of reach.
"""

import asyncio
import os
import sys
import tempfile
from pathlib import Path
from subprocess import DEVNULL, PIPE, Popen

import aiohttp

from monitor.browser.pictures import PICTURE
from monitor.picture_json import LONGEST, decode
from monitor.snapshot import Snapshot
from monitor.source_view import SourceView
from tests.bench.live_load import STRETCH, TICKS_PER_S
from tests.monitor.browser.processes import inside

MEASURED_S = 10.0
"""Less than the 22 s after which a browser that answers no ping is let go."""
STARTED_BYTES = 20_000
"""A screen and some changes."""
COMMAND = [sys.executable, "-c", "from monitor.cli import main; main()", "watch"]


class Browser:
    """Looks on until it has a picture, and from then on goes on or hangs."""

    def __init__(self) -> None:
        self.taken = 0
        self.has_started = asyncio.Event()

    async def look(self, http: aiohttp.ClientSession, url: str, *, takes: bool) -> None:
        async with http.ws_connect(f"{url}/ws?width=120&height=40", origin=url) as screen:
            while takes or not self.has_started.is_set():
                self.taken += len(await screen.receive_bytes())
                if self.taken >= STARTED_BYTES:
                    self.has_started.set()
            await asyncio.Event().wait()


def busy_s(process: int) -> float:
    """Processor time that it has used."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS_PER_S


async def picture(path: Path) -> tuple[Snapshot, SourceView]:
    """What a viewer would be told now."""
    reader, writer = await asyncio.open_unix_connection(path, limit=LONGEST)
    writer.write(PICTURE)
    shown = decode(await reader.readline())
    writer.close()
    return shown


async def measure(owner: Popen[str], folder: Path, browsers: int, *, take: bool) -> str:
    """Share of a core, how far the analysis is behind, samples lost, and what the browsers took meanwhile."""
    assert owner.stderr is not None
    url = next(line for line in owner.stderr if line.startswith("In a browser: ")).split()[-1]
    looking = [Browser() for _ in range(browsers)]
    async with aiohttp.ClientSession() as http, asyncio.TaskGroup() as group:
        tasks = [group.create_task(one.look(http, url, takes=take)) for one in looking]
        for one in looking:
            await one.has_started.wait()
        busy, taken = busy_s(owner.pid), sum(one.taken for one in looking)
        await asyncio.sleep(MEASURED_S)
        share, taken = (busy_s(owner.pid) - busy) / MEASURED_S, sum(one.taken for one in looking) - taken
        for task in tasks:
            task.cancel()
    private = next(name for name, _ in inside(folder) if name.startswith("coilcall-"))
    snapshot, source = await picture(folder / private / "pictures")
    return f"{share:.0%} | {source.behind_s:.2f} | {snapshot.lost_samples} | {taken / MEASURED_S / 1000:.0f}"


def main() -> None:
    """Print the table."""
    print("| browsers | of a core | behind s | samples lost | taken kB/s |\n|---|---:|---:|---:|---:|")
    for name, browsers, take in ("none", 0, True), ("4 that look on", 4, True), ("4 that hang", 4, False):
        with tempfile.TemporaryDirectory() as folder:
            command = [*COMMAND, f"tests.bench.sources:repeated?told={folder}/told&{STRETCH}", "--serve", "0"]
            around = os.environ | {"TMPDIR": folder}
            with Popen(command, stdin=DEVNULL, stderr=PIPE, text=True, env=around) as owner:
                try:
                    row = asyncio.run(measure(owner, Path(folder), browsers, take=take))
                finally:
                    owner.terminate()
            print(f"| {name} | {row} |", flush=True)


if __name__ == "__main__":
    main()
