"""The wiring: source → pump → ring → { analyzer → ledger, recorder }, and a screen that looks on.

The analyzer is fed in the event loop. The ring hands over at most one segment (65,536 samples a channel) and lets the
other tasks run between two of them, so a step stays short; and because a snapshot is made in the same loop it is never
half a step old, without a lock. What waits for a disk is the keeper's.
"""

import asyncio
import math
import uuid
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from acquire.block import StreamInfo
from acquire.clock import Clock
from acquire.errors import CoilcallError
from acquire.outage import Outage, Policy
from acquire.pump import pumping
from acquire.recording import read_info
from acquire.resumed import Resumed
from acquire.ring import RingReader
from acquire.source import Source, health_of
from acquire.supervised import Supervised
from drivers.address import parse_address
from monitor.analyzer import Analyzer, Step
from monitor.choice import choose_setup
from monitor.disk_terms import DiskTerms
from monitor.entries import Coverage, Entries, Event
from monitor.keeper import Keeper, keeping
from monitor.listener import Listener
from monitor.marks import Mark, MarkBook
from monitor.outage_book import OutageBook
from monitor.replay import Pace
from monitor.snapshot import Snapshot
from monitor.source_view import SourceState, SourceView
from monitor.terminal import OPENING, patience


@dataclass(frozen=True, slots=True)
class Options:
    """`setup_file` wins over the set-up that came with the samples; `folder` is where to record, if anywhere.

    `pace` is that of a replay, to be told on the screen; `begins` are the first samples of its sessions.
    """

    setup_file: Path | None = None
    folder: Path | None = None
    pace: Pace | None = None
    begins: frozenset[int] = frozenset()
    disk: DiskTerms = field(default_factory=DiskTerms)


def supervised(make: Callable[[str], Source], address: str, clock: Clock, retry_s: float = math.inf) -> Source:
    """Make the source of an address, one that is tried again when it is lost; what cannot be unplugged is left alone.

    Raises what `make` raises.
    """
    if parse_address(address).scheme in ("file", "simulated"):
        return make(address)
    return Supervised(partial(make, address), Policy(retry_s), clock)


class Session:
    """One stream being analysed. Everything here is called from the event loop."""

    def __init__(
        self, source: Source, info: StreamInfo, analyzer: Analyzer, reader: RingReader, options: Options
    ) -> None:
        self.info = info
        self.analyzer = analyzer
        self.error: CoilcallError | None = None
        """Why the stream broke off, if it did."""
        self.ended = asyncio.Event()
        """Set when the last sample has been analysed."""
        self.unseen_s = 0.0
        """For how long the instrument had been lost when it ended."""
        self.keeper: Keeper | None = None
        """What keeps it all on the disk, if anything does."""
        self.recording_id = uuid.uuid4().hex
        """Of the recording, also when it goes on in a later session; of this session alone where nothing is kept."""
        self.publishing_state: Callable[[], str] = str
        """How publishing stands, in words; "" where all is well or nothing is published."""
        self.doubt = ""
        """Why it is not sure how long after the session before this one began; "" where it is."""
        self.began_s = 0.0
        """Where it begins, in seconds from the recording's first sample."""
        self._fed_at_s: float | None = None
        self._outages = OutageBook()
        self._marks = MarkBook()
        self._is_abandoned = False
        self._listeners: list[Listener] = []
        self._source = source
        self._supervised = source if isinstance(source, Supervised) else None
        self._reader = reader
        self._options = options

    def snapshot(self) -> Snapshot:
        """The analysis now."""
        now = self.analyzer.snapshot()
        return replace(now, time_s=max(now.time_s, self.began_s), marks=self._marks.latest)

    def listen(self, listener: Listener) -> None:
        """Have it told of every block from now on; whoever registers before the first wait misses none."""
        self._listeners.append(listener)

    def on_committed(self, hook: Callable[[Entries], None]) -> None:
        """Have it told, in the event loop, what the ledger has taken; without a recording that is nothing."""
        if self.keeper is not None:
            self.keeper.on_committed.append(hook)

    def mark(self, by: str, note: str = "") -> Mark:
        """Note that somebody felt it now: behind the newest sample there is by as long as none has come since."""
        analysed_s = self.analyzer.standing.end_index / self.info.sample_rate_hz
        waiting_s = self._reader.statistics().lag_samples / self.info.sample_rate_hz
        return self.note(max(analysed_s, self.began_s) + (waiting_s or self._silent_s()), by, note)

    def _silent_s(self) -> float:
        """For how long a live source has given nothing, where all that it gave is analysed."""
        if not self.info.is_live or self._fed_at_s is None or self.ended.is_set():
            return 0.0
        return self._options.disk.clock.now() - self._fed_at_s

    def abandon(self) -> None:
        """Analyse no more, not even what has come: nobody looks at this session any longer."""
        self._is_abandoned = True

    def note(self, time_s: float, by: str, note: str = "") -> Mark:
        """Enter a mark for that moment."""
        mark = self._marks.note(time_s, by, note)
        if self.keeper is not None:
            self.keeper.enter_mark(mark)
        return mark

    def keep(self, keeper: Keeper, resumed: Resumed | None) -> None:
        """Have it kept on the disk, in a recording that is gone on with or a new one."""
        self.keeper, self.recording_id = keeper, keeper.counted.recording_id
        self._marks = MarkBook(keeper.counted.mark)
        if resumed is not None:
            self.began_s, self.doubt = resumed.first_index / self.info.sample_rate_hz, resumed.doubt
            if self.doubt:
                keeper.enter_event(Event(self.began_s, "clock-set", self.doubt))

    def take_stock(self) -> Coverage:
        """Say how much of the time was observed, and enter what befell the source since the last call."""
        if self.keeper is not None and self._supervised is not None:
            for event in self._outages.news(self._supervised.outage, self.began_s):
                self.keeper.enter_event(event)
        standing = self.analyzer.standing
        if self.keeper is not None and self.ended.is_set() and self.unseen_s:
            end_s = standing.end_index / self.info.sample_rate_hz
            self.keeper.enter_event(Event(end_s, "not-back", "the instrument was lost when it ended", self.unseen_s))
        return Coverage(standing.elapsed_s, standing.coverage, standing.lost_samples)

    def source(self) -> SourceView:
        """The stream now."""
        info, options = self.info, self._options
        outage = self._supervised.outage if self._supervised else None
        health = health_of(self._source)
        return SourceView(
            address=info.source,
            state=self._state(outage),
            reason=str(self.error or "") or _reason(outage),
            sample_rate_hz=info.sample_rate_hz,
            simulated=info.source.startswith("simulated:"),
            speed=options.pace.speed if options.pace else None,
            total_s=info.total_samples / info.sample_rate_hz if info.total_samples else None,
            behind_s=self._reader.statistics().lag_samples / info.sample_rate_hz,
            recording_to=str(options.folder) if options.folder else None,
            times_lost=outage.number if outage else 0,
            lost_at_s=outage.at_s + self.began_s if outage else None,
            outage_s=self._supervised.outage_s if self._supervised else None,
            clock_error_ppm=health.clock_error_ppm,
            frames_damaged=health.frames_damaged,
            disk=self.keeper.disk if self.keeper else "",
            publishing=self.publishing_state(),
        )

    def _state(self, outage: Outage | None) -> SourceState:
        if self.error is not None:
            return SourceState.LOST
        if self.ended.is_set():
            return SourceState.ENDED
        if outage is not None and outage.back_s is None:
            return SourceState.LOST
        is_paused = self._options.pace is not None and self._options.pace.is_paused
        return SourceState.PAUSED if is_paused else SourceState.FLOWING

    async def analyze(self) -> None:
        """Feed every block to the end of the stream; what broke it off is kept in `error`."""
        try:
            async for block in self._reader:
                if self._is_abandoned:
                    break
                step = self.analyzer.feed(block)
                self._fed_at_s = self._options.disk.clock.now()
                self._enter(step)
                if self.keeper is not None:
                    self.keeper.note_block(block)
                for listener in self._listeners:
                    listener.take(block, step)
        except CoilcallError as error:
            self.error = error
        last = self.analyzer.finish()
        self._enter(last)
        for listener in self._listeners:
            listener.conclude(last)
        outage = self._supervised.outage if self._supervised else None
        if self._supervised and outage and outage.back_s is None:
            self.unseen_s = self._supervised.outage_s or 0.0
        self.ended.set()

    def _enter(self, step: Step) -> None:
        """Keep what came of a block, and make marks of presses."""
        if self.keeper is not None:
            self.keeper.enter(step.firings, step.flags)
        for press in step.presses:
            self.note(press.time_s, press.by)


