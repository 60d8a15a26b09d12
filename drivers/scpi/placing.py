"""Where a block stands in the stream: by the instrument's own count or clock, else by the host's clock, else behind."""

import re
from fractions import Fraction
from typing import Protocol

from drivers.scpi.dialect import Position

_NUMBER = re.compile(r"[+-]?\d{1,20}(\.\d{0,20})?([eE][+-]?\d{1,2})?", re.ASCII)


class Misplaced(ValueError):
    """What the instrument says of a block's place cannot be; the message says why."""


class Placing(Protocol):
    """Gives a block its first index, which is `end_index` where nothing was lost since the block before."""

    def index(self, told: str, armed_s: float, end_index: int) -> int:
        """`told` is the instrument's answer, `armed_s` the host's clock when it was armed. Raises Misplaced."""
        ...


class Behind:
    """For a stream whose instrument tells only by an error that something was lost."""

    def index(self, told: str, armed_s: float, end_index: int) -> int:  # noqa: ARG002  one way of several
        """Give the index right behind the block before."""
        return end_index


class ByHostClock:
    """For frames whose instrument does not tell: good to the time that a command takes to arrive."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._zero_s: float | None = None

    def index(self, told: str, armed_s: float, end_index: int) -> int:  # noqa: ARG002
        """Count from the first arming. There is always a gap between two frames, however short."""
        if self._zero_s is None:
            self._zero_s = armed_s
            return 0
        return max(round((armed_s - self._zero_s) * self._rate_hz), end_index + 1)


class ByInstrument:
    """By the count of samples, or the seconds, that the instrument tells; exact to what it tells."""

    def __init__(self, position: Position, rate_hz: float) -> None:
        self._modulus = position.modulus
        self._rate = Fraction(rate_hz) if position.unit == "seconds" else None
        self._zero: int | Fraction | None = None
        self._last: int | Fraction = 0

    def index(self, told: str, armed_s: float, end_index: int) -> int:  # noqa: ARG002
        """Count from the first block, which is 0. Raises Misplaced where it is no number or goes back."""
        value = self._running(_number(told))
        if self._zero is None:
            self._zero = value
        passed = value - self._zero
        index = round(passed if self._rate is None else passed * self._rate)
        if self._rate is not None and index == end_index - 1:  # a clock read out in decimals is rounded
            index = end_index
        if index < end_index:
            raise Misplaced(f"a block is said to start at sample {index}, but the one before ended at {end_index}")
        return index

    def _running(self, value: int | Fraction) -> int | Fraction:
        """Go on counting where the instrument's counter began again."""
        if self._zero is not None and self._modulus is not None:
            value = self._last + (value - self._last) % self._modulus
        self._last = value
        return value


def _number(told: str) -> int | Fraction:
    if not _NUMBER.fullmatch(told):
        raise Misplaced(f"{told[:32]!r} is no place of a block; a number would be")
    return int(told) if told.isdigit() else Fraction(told)
