"""Silence and sleep noticed from outside: a source that gives nothing cannot notice it itself."""

import threading
from collections import deque
from collections.abc import Callable, Iterator
from typing import Self

from acquire.block import SampleBlock
from acquire.clock import Clock
from acquire.outage import Policy

LOOK_EVERY_S = 0.1
BLOCKS_REMEMBERED = 8


class BlockTime:
    """How long a block of this source lasts, as far as its last ones tell."""

    def __init__(self, policy: Policy) -> None:
        self._policy = policy
        self._recent_s: deque[float] = deque(maxlen=BLOCKS_REMEMBERED)

    @property
    def standstill_s(self) -> float:
        """For how long nobody may have looked."""
        return self._policy.standstill_s

    def note(self, block_s: float) -> None:
        """Remember one more."""
        self._recent_s.append(block_s)

    def patience_s(self, *, is_first: bool) -> float:
        """How long the next block may take; `is_first` after the source was opened."""
        block_s = max(self._recent_s, default=self._policy.unknown_block_s)
        usual_s = max(self._policy.stall_blocks * block_s, self._policy.least_stall_s)
        return usual_s + self._policy.first_block_s if is_first else usual_s


class StallWatch:
    """Calls `close`, in a thread of its own, when the blocks handed through `over` stay away for too long.

    Only the wait for a block counts, not what is done with it. Where nobody could look for the policy's `standstill_s`,
    the blocks end as well: the machine slept, and what the source gives next does not go on where it had stopped. The
    thread lives as long as the `with`.
    """

    def __init__(self, close: Callable[[], object], clock: Clock, block_time: BlockTime) -> None:
        self._close, self._clock, self._block_time = close, clock, block_time
        self._stop = threading.Event()
        self._waiting: tuple[float, float] | None = None
        self._looked_s = clock.now()
        self._thread = threading.Thread(target=self._look, name="stall-watch", daemon=True)
        self.silent_s: float | None = None
        """How long it had kept silent when it was closed; None while it was not."""
        self.stood_still_s: float | None = None
        """How long nobody had looked when it was closed for that; None while it was not."""

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def over(self, blocks: Iterator[SampleBlock], rate_hz: float) -> Iterator[SampleBlock]:
        """Hand every block on."""
        is_first = True
        while True:
            self._waiting = (self._clock.now(), self._block_time.patience_s(is_first=is_first))
            block = next(blocks, None)
            self._waiting = None
            if block is None or self._stands_still():
                return
            self._block_time.note(block.samples / rate_hz)
            is_first = False
            yield block

    def _stands_still(self) -> bool:
        """Ask in either thread: after a sleep one of them is the first to wake."""
        gone_s = self._clock.now() - self._looked_s
        if gone_s >= self._block_time.standstill_s:
            self.stood_still_s = gone_s
        return self.stood_still_s is not None

    def _look(self) -> None:
        while not self._stop.wait(LOOK_EVERY_S):
            if self._stands_still():
                self._close()
                return
            self._looked_s = self._clock.now()
            waiting = self._waiting
            if waiting is not None and (silent_s := self._looked_s - waiting[0]) >= waiting[1]:
                self.silent_s = silent_s
                self._close()
                return
