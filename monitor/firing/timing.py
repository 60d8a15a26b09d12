"""When the coils answer: during the charge or at the spark, and how long after."""

from collections import deque
from collections.abc import Sequence
from statistics import median
from typing import Literal, NamedTuple

from monitor.signal.pulses import Pulse

Mode = Literal["during-charge", "at-spark"]

_MODES: tuple[Mode, Mode] = ("during-charge", "at-spark")
_RECENT = 15
_SOON = 3
LEARNING = 12
"""Calls after which the timing is decided: at once where only one reading fits, at the latest by the better fit."""
_FITS = 0.6
"""Share of the calls that must have found an answer in a reading that is to be believed."""


class Seen(NamedTuple):
    """One call, and the answers that began near it."""

    cylinder: int
    call: Pulse
    answers: Sequence[Pulse]


class Timing:
    """The learned relation of answers to calls, in ticks; `mode` is None until enough calls were seen."""

    def __init__(self, mode: Mode | None, reach: int, slack: int) -> None:
        """`reach` is how long after the spark an answer may begin, `slack` the uncertainty of an instant."""
        self.mode = mode
        self._reach = reach
        self._slack = slack
        self._delays: deque[int] = deque(maxlen=_RECENT)
        self._dwells: deque[int] = deque(maxlen=_RECENT)
        self.delay = 0
        """Median of the latest delays: from the call's start (during charge) or from the spark."""
        self.dwell = 0
        """Median of the latest dwells."""
        self._widths: deque[int] = deque(maxlen=_RECENT)
        self.width = 0
        """Median of the latest widths of single answers; 0 until enough were seen."""

    @property
    def is_learned(self) -> bool:
        """Whether a delay is known."""
        return bool(self._delays)

    def origin(self, call: Pulse) -> int:
        """The instant that delays are counted from."""
        return self._origin(call, self.mode)

    def window(self, call: Pulse, mode: Mode | None = None) -> tuple[int, int]:
        """First and last tick at which an answer to this call may begin."""
        match mode or self.mode:
            case "at-spark":
                return call.end - self._slack, call.end + self._reach
            case "during-charge":
                return call.start - self._slack, call.end + self._slack
        return call.start - self._slack, call.end + self._reach

    @property
    def spark_after_answer(self) -> int:
        """Ticks from the start of an answer to the spark it belongs to, where its call is not connected."""
        return self.dwell - self.delay if self.mode == "during-charge" else -self.delay

    def note(self, call: Pulse, answer: Pulse) -> None:
        """Learn from one answered call."""
        self._delays.append(answer.start - self.origin(call))
        self.delay = round(median(self._delays))

    def note_width(self, answer: Pulse) -> None:
        """Learn how long one answer lasts."""
        self._widths.append(answer.end - answer.start)
        if len(self._widths) >= _RECENT // 2:
            self.width = round(median(self._widths))

    def note_call(self, call: Pulse) -> None:
        """Learn the dwell from one call."""
        self._dwells.append(call.end - call.start)
        self.dwell = round(median(self._dwells))

    def decide(self, seen: Sequence[Seen]) -> bool:
        """Choose the mode from calls and the answers that began near them; False while it stays open.

        The right reading finds an answer for nearly every call, and always equally late: another cylinder's answer
        that happens to fall into the window moves with the engine.
        """
        fits = {mode: self._fit(seen, mode) for mode in _MODES}
        likely: list[Mode] = [mode for mode in _MODES if fits[mode][0] >= _FITS * len(seen)]
        if len(likely) == 1 and len(seen) >= _SOON:
            self.mode = likely[0]
        elif len(likely) == 2 and len(seen) >= LEARNING:
            self.mode = _MODES[0] if fits[_MODES[0]][1] <= fits[_MODES[1]][1] else _MODES[1]
        elif len(seen) >= LEARNING and any(found for found, _ in fits.values()):
            self.mode = _MODES[0] if fits[_MODES[0]][0] >= fits[_MODES[1]][0] else _MODES[1]
        return self.mode is not None

    def _fit(self, seen: Sequence[Seen], mode: Mode) -> tuple[int, float]:
        """How many calls found an answer, and how far their delays spread."""
        delays = []
        for place, one in enumerate(seen):
            first, last = self.window(one.call, mode)
            # What begins in a cylinder's next charge answers that one: sparks may be repeated.
            last = min([last, *(later.call.start for later in seen[place + 1 :] if later.cylinder == one.cylinder)])
            near = [answer.start for answer in one.answers if first <= answer.start <= last]
            if near:
                delays.append(near[0] - self._origin(one.call, mode))
        middle = median(delays) if delays else 0.0
        return len(delays), median(abs(delay - middle) for delay in delays) if delays else float("inf")

    @staticmethod
    def _origin(call: Pulse, mode: Mode | None) -> int:
        return call.end if mode == "at-spark" else call.start
