import asyncio
import sqlite3
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing
from pathlib import Path

import pytest

from monitor import log as log_module
from monitor.ledger import LEDGER_NAME
from monitor.live import Options, Session, session
from monitor.log import Log
from monitor.road.stops import Stops, Terms
from tests.acquire.streams import until
from tests.monitor.road.reports import Told
from tests.monitor.streams import Played, WaitingClock, engine_running


@pytest.fixture(autouse=True)
def _looked_at_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_module, "LOOK_EVERY_S", 0.001)


class Logging:
    """A log over a stream that is played, and what it told."""

    def __init__(self, running: Session, folder: Path, terms: Terms) -> None:
        self.running, self.clock, self.told = running, WaitingClock(), Told()
        assert running.keeper is not None
        self.log = Log(running, running.keeper, self.told, self.clock)
        self.stops = Stops(terms, folder, self.clock)

    async def run(self) -> str:
        await self.log.run(self.stops)
        return str(self.told.items[-1].facts["why"])


@asynccontextmanager
async def logging(source: Played, folder: Path, terms: Terms = Terms()) -> AsyncIterator[Logging]:  # noqa: B008
    async with session(source, Options(folder=folder / "kept")) as running:
        yield Logging(running, folder / "kept", terms)


def endless() -> Played:
    return Played(engine_running(), is_endless=True)


async def test_logging_ends_with_the_stream_and_says_so(tmp_path: Path) -> None:
    async with logging(Played(engine_running()), tmp_path) as one:
        assert await one.run() == "the stream ended"
    assert "flag" in one.told.events


async def test_logging_ends_when_so_much_has_been_analysed(tmp_path: Path) -> None:
    async with logging(endless(), tmp_path, Terms(duration_s=2.0)) as one:
        assert await one.run() == "2 s are over"
        assert not one.running.ended.is_set()
        assert one.running.snapshot().time_s >= 2.0


async def test_an_instrument_that_says_nothing_does_not_prolong_it(tmp_path: Path) -> None:
    info, _ = engine_running()
    async with logging(Played((info, ()), is_endless=True, is_live=True), tmp_path, Terms(duration_s=60.0)) as one:
        ends = asyncio.create_task(one.run())
        await asyncio.sleep(0)
        assert not ends.done()
        one.clock.time_s += 61.0
        assert await ends == "60 s are over"


async def test_logging_ends_when_the_folder_holds_so_much(tmp_path: Path) -> None:
    async with logging(endless(), tmp_path, Terms(size_bytes=100_000)) as one:
        ends = asyncio.create_task(one.run())
        while not ends.done():
            one.clock.time_s += 1.0
            await asyncio.sleep(0.001)
        assert (await ends).endswith("MB are kept")
    kept = sum(path.stat().st_size for path in (tmp_path / "kept").rglob("*"))
    assert kept >= 100_000


async def test_whoever_stops_it_first_is_told(tmp_path: Path) -> None:
    async with logging(endless(), tmp_path) as one:
        one.log.stop("SIGTERM")
        one.log.stop("key")
        assert await one.run() == "by SIGTERM"


async def test_a_key_marks_once_however_long_it_is_held_and_q_stops(tmp_path: Path) -> None:
    async with logging(endless(), tmp_path) as one:
        ends = asyncio.create_task(one.run())
        await until(lambda: one.running.snapshot().time_s > 3.9)
        for _ in range(100):
            one.clock.time_s += 0.04
            one.log.take_keys(b" ")
        await until(lambda: "mark" in one.told.events)
        one.log.take_keys(b"q")
        assert await ends == "by key"
        one.log.mark("key")  # too late: the book may be closed already
    (mark,) = [item for item in one.told.items if item.event == "mark"]
    assert mark.facts["number"] == 1
    assert {flag["cylinder"] for flag in mark.facts["flags"]} == {4}
    with closing(sqlite3.connect(tmp_path / "kept" / LEDGER_NAME)) as book:
        assert book.execute('SELECT number, "by" FROM marks').fetchall() == [(1, "key")]


async def test_a_sleep_of_the_machine_is_told_and_booked(tmp_path: Path) -> None:
    async with logging(endless(), tmp_path) as one:
        ends = asyncio.create_task(one.run())
        one.log.note_standstill(312.0)
        one.log.stop("key")
        await ends
    (slept,) = [item for item in one.told.items if item.event == "suspended"]
    assert "nothing ran here for 312.0 s" in slept.words
    with closing(sqlite3.connect(tmp_path / "kept" / LEDGER_NAME)) as book:
        ((kind, lasted_s),) = book.execute("SELECT kind, lasted_s FROM events").fetchall()
    assert (kind, lasted_s) == ("suspended", 312.0)