@asynccontextmanager
async def session(source: Source, options: Options) -> AsyncIterator[Session]:
    """Open the source and analyse it until the stream ends or the block is left.

    Leaving closes the source; what it had delivered by then is still analysed and recorded. After that, what broke the
    stream off is raised, if anything did, or what could not be kept. Raises AddressError, FormatError, SetupError,
    SourceLost, CoilcallError.
    """
    resumed = _resumed(source, options)
    async with AsyncExitStack() as stack:
        with patience(OPENING):
            info, ring = await stack.enter_async_context(pumping(resumed or source))
        setup = choose_setup(info, options.setup_file)
        running = Session(
            source, info, Analyzer(setup, info, options.begins), stack.enter_context(ring.reader()), options
        )
        if options.folder is not None:
            recorded = stack.enter_context(ring.reader())
            kept = replace(info, setup_toml=setup.text)
            begins = resumed.first_index if resumed else None
            running.keep(await stack.enter_async_context(keeping(options.folder, kept, options.disk, begins)), resumed)
        tasks = await stack.enter_async_context(asyncio.TaskGroup())
        if running.keeper is not None:
            tasks.create_task(running.keeper.record(recorded))
            tasks.create_task(running.keeper.keep_book(running.ended, running.take_stock))
            tasks.create_task(running.keeper.keep_clips(running.ended))
        tasks.create_task(running.analyze())
        yield running
        source.close()
    unkept = running.keeper.unkept if running.keeper else ""
    if unkept:
        raise CoilcallError(f"{unkept}; {running.error}" if running.error else unkept)
    if running.error is not None:
        raise running.error


def _resumed(source: Source, options: Options) -> Resumed | None:
    """Make the source go on in the recording, where it should. Raises AddressError, FormatError where that is none."""
    if options.folder is None or not options.disk.resume:
        return None
    return Resumed(source, read_info(options.folder), options.disk.clock)


def _reason(outage: Outage | None) -> str:
    """Why it was lost, and why it does not come back."""
    if outage is None:
        return ""
    tries = f"; tried again {outage.attempts} times" if outage.attempts > 1 else "; tried again once"
    refusal = f", at last: {outage.refusal}" if outage.refusal not in ("", outage.reason) else ""
    return f"{outage.reason}{tries if outage.attempts else ''}{refusal}"
