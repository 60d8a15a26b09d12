"""What a replay knows of its recording: the marks to show at their moment, and the places to jump to."""

from bisect import insort
from collections import deque
from operator import attrgetter

from acquire.block import SampleBlock
from monitor.analyzer import Step
from monitor.live import Session
from monitor.marks import Mark
from monitor.moments import Moments, before_flag, before_mark
from monitor.presses import buttons_of
from monitor.recorded import Recorded

_BY_TIME = attrgetter("time_s")


class Remembered:
    """A Listener to one session after the other. What no ledger told of flags and marks it learns as they come."""

    def __init__(self, recorded: Recorded) -> None:
        self.is_all = recorded.is_there
        """Whether those are known too that are still to come."""
        self.moments = Moments()
        for moment in (*map(before_flag, recorded.flags), *map(before_mark, recorded.marks)):
            self.moments.add(moment)
        self._marks = sorted(recorded.marks, key=_BY_TIME)
        self._awaited: deque[Mark] = deque()
        self._session: Session | None = None

    def listen_to(self, session: Session, begin_s: float) -> None:
        """Begin with a session's first block. Its samples tell of presses themselves, from `begin_s` on."""
        buttons = buttons_of(session.analyzer.hookup)
        self._awaited = deque(mark for mark in self._marks if mark.time_s <= begin_s or mark.by not in buttons)
        self._session = session
        session.listen(self)

    def add(self, mark: Mark) -> None:
        """Remember a mark that is made while it is replayed."""
        insort(self._marks, mark, key=_BY_TIME)
        self.moments.add(before_mark(mark))

    def take(self, block: SampleBlock, step: Step) -> None:
        """Show the marks whose time has come."""
        assert self._session is not None
        now_s = block.end_index / self._session.info.sample_rate_hz
        while self._awaited and self._awaited[0].time_s <= now_s:
            mark = self._awaited.popleft()
            self._session.note(mark.time_s, mark.by, mark.note)
        self._learn(step)

    def conclude(self, step: Step) -> None:
        """Note what became certain only with the end of the samples."""
        self._learn(step)

    def _learn(self, step: Step) -> None:
        if self.is_all:
            return
        for flag in step.flags:
            self.moments.add(before_flag(flag))
        for press in step.presses:
            self.moments.add(before_mark(Mark(0, press.time_s, press.by)))
