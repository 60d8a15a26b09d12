"""Says on stderr what goes on: for people on a terminal, as JSON Lines anywhere else."""

import json
import os
from collections.abc import Callable
from functools import partial
from typing import Protocol, TextIO

from rich.cells import cell_len

from acquire.clock import Clock
from monitor.road.news import Item
from monitor.road.outlet import Outlet, writer_to
from monitor.road.words import missed_by_cylinder, status_line
from monitor.snapshot import Snapshot
from monitor.source_view import SourceView
from monitor.text import broken, counted, fit

LINE_EVERY_S = 10.0
"""How often the state is written where nobody sees a line change: a pipe, a file, a service's journal."""


_HANGING = 9
"""Where the words begin behind the heads of the first lines, and behind the time of all others."""


class Report(Protocol):
    """Takes what happens, and how it stands, and shows it in its way."""

    def tell(self, item: Item) -> None:
        """Show one thing that happened."""
        ...

    def stand(self, now: Snapshot, source: SourceView) -> None:
        """Show how it stands, as often as it likes."""
        ...

    def close(self) -> None:
        """Leave things tidy."""
        ...


class ForPeople:
    """Lines that stay, above one that changes."""

    def __init__(self, outlet: Outlet, columns: Callable[[], int]) -> None:
        self._outlet, self._columns = outlet, columns

    def tell(self, item: Item) -> None:
        """Write over the line that changes; it comes again below. Long lines are broken between words."""
        lines = (part for line in item.words.splitlines() for part in broken(line, self._columns() - 1, _HANGING))
        self._outlet.put("".join(f"\r{self._padded(line)}\n" for line in lines))

    def stand(self, now: Snapshot, source: SourceView) -> None:
        """Change the line."""
        _tell_dropped(self, self._outlet, now.time_s)
        self._outlet.put(f"\r{fit(status_line(now, source), self._columns() - 1)}", is_fleeting=True)

    def close(self) -> None:
        """Take the line away."""
        self._outlet.put(f"\r{self._padded('')}\r")
        self._outlet.close()

    def _padded(self, line: str) -> str:
        return line + " " * (self._columns() - 1 - cell_len(line))


class ForPrograms:
    """One JSON object a line, in plain ASCII: `utc`, `event`, `time_s`, and what that event has to say."""

    def __init__(self, outlet: Outlet, clock: Clock) -> None:
        self._outlet, self._clock = outlet, clock
        self._due_s = -float("inf")

    def tell(self, item: Item) -> None:
        """Write it as its facts."""
        utc = self._clock.utc().isoformat(timespec="milliseconds")
        line = {"utc": utc, "event": item.event, "time_s": round(item.time_s, 6)} | item.facts
        self._outlet.put(json.dumps(line) + "\n")

    def stand(self, now: Snapshot, source: SourceView) -> None:
        """Write it when it is due."""
        _tell_dropped(self, self._outlet, now.time_s)
        if self._clock.now() >= self._due_s:
            self._due_s = self._clock.now() + LINE_EVERY_S
            self.tell(Item("state", now.time_s, "", _facts(now, source)))

    def close(self) -> None:
        """Wait a moment for what is still to be written."""
        self._outlet.close()


def report_on(stream: TextIO, clock: Clock) -> Report:
    """Make the one that suits the stream."""
    outlet = Outlet(writer_to(stream))
    return ForPeople(outlet, partial(_columns, stream)) if stream.isatty() else ForPrograms(outlet, clock)


def _tell_dropped(report: Report, outlet: Outlet, time_s: float) -> None:
    if count := outlet.take_dropped():
        report.tell(Item("unread", time_s, f"{counted(count, 'line')} found no room here", {"count": count}))


def _columns(stream: TextIO) -> int:
    try:
        return os.get_terminal_size(stream.fileno()).columns or 80
    except OSError:
        return 80


def _facts(now: Snapshot, source: SourceView) -> dict[str, object]:
    return {
        "state": now.state,
        "rpm": now.rpm,
        "turns": sum(view.counts.opportunities for view in now.cylinders),
        "missed": missed_by_cylinder(now),
        "flags": now.flags_raised,
        "coverage": now.coverage,
        "lost_samples": now.lost_samples,
        "source": source.state,
        "reason": source.reason,
        "disk": source.disk,
        "publishing": source.publishing,
    }
