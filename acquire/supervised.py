"""A live source that comes back: given up for lost, waited for, opened again, and the gap in its place."""

import threading
from collections.abc import Callable, Generator, Iterator
from dataclasses import replace

from acquire.block import SampleBlock, StreamInfo, difference
from acquire.clock import Clock, SystemClock
from acquire.errors import CoilcallError, SourceLost, one_line
from acquire.outage import Outage, Policy
from acquire.source import Health, Source, health_of
from acquire.stall import BlockTime, StallWatch
from acquire.standstill import standstill
from acquire.timeline import Timeline


class Supervised:
    """A Source made of as many as it takes: `make` gives a fresh one, not opened, for every attempt.

    The first `open` fails as that of the source itself. After it, what breaks the stream off or keeps silent is lost:
    closed, and tried again until it is there with the same inputs and rate, or the policy gives it up. A source that
    ends by itself has ended, and one that is not live is only handed through.
    """

    def __init__(self, make: Callable[[], Source], policy: Policy | None = None, clock: Clock | None = None) -> None:
        self._make, self._policy, self._clock = make, policy or Policy(), clock or SystemClock()
        self._lock = threading.Lock()
        self._closed = threading.Event()
        self._inner = make()
        self._block_time = BlockTime(self._policy)
        self._outage: Outage | None = None
        self._damaged_before = 0

    @property
    def outage(self) -> Outage | None:
        """The one that lasts, or the latest; None where it was never lost. From any thread."""
        return self._outage

    @property
    def outage_s(self) -> float | None:
        """How long that one was, or has been until now. From any thread."""
        outage = self._outage
        return None if outage is None else outage.lasted_s(self._clock.now())

    @property
    def health(self) -> Health:
        """That of the source that is there, with the frames of those before it. From any thread."""
        with self._lock:
            now = health_of(self._inner)
            return replace(now, frames_damaged=self._damaged_before + now.frames_damaged)

    def open(self) -> StreamInfo:
        """Open the first source. Raises what that raises."""
        self._info = self._inner.open()
        self._heard_s = self._clock.now()
        self._timeline = Timeline(self._info, self._heard_s)
        return self._info

    def blocks(self) -> Iterator[SampleBlock]:
        """Give the blocks of all of them, one after the other. Raises SourceLost when it is given up."""
        if not self._info.is_live:
            yield from self._inner.blocks()
            return
        try:
            while (reason := (yield from self._blocks_of_one())) is not None and self._comes_back(reason):
                pass
        finally:
            self.close()

    def close(self) -> None:
        """End whatever goes on: blocks, an attempt, or the wait for the next."""
        self._closed.set()
        with self._lock:
            inner = self._inner
        inner.close()

    def _blocks_of_one(self) -> Generator[SampleBlock, None, str | None]:
        """Give the blocks of the source that is open; return why it was lost, None where it has ended."""
        inner, rate_hz = self._inner, self._info.sample_rate_hz
        reason = None
        with StallWatch(inner.close, self._clock, self._block_time) as watch:
            try:
                for block in watch.over(iter(inner.blocks()), rate_hz):
                    self._heard_s = self._clock.now()
                    self._note_back()
                    yield self._timeline.place(block, self._heard_s)
            except (SourceLost, OSError) as error:
                reason = self._told(error)
            finally:
                inner.close()
        if watch.silent_s is not None:
            reason = f"{self._info.source}: nothing came for {watch.silent_s:.1f} s"
        if watch.stood_still_s is not None:
            reason = f"{self._info.source}: {standstill(watch.stood_still_s)}"
        return None if self._closed.is_set() else reason

    def _note_back(self) -> None:
        if self._outage is not None and self._outage.back_s is None:
            self._outage = replace(self._outage, back_s=self._heard_s)

    def _comes_back(self, reason: str) -> bool:
        """Try until one is open again; False once closed. Raises SourceLost where it is given up."""
        outage = self._begin_outage(reason)
        while not self._closed.is_set():
            left_s = self._policy.retry_s - outage.lasted_s(self._clock.now())
            if left_s <= 0:
                raise SourceLost(_farewell(outage, self._policy.retry_s))
            if self._clock.wait(min(self._policy.wait_s(outage.attempts), left_s), self._closed):
                return False
            refusal = self._attempt()
            if refusal is None:
                return True
            self._outage = outage = replace(outage, attempts=outage.attempts + 1, refusal=refusal)
        return False

    def _begin_outage(self, reason: str) -> Outage:
        """Begin one; the last one goes on where not a block came since, with an attempt more in vain."""
        last = self._outage
        if last is not None and last.back_s is None:
            outage = replace(last, attempts=last.attempts + 1, refusal=reason)
        else:
            at_s = self._timeline.end_index / self._info.sample_rate_hz
            outage = Outage(last.number + 1 if last else 1, reason, at_s, self._heard_s)
        self._outage = outage
        return outage

    def _attempt(self) -> str | None:
        """Open a fresh source, and say why not where that fails. Raises SourceLost where it is another one."""
        try:
            fresh = self._make()
            with self._lock:
                if self._closed.is_set():
                    return "closed"
                self._damaged_before += health_of(self._inner).frames_damaged
                self._inner = fresh
            info = fresh.open()
        except (CoilcallError, OSError) as error:
            self._inner.close()
            return self._told(error)
        if other := difference(self._info, info):
            raise SourceLost(f"{self._info.source}: came back as another: {other}")
        self._timeline.begin_again(info, self._clock.now())
        return None

    def _told(self, error: Exception) -> str:
        """One line that begins with the source's name."""
        text = one_line(error)
        return text if isinstance(error, CoilcallError) else f"{self._info.source}: reading failed: {text}"


def _farewell(outage: Outage, retry_s: float) -> str:
    """Say why it was lost and that it stayed away."""
    if not retry_s:
        return outage.reason
    refusal = f"; at last {outage.refusal}" if outage.refusal not in ("", outage.reason) else ""
    return f"{outage.reason}; not back within {retry_s:g} s{refusal}"
