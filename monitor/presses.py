"""A push button on an input: which of its two levels means pressed is learned, and a bouncing contact is one press."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from monitor.hookup import Hookup, Lead
from monitor.setup import Role
from monitor.signal.front import Front, PulseShape
from monitor.signal.pulses import Overlong, Pulse

EDGE_V = (0.8, 2.0)
"""What 3.3 V and 5 V logic calls low and high (JEDEC JESD8C); a contact to 5 V or 12 V passes both."""


@dataclass(frozen=True, slots=True)
class Press:
    """Somebody pressed the button, `time_s` seconds from the first sample; `by` names the marker wire."""

    time_s: float
    by: str


def name_of(lead: Lead) -> str:
    """What a press of this marker's button is made by: `marker in4`."""
    return f"{lead.wire} {lead.channel.input}"


def buttons_of(hookup: Hookup) -> frozenset[str]:
    """Names of all buttons that are connected."""
    return frozenset(map(name_of, hookup.of_role(Role.MARKER)))


class Button:
    """One contact. At rest it is at the level at which it has stood longer so far; a press leaves that level.

    So it does not matter whether the button closes to a voltage, to ground, or opens. Told every stay at a level in the
    order of the samples, it calls `press` with the tick at which a press began.
    """

    def __init__(self, press: Callable[[int], None]) -> None:
        self._press = press
        self._level: bool | None = None
        self._since = 0
        self._stood = {True: 0, False: 0}

    def lose(self, first: int, last: int) -> None:
        """Samples from tick `first` to `last` never came, or the first of all comes at `last`."""
        if self._level is not None:
            self._stood[self._level] += first - self._since
        self._level, self._since = None, last

    def stay(self, start: int, *, is_high: bool, is_bounce: bool) -> None:
        """From `start` on it stood at this level; `is_bounce` if for too short a time to count."""
        if self._level is None:
            self._level = not is_high
        if is_bounce or is_high is self._level:
            return
        self._stood[not is_high] += start - self._since
        self._level, self._since = is_high, start
        if self._stood[not is_high] > self._stood[is_high]:
            self._press(start)


class Markers:
    """The buttons of all marker inputs; a press is told as soon as it has lasted longer than a contact bounces."""

    def __init__(self, hookup: Hookup, front: Front, shortest: int, ticks_per_s: float) -> None:
        """`shortest` is in ticks: what is shorter is a glitch."""
        self._ticks_per_s = ticks_per_s
        self._presses: list[Press] = []
        self._buttons: list[Button] = []
        bounce = round(hookup.setup.limits.marker_bounce_ms / 1e3 * ticks_per_s)
        for lead in hookup.of_role(Role.MARKER):
            self._buttons.append(button := Button(partial(self._press, name_of(lead))))
            for is_high in (True, False):
                shape = PulseShape(is_high, shortest, bounce)
                front.watch(lead.row, lead.scale.thresholds(*EDGE_V), shape, partial(_stay, button, is_high))

    def lose(self, first: int, last: int) -> None:
        """Samples from tick `first` to `last` never came, or the first of all comes at `last`."""
        for button in self._buttons:
            button.lose(first, last)

    def take(self) -> tuple[Press, ...]:
        """Give the presses since the last call."""
        presses, self._presses = tuple(self._presses), []
        return presses

    def _press(self, name: str, tick: int) -> None:
        self._presses.append(Press(tick / self._ticks_per_s, name))


def _stay(button: Button, is_high: bool, stay: Pulse | Overlong) -> None:
    button.stay(stay.start, is_high=is_high, is_bounce=isinstance(stay, Pulse))
