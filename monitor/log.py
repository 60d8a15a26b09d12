"""The road test: no screen, everything kept, one line that says how it stands."""

import asyncio
import signal
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from functools import partial
from pathlib import Path

from acquire.clock import Clock, SystemClock
from acquire.outage import Policy
from acquire.source import Source
from acquire.standstill import noticing_standstill, standstill
from drivers.registry import source_for
from monitor.entries import Event
from monitor.interrupt import MARK_SIGNAL, answering, end_signals
from monitor.keeper import Keeper
from monitor.live import Options, Session, session, supervised
from monitor.publish.address import Access
from monitor.publish.publishing import publishing
from monitor.road.awake import kept_awake
from monitor.road.ending import end, show_result
from monitor.road.keyboard import keyboard
from monitor.road.keys import Keys, Wish
from monitor.road.news import Item, News
from monitor.road.outlook import start
from monitor.road.report import Report, report_on
from monitor.road.stops import Stops, Terms
from monitor.text import elapsed

LOOK_EVERY_S = 0.5


class Log:
    """A session that is being logged: looked at twice a second, marked and stopped by whoever wants to.

    All of it is called from the event loop.
    """

    def __init__(self, running: Session, keeper: Keeper, report: Report, clock: Clock) -> None:
        self.keeper = keeper
        self._running, self._report, self._clock = running, report, clock
        self._news = News(keeper.counted.flag)
        self._keys = Keys()
        self._woken = asyncio.Event()
        self._stopped_by = ""
        self._is_over = False

    def stop(self, by: str) -> None:
        """End it soon."""
        self._stopped_by = self._stopped_by or f"by {by}"
        self._woken.set()

    def mark(self, by: str) -> None:
        """Note that somebody felt it now, and tell so at once."""
        if not self._is_over:
            self._running.mark(by)
            self._woken.set()

    def tell_unsent(self, line: str) -> None:
        """Tell what a broker has not got."""
        self._report.tell(Item("unsent", self._running.snapshot().time_s, line, {"words": line}))

    def take_keys(self, data: bytes) -> None:
        """Do what these bytes from the keyboard mean."""
        wish = self._keys.feed(data, self._clock.now())
        if wish is Wish.STOP:
            self.stop("key")
        elif wish is Wish.MARK:
            self.mark("key")

    def note_standstill(self, lasted_s: float) -> None:
        """Book and tell that nothing ran here for so long."""
        time_s, words = self._running.snapshot().time_s, standstill(lasted_s)
        self.keeper.enter_event(Event(time_s, "suspended", words, lasted_s))
        self._report.tell(Item("suspended", time_s, f"{elapsed(time_s)} {words}", {"lasted_s": round(lasted_s, 3)}))

    async def run(self, stops: Stops, attend: Callable[[], object] = lambda: None) -> None:
        """Look on until the stream ends, somebody stops it or the terms are met, and tell why.

        `attend` is called at every look.
        """
        while True:
            self._woken.clear()
            if why := await self._end(stops):
                break
            attend()
            await _first_of(self._woken, self._running.ended, timeout_s=LOOK_EVERY_S)
        self._is_over = True
        time_s = self._running.snapshot().time_s
        self._report.tell(Item("stop", time_s, f"{elapsed(time_s)} stopped: {why}", {"why": why}))

    def look(self) -> None:
        """Tell what is new, and how it stands."""
        now, source = self._running.snapshot(), self._running.source()
        for item in self._news.since(now, source):
            self._report.tell(item)
        self._report.stand(now, source)

    async def _end(self, stops: Stops) -> str:
        """Look once, and say why it is over; "" where it is not."""
        self.look()
        if self._running.ended.is_set():
            return "the instrument is lost" if self._running.error else "the stream ended"
        return self._stopped_by or await stops.reason(self._running.analyzer.standing.elapsed_s)


def run(address: str, options: Options, terms: Terms, broker: Access | None = None) -> None:
    """Log until it ends, and say at the end what was found, whatever ended it.

    Where the options name no folder, it is named after the time. Raises what `session` and `publishing` raise.
    """
    clock = SystemClock()
    folder = options.folder or Path(f"coilcall-{clock.utc():%Y%m%d-%H%M%S}")
    source = supervised(source_for, address, clock, terms.retry_s)
    asyncio.run(_run(source, replace(options, folder=folder), clock, terms, broker))


async def _run(source: Source, options: Options, clock: Clock, terms: Terms, broker: Access | None) -> None:
    log: Log | None = None
    folder = options.folder
    assert folder is not None
    with ExitStack() as until_all_is_kept:
        report = report_on(sys.stderr, clock)
        until_all_is_kept.callback(report.close)
        try:
            async with (
                publishing(broker, clock, lambda line: log.tell_unsent(line) if log else None) as publish,
                session(source, options) as running,
            ):
                assert running.keeper is not None
                log = Log(running, running.keeper, report, clock)
                publish(running, partial(log.stop, "mqtt"))
                until_all_is_kept.enter_context(answering(_answers(log)))
                until_all_is_kept.enter_context(_noticing_standstill(log, clock))
                attend = until_all_is_kept.enter_context(keyboard(log.take_keys))
                async with kept_awake() as sleeps:
                    report.tell(await asyncio.to_thread(start, running, log.keeper, options, sleeps))
                    await log.run(Stops(terms, folder, clock), attend)
        finally:
            if log is not None and running.ended.is_set():
                log.look()  # once more: what was sure only at the end
                report.tell(end(running, log.keeper, folder))
                report.close()
                show_result(running, log.keeper.counted, folder)


def _noticing_standstill(log: Log, clock: Clock) -> AbstractContextManager[None]:
    loop = asyncio.get_running_loop()

    def tell(lasted_s: float) -> None:
        loop.call_soon_threadsafe(log.note_standstill, lasted_s)

    return noticing_standstill(clock, Policy().standstill_s, tell)


def _answers(log: Log) -> dict[int, Callable[[], object]]:
    answers: dict[int, Callable[[], object]] = {
        number: partial(log.stop, signal.Signals(number).name) for number in end_signals()
    }
    return answers | ({} if MARK_SIGNAL is None else {MARK_SIGNAL: partial(log.mark, "signal")})


async def _first_of(*events: asyncio.Event, timeout_s: float) -> None:
    waits = [asyncio.ensure_future(event.wait()) for event in events]
    await asyncio.wait(waits, timeout=timeout_s, return_when=asyncio.FIRST_COMPLETED)
    for wait in waits:
        wait.cancel()
    await asyncio.gather(*waits, return_exceptions=True)
