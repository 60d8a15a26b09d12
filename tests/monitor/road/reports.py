"""Reports whose lines a test can read."""

import io
import json
from typing import Any

from monitor.road.news import Item
from monitor.road.outlet import Outlet
from monitor.road.report import ForPeople, ForPrograms
from monitor.snapshot import Snapshot
from monitor.source_view import SourceView
from tests.monitor.streams import WaitingClock


class Told:
    """A report that keeps what it is told."""

    def __init__(self) -> None:
        self.items: list[Item] = []
        self.stood: list[tuple[Snapshot, SourceView]] = []

    def tell(self, item: Item) -> None:
        self.items.append(item)

    def stand(self, now: Snapshot, source: SourceView) -> None:
        self.stood.append((now, source))

    def close(self) -> None:
        pass

    @property
    def events(self) -> list[str]:
        return [item.event for item in self.items]


def on_a_terminal(columns: int = 80) -> tuple[io.StringIO, ForPeople]:
    written = io.StringIO()
    return written, ForPeople(Outlet(written.write), lambda: columns)


def on_a_pipe(clock: WaitingClock) -> tuple[io.StringIO, ForPrograms]:
    written = io.StringIO()
    return written, ForPrograms(Outlet(written.write), clock)


def lines(written: io.StringIO) -> list[dict[str, Any]]:
    return [json.loads(line) for line in written.getvalue().splitlines()]
