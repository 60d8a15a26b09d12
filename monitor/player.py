"""A recording on the screen: its pace, its marks, and jumps.

The analysis is a pure step and cannot go back, and to run through hours takes minutes. So a jump that is no short run
ahead begins a session anew, LEAD_S before the place. What is counted then is counted from there on, and is said to be.
"""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from acquire.errors import AddressError, CoilcallError
from acquire.source import Source
from monitor.flex.flex_test import FlexTest
from monitor.live import Options, Session, session
from monitor.marks import Mark
from monitor.moments import BEFORE_S, Moment
from monitor.recorded import Recorded
from monitor.remembered import Remembered
from monitor.replay import STEP_S, Pace, PacedSource
from monitor.snapshot import Snapshot
from monitor.source_view import SourceState, SourceView
from monitor.text import elapsed
from monitor.trace.store import TraceStore

LEAD_S = 30.0
"""Analysed before the place of a jump: an engine is learned in seconds, and so much is soon run through."""


class Replay:
    """What a screen watches, and its keys. All of it is called from the event loop, `play` once, as a task."""

    running: Session
    flex: FlexTest
    traced: TraceStore
    _paced: PacedSource

    def __init__(self, make: Callable[[], Source], setup_file: Path | None, pace: Pace, recorded: Recorded) -> None:
        self._make, self._pace, self._remembered = make, pace, Remembered(recorded)
        self._options = Options(setup_file, pace=pace, begins=recorded.begins)
        self.opened = asyncio.Event()
        """Set when the first session is there, and with it `running`, `flex` and `traced`."""
        self._goal = Moment(0.0)
        self._begin_s = 0.0
        self._said = ""
        self._again = asyncio.Event()
        self._is_between = True
        self._is_closed = False

    async def play(self, at_s: float = 0.0) -> None:
        """Begin there, and hold one session after the other until it is closed. Raises what `session` raises."""
        self._aim(Moment(at_s))
        is_paused = False
        while not self._is_closed:
            self._again.clear()
            self._pace.run_to(self._goal.at_s, is_paused=is_paused)
            self._paced = PacedSource(self._make(), self._pace, self._begin_s, self._options.begins)
            try:
                async with session(self._paced, self._options) as self.running:
                    self._begin()
                    await self._again.wait()
                    self.running.abandon()
            except CoilcallError:
                if self._is_closed or not self._again.is_set():
                    raise
            is_paused = True

    def close(self) -> None:
        """End `play`."""
        self._is_closed = True
        self._again.set()

    # -- what the screen asks

    def snapshot(self) -> Snapshot:
        """The analysis now."""
        return self.running.snapshot()

    def source(self) -> SourceView:
        """The stream now, and where the replay stands."""
        view = self.running.source()
        is_behind = self._now_s < self._goal.at_s and not self.running.ended.is_set()
        is_jumping = self._is_between or (is_behind and (self._pace.is_running or view.behind_s > 0.0))
        state = SourceState.JUMPING if is_jumping else view.state
        return replace(view, state=state, replay=self._words(is_jumping=is_jumping))

    def mark(self, by: str) -> Mark:
        """Note that somebody sees it now; it is kept on the screen only, never in the recording."""
        mark = self.running.mark(by)
        self._remembered.add(mark)
        return mark

    # -- the keys

    def toggle_pause(self) -> None:
        """Stand still, or go on."""
        self._pace.toggle_pause()

    def step(self) -> None:
        """Stand still after a short piece more."""
        self._pace.step()

    def faster(self) -> None:
        """Double the speed, up to the highest."""
        self._pace.faster()

    def slower(self) -> None:
        """Halve the speed, down to the lowest."""
        self._pace.slower()

    def later(self) -> None:
        """Go to where the next flag or mark is about to come."""
        self._jump(self._remembered.moments.after(self._here_s), "later")

    def earlier(self) -> None:
        """Go to where the flag or mark before this place is about to come."""
        self._jump(self._remembered.moments.before(self._here_s), "earlier")

    def beginning(self) -> None:
        """Go to the first samples."""
        first = self.running.analyzer.standing.first_index
        first_s = 0.0 if first is None or self._paced.has_skipped else first / self.running.info.sample_rate_hz
        self._jump(Moment(first_s + STEP_S), "earlier")

    def _jump(self, moment: Moment | None, way: str) -> None:
        if moment is None:
            unknown = "" if self._remembered.is_all else " seen so far; no ledger tells of others"
            self._said = f"no {way} flag or mark{unknown}"
        elif 0.0 <= moment.at_s - self._now_s <= LEAD_S and not (self.running.ended.is_set() or self._is_between):
            self._goal, self._said = moment, ""
            self._pace.run_to(moment.at_s, is_paused=True)
        else:
            self._aim(moment)
            self._again.set()

    def _aim(self, moment: Moment) -> None:
        self._goal, self._said, self._is_between = moment, "", True
        self._begin_s = max(moment.at_s - LEAD_S, 0.0)

    # -- where it stands

    @property
    def _now_s(self) -> float:
        return self.running.analyzer.standing.end_index / self.running.info.sample_rate_hz

    @property
    def _here_s(self) -> float:
        """Where a jump starts from: the place of the last one while it is not reached."""
        return self._goal.at_s if self._is_between else max(self._now_s, self._goal.at_s)

    def _words(self, *, is_jumping: bool) -> str:
        goal, words = self._goal, self._said
        if is_jumping:
            words = f"to {elapsed(goal.at_s)}"
        elif goal.what and not words and self._now_s < goal.at_s + BEFORE_S:
            words = f"next {goal.what}"
        counted = f"counted from {elapsed(self._begin_s)} on" if self._paced.has_skipped else ""
        return "  ".join(filter(None, (words, counted)))

    # -- what each session brings

    def _begin(self) -> None:
        """Make ready what looks at a session, before its first block."""
        info, hookup = self.running.info, self.running.analyzer.hookup
        if not self.opened.is_set():
            self._check(info.total_samples, info.sample_rate_hz)
            self.flex, self.traced = FlexTest(hookup, info), TraceStore(info)
        for one in (self.flex, self.traced):
            one.forget()
            self.running.listen(one)
        self._remembered.listen_to(self.running, self._begin_s)
        self._is_between = self._again.is_set()
        self.opened.set()

    def _check(self, total_samples: int | None, rate_hz: float) -> None:
        if total_samples is not None and self._goal.at_s > total_samples / rate_hz:
            ends = elapsed(total_samples / rate_hz)
            raise AddressError(f"--at {elapsed(self._goal.at_s)}: the recording ends at {ends}; name an earlier place")
