"""Moments along the top of a drawing, and moments and times in figures."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

_STEPS = (1, 2, 5)


@dataclass(frozen=True, slots=True)
class Tick:
    """A round moment, as text, and the sample nearest to it."""

    text: str
    index: int


def tick_step_s(seconds: Fraction, most: int) -> Decimal:
    """The smallest of 1, 2, 5 times a power of ten seconds that comes `most` times at most in so long."""
    exponent = -9
    while True:
        for digit in _STEPS:
            step = Decimal(digit).scaleb(exponent)
            if seconds <= most * Fraction(step):
                return step
        exponent += 1


def ticks(start: int, samples: int, rate_hz: float, most: int) -> list[Tick]:
    """At most `most` + 1 round moments among samples start … start + samples - 1. Exact: no sum of rounded steps."""
    rate = Fraction(rate_hz)
    step = tick_step_s(samples / rate, most)
    each = Fraction(step)
    first, last = -(-start // (each * rate)), (start + samples - 1) // (each * rate)
    places = max(-int(step.as_tuple().exponent), 0)
    return [Tick(f"{n * step:.{places}f}", round(n * each * rate)) for n in range(int(first), int(last) + 1)]


def moment(index: int, rate_hz: float) -> str:
    """When a sample was taken, in seconds from the first, to the microsecond: `12.345 678 s`."""
    microseconds = round(Fraction(index) / Fraction(rate_hz) * 1_000_000)
    sign, microseconds = "-" if microseconds < 0 else "", abs(microseconds)
    whole, rest = divmod(microseconds, 1_000_000)
    return f"{sign}{whole}.{rest // 1000:03} {rest % 1000:03} s"


def duration(seconds: float) -> str:
    """How long, in the unit that suits: `620 us`, `3.450 ms`, `1.204 s`."""
    size = abs(seconds)
    if size < 0.9995e-3:
        return f"{seconds * 1e6:.0f} us"
    return f"{seconds * 1e3:.3f} ms" if size < 0.9999995 else f"{seconds:.4f} s"
