"""What a program leaves: which processes run, and what is in a folder."""

import asyncio
from contextlib import suppress
from pathlib import Path


def running(words: str) -> list[int]:
    """The numbers of all processes with these words on their command line."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            if words.encode() in (process / "cmdline").read_bytes():
                found.append(int(process.name))
    return found


async def gone(words: str) -> None:
    """Wait until no such process is left; what was killed takes a moment to go."""
    async with asyncio.timeout(10):
        while running(words):  # noqa: ASYNC110  nobody says so
            await asyncio.sleep(0.01)


def inside(folder: Path) -> list[tuple[str, int]]:
    """Name and permissions of everything in it."""
    return [(path.name, path.stat().st_mode & 0o777) for path in folder.iterdir()]
