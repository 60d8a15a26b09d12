"""Which processes run."""

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
