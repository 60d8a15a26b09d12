"""What a log says when it begins: what it keeps, for how long the disk lasts, and what the keys do."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acquire.block import StreamInfo
from acquire.recording_guard import default_reserve, free_bytes
from acquire.recording_layout import bytes_per_s
from monitor.keeper import Keeper
from monitor.ledger import LEDGER_NAME
from monitor.live import Options, Session
from monitor.road.keyboard import STDIN
from monitor.road.news import Item
from monitor.text import plain

SCHEMA = "coilcall.log/1"


@dataclass(frozen=True, slots=True)
class Outlook:
    """Bytes a second of samples, and on the disk free and kept in reserve; None where the disk does not say."""

    bytes_per_s: float
    free_bytes: int | None
    reserve_bytes: int | None

    @property
    def lasts_s(self) -> float | None:
        """How long until the first samples must go."""
        if self.free_bytes is None or self.reserve_bytes is None:
            return None
        return max(self.free_bytes - self.reserve_bytes, 0) / self.bytes_per_s


def look_ahead(folder: Path, info: StreamInfo) -> Outlook:
    """Ask the disk that the folder is on."""
    try:
        return Outlook(bytes_per_s(info), free_bytes(folder), default_reserve(folder))
    except OSError:
        return Outlook(bytes_per_s(info), None, None)


def start(running: Session, keeper: Keeper, options: Options, sleeps: str) -> Item:
    """Tell all of it. `sleeps` says why the machine may fall asleep, "" where it will not. May wait for the disk."""
    info, folder, goes_on, before = running.info, options.folder, options.disk.resume, keeper.counted.session
    assert folder is not None
    outlook = look_ahead(folder, info)
    is_book_missing = goes_on and not before
    words = (
        f"{'Going on in' if goes_on else 'Recording to'} {plain(str(folder))}",
        *_doubts(running.doubt, is_book_missing),
        "  kept:  every sample, the ledger, and clips around flags and marks",
        *_room(outlook),
        *_hands(),
        f"  sleep: not held off ({plain(sleeps)})" if sleeps else "  sleep: held off, lid closed or not",
    )
    facts: dict[str, Any] = {
        "schema": SCHEMA,
        "folder": str(folder),
        "recording_id": running.recording_id,
        "session": before + 1,
        "doubt": running.doubt,
        "ledger_missing": is_book_missing,
        "source": info.source,
        "pid": os.getpid(),
        "sample_rate_hz": info.sample_rate_hz,
        "inputs": [channel.input for channel in info.channels],
        "bytes_per_s": outlook.bytes_per_s,
        "free_bytes": outlook.free_bytes,
        "reserve_bytes": outlook.reserve_bytes,
        "lasts_s": outlook.lasts_s,
        "kept_awake": not sleeps,
    }
    return Item("start", running.snapshot().time_s, "\n".join(words), facts)


def _doubts(of_time: str, is_book_missing: bool) -> Iterator[str]:
    if of_time:
        yield f"  time:  {plain(of_time)}"
    if is_book_missing:
        yield f"  book:  {LEDGER_NAME} was missing; a new one begins, without what came before"


def _room(outlook: Outlook) -> Iterator[str]:
    pace = f"  disk:  {outlook.bytes_per_s / 1e6:.3g} MB/s of samples; "
    if outlook.lasts_s is None or outlook.reserve_bytes is None:
        yield f"{pace}how much room there is it does not say"
        return
    yield f"{pace}room for {_long(outlook.lasts_s)} beside {outlook.reserve_bytes / 1e6:.4g} MB of reserve,"
    yield "         then the oldest samples go; ledger and clips stay"


def _hands() -> Iterator[str]:
    if os.isatty(STDIN):
        yield "  keys:  any one marks the moment (a foot switch too), q or Ctrl-C stops"
    yield f"  else:  kill -USR1 {os.getpid()} marks, kill {os.getpid()} stops"


def _long(seconds: float) -> str:
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.0f} h" if seconds < 172_800 else f"{seconds / 86_400:.0f} days"
