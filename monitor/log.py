"""The road test: no screen, everything kept, one line that says how it stands."""

import asyncio
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from rich.console import Console
from rich.live import Live
from rich.text import Text

from acquire.clock import Clock, SystemClock
from acquire.source import Source
from drivers.registry import source_for
from monitor.analysis import Analysis, print_result
from monitor.flags import Flag, Severity
from monitor.interrupt import stop_signals
from monitor.ledger import LEDGER_NAME
from monitor.ledger_reader import read_flags, read_marks
from monitor.live import Options, Session, session, supervised
from monitor.snapshot import Counts, Snapshot
from monitor.source_view import SourceState, SourceView
from monitor.text import elapsed, plain, share, span

LOOK_EVERY_S = 0.5
LINE_EVERY_S = 10.0
"""How often a line is written where nobody sees a line change: a pipe, a file, a service's journal."""


class Report:
    """Says on stderr what is going on: a line that changes on a terminal, a line now and then elsewhere."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live = Live(console=console, auto_refresh=False, transient=True) if console.is_terminal else None
        self._flags_said = 0
        self._line_due_s = 0.0
        self._lost_said = self._back_said = 0

    def __enter__(self) -> Self:
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()

    def say(self, now: Snapshot, source: SourceView) -> None:
        """Flags raised and comings and goings of the source since last time, then the state."""
        for line in (*self._new_flags(now), *self._news_of(source)):
            self._print(line)
        if self._live is not None:
            line = _away(source) + status_line(now)
            self._live.update(Text(line, overflow="ellipsis", no_wrap=True), refresh=True)
        elif now.time_s >= self._line_due_s:
            self._line_due_s = now.time_s + LINE_EVERY_S
            self._print(status_line(now))

    def _print(self, line: str) -> None:
        self._console.print(line, markup=False, highlight=False, soft_wrap=True)

    def _news_of(self, source: SourceView) -> Iterator[str]:
        """Lost, and back, each time once; an outage too short to have been seen is told afterwards."""
        if source.times_lost > self._lost_said:
            self._lost_said = source.times_lost
            yield f"{elapsed(source.lost_at_s or 0.0)} LOST {plain(source.reason)}"
        if source.times_lost > self._back_said and source.state is SourceState.FLOWING:
            self._back_said = source.times_lost
            gone_s, lost_at_s = source.outage_s or 0.0, source.lost_at_s or 0.0
            yield f"{elapsed(lost_at_s + gone_s)} back after {span(gone_s)}, lost {source.times_lost}x"

    def _new_flags(self, now: Snapshot) -> Iterator[str]:
        new = [flag for flag in reversed(now.flags) if flag.number > self._flags_said]
        unseen = now.flags_raised - self._flags_said - len(new)
        if unseen > 0:
            yield f"{unseen} more flags, in the ledger"
        yield from map(flag_line, new)
        self._flags_said = max(self._flags_said, now.flags_raised)


def flag_line(flag: Flag) -> str:
    """One flag in one line."""
    where = f" cylinder {flag.cylinder}" if flag.cylinder is not None else f" {flag.input}" if flag.input else ""
    mark = {Severity.FAULT: "FAULT", Severity.WARNING: "warning", Severity.INFO: "info"}[flag.severity]
    return f"{elapsed(flag.start_s)} {mark} {flag.kind}{plain(where)} {plain(flag.detail)}".rstrip()


def status_line(now: Snapshot) -> str:
    """How it stands, in one line."""
    turns = sum(view.counts.opportunities for view in now.cylinders)
    missed = [f"cylinder {view.cylinder}: {missed}" for view in now.cylinders if (missed := _missed_by(view.counts))]
    speed = "speed unknown" if now.rpm is None else f"{now.rpm:.0f} rpm"
    facts = [
        elapsed(now.time_s),
        now.state,
        speed,
        f"{turns} turns",
        f"missed {', '.join(missed) or 'none'}",
        f"{now.flags_raised} flags",
        f"coverage {share(now.coverage)}",
        f"lost samples {now.lost_samples}",
    ]
    return "  ".join(facts)


def _away(source: SourceView) -> str:
    """Say first that nothing comes, where nothing does."""
    return f"LOST for {span(source.outage_s or 0.0)}  " if source.state is SourceState.LOST else ""


def _missed_by(counts: Counts) -> int:
    return counts.unacknowledged + counts.uncommanded


@dataclass(frozen=True, slots=True)
class Terms:
    """How long to log: `duration_s` at most, and on without the instrument for `retry_s`, then it is given up."""

    duration_s: float | None = None
    retry_s: float = math.inf


def run(address: str, setup_file: Path | None, folder: Path | None, terms: Terms) -> None:
    """Log until it ends, and say at the end what was found, whatever ended it. Raises what `session` raises."""
    clock = SystemClock()
    folder = folder or Path(f"coilcall-{clock.utc():%Y%m%d-%H%M%S}")
    source = supervised(source_for, address, clock, terms.retry_s)
    asyncio.run(_run(source, Options(setup_file, folder), clock, terms.duration_s))


async def _run(source: Source, options: Options, clock: Clock, duration_s: float | None) -> None:
    console, running, folder = Console(stderr=True), None, options.folder
    assert folder is not None
    try:
        async with session(source, options) as running:
            console.print(f"Recording to {folder}", markup=False, highlight=False, soft_wrap=True)
            with Report(console) as report:
                await log(running, report, clock, duration_s)
    finally:
        if running is not None and running.ended.is_set():
            book = folder / LEDGER_NAME
            found = Analysis(running.analyzer, read_flags(book), read_marks(book))
            print_result(found, str(folder), as_json=False)


async def log(running: Session, report: Report, clock: Clock, duration_s: float | None) -> None:
    """Look on until the stream ends, somebody asks to stop, or the duration is over.

    The duration is over when so much has been analysed, or has gone by on the clock: an instrument that says nothing
    does not prolong it.
    """
    until = None if duration_s is None else clock.now() + duration_s
    stop = asyncio.Event()
    with stop_signals(stop.set):
        while not (stop.is_set() or running.ended.is_set()):
            now = running.snapshot()
            report.say(now, running.source())
            if until is not None and (clock.now() >= until or now.time_s >= (duration_s or 0.0)):
                break
            await _first_of(stop, running.ended, timeout_s=LOOK_EVERY_S)


async def _first_of(*events: asyncio.Event, timeout_s: float) -> None:
    waits = [asyncio.ensure_future(event.wait()) for event in events]
    await asyncio.wait(waits, timeout=timeout_s, return_when=asyncio.FIRST_COMPLETED)
    for wait in waits:
        wait.cancel()
    await asyncio.gather(*waits, return_exceptions=True)
