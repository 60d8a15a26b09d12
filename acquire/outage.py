"""When a live source counts as lost, how it is waited for, and what is said of that."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Policy:
    """When to give a source up for lost, and for how long to try again. Every field has its reason below it."""

    retry_s: float = math.inf
    """How long an outage may last before it is given up, 0 being at once. For ever: no road test can be had again."""
    first_wait_s: float = 0.5
    """Before the first attempt: a port that fails is seldom back earlier. Doubled for every further one."""
    longest_wait_s: float = 10.0
    """Nobody who has plugged it in again waits longer than this."""
    stall_blocks: int = 8
    """Silence of so many block times is a stall; a block time is the longest of the last eight blocks."""
    least_stall_s: float = 1.0
    """Below this a busy host or bus may be what is late."""
    first_block_s: float = 5.0
    """What a source that was just opened may need, beyond that, for its first block."""
    unknown_block_s: float = 10.0
    """Block time of a source that has never given a block: a slow oscilloscope's frame."""
    standstill_s: float = 2.0
    """When nobody here has run for so long, the machine slept or the program was stopped: what came meanwhile is gone,
    as no port keeps that much, and where is not known. A busy host is late by less."""

    def wait_s(self, attempts: int) -> float:
        """How long to wait before the next attempt, after so many in vain."""
        return min(self.first_wait_s * 2.0 ** min(attempts, 60), self.longest_wait_s)


@dataclass(frozen=True, slots=True)
class Outage:
    """One time that a source was away; it is back with its first block, not with the port.

    `number` counts from 1. `at_s` is the time in the stream (index / rate) of the last sample before, `since_s` the
    clock's when that came, `back_s` the clock's when one came again, None while it is away. `attempts` were in vain,
    the last one because of `refusal`.
    """

    number: int
    reason: str
    at_s: float
    since_s: float
    attempts: int = 0
    refusal: str = ""
    back_s: float | None = None

    def lasted_s(self, now_s: float) -> float:
        """How long it was, or has been until now."""
        return (now_s if self.back_s is None else self.back_s) - self.since_s
