"""From time stamps, rounded as they were written, to the rate and to sample indices."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Stamps = NDArray[np.float64]

GAP_STEPS = 1.5
"""A step longer than this many samples may hide missing ones."""

UNEVEN_SAMPLES = 1.5
"""Stamps further than this from an even grid are not those of one rate, however they were rounded."""


class StampFault(ValueError):
    """Stamps that cannot be those of evenly taken samples; `row` counts from 0 in the array given."""

    def __init__(self, row: int, text: str) -> None:
        super().__init__(text)
        self.row = row


def quantum(stamps: Stamps) -> float:
    """Tell what power of ten the last stamps were rounded to; 0.0 where they were not rounded to any above 1e-12."""
    some = stamps[-8:]
    for decimals in range(13):
        scaled = some * 10.0**decimals
        slack = 1e-4 + 4e-16 * np.abs(scaled).max(initial=0.0)
        if slack < 0.1 and np.abs(scaled - np.rint(scaled)).max(initial=0.0) < slack:
            return float(10.0**-decimals)
    return 0.0


def coarseness(stamps: Stamps, rate: float) -> float:
    """Tell by how many samples rounding may move a stamp; 0.0 where the step is a whole number of quanta."""
    coarse = quantum(stamps) * rate
    is_exact = coarse > 0.0 and abs(1.0 / coarse - round(1.0 / coarse)) < 1e-6
    return 0.0 if is_exact and coarse < 1.5 else coarse


def find_rate(stamps: Stamps) -> float:
    """Tell the rate, in samples per unit of the stamps, from a first piece without lost stamps.

    The mean of all steps that hide no gap; then the roundest rate, or else step, within what rounding leaves open.
    Raises StampFault where the stamps go back or do not move.
    """
    _check_forward(stamps)
    even = _even_steps(np.diff(stamps), quantum(stamps))
    step = float(even.mean()) if len(even) else 0.0
    if step <= 0.0:
        raise StampFault(max(len(stamps) - 1, 0), "the time does not advance, so there is no rate")
    runs = len(stamps) - len(even)
    spread = max(quantum(stamps), float(even.std())) / step
    return _round_rate(step, max(spread * runs / len(even), 1e-9))


def _even_steps(steps: Stamps, rounding: float) -> Stamps:
    """Leave out steps across gaps: all but the usual one, or where rounding or jitter leaves none, all near it."""
    if not len(steps):
        return steps
    usual = float(np.median(steps))
    same = steps[np.abs(steps - usual) <= 0.05 * usual]
    if usual > 0.0 and len(same) > 0.9 * len(steps):
        return same
    return steps[np.abs(steps - usual) <= 0.5 * usual + rounding]


def _round_rate(step: float, tolerance: float) -> float:
    rate = 1.0 / step
    for digits in range(4):
        for round_rate in (float(f"{rate:.{digits}e}"), float(f"{1.0 / float(f'{step:.{digits}e}'):.15g}")):
            if abs(round_rate / rate - 1.0) <= tolerance:
                return round_rate
    return rate


def _check_forward(stamps: Stamps) -> None:
    back = np.flatnonzero(np.diff(stamps) < 0.0)
    if len(back):
        row = int(back[0]) + 1
        raise StampFault(row, f"the time goes back from {stamps[row - 1]:.9g} to {stamps[row]:.9g}")


@dataclass(slots=True)
class Clock:
    """Gives consecutive rows their sample indices, piece by piece.

    A row follows its predecessor unless their stamps lie so far apart that samples are missing; how many, tells the
    mean of the run that follows, so that rounding averages out. `zero` is the stamp of index 0 and follows what the
    rate is off by, so that nothing adds up over a long file. `rate` is in samples per unit of the stamps.
    """

    rate: float
    zero: float | None = None
    next_index: int = 0
    last: float | None = None

    def indices(self, stamps: Stamps) -> NDArray[np.int64]:
        """Give the index of each stamp. Raises StampFault where they go back or are not evenly spaced."""
        if not len(stamps):
            return np.empty(0, np.int64)
        before = stamps[0] if self.last is None else self.last
        joined = np.concatenate(([before], stamps))
        _check_joined(joined)
        coarse = coarseness(stamps, self.rate)
        starts = self._runs(joined, coarse)
        zero = self._first_zero(stamps, starts) if self.zero is None else self.zero
        ahead = (stamps - zero) * self.rate - self.next_index - np.arange(len(stamps))
        missing = _missing(ahead, starts)
        residual = ahead - missing
        _check_even(residual, coarse)
        index: NDArray[np.int64] = self.next_index + np.arange(len(stamps)) + missing
        self.zero = float(zero + residual.mean() / self.rate)
        self.next_index, self.last = int(index[-1]) + 1, float(stamps[-1])
        return index

    def _runs(self, joined: Stamps, coarse: float) -> NDArray[np.intp]:
        """Give the first row of each run of rows that nothing can be missing between."""
        far = np.flatnonzero(np.diff(joined) * self.rate > max(GAP_STEPS, 1.01 + coarse))
        return np.unique(np.concatenate(([0], far)))

    def _first_zero(self, stamps: Stamps, starts: NDArray[np.intp]) -> float:
        """Give the stamp of index 0, free of the first stamp's own rounding."""
        run = stamps[: starts[1] if len(starts) > 1 else None]
        return float((run - np.arange(len(run)) / self.rate).mean())


def _missing(ahead: Stamps, starts: NDArray[np.intp]) -> NDArray[np.int64]:
    """Count the samples missing before each row since the piece began."""
    lengths = np.diff(np.append(starts, len(ahead)))
    means = np.add.reduceat(ahead, starts) / lengths
    levels = np.maximum.accumulate(np.maximum(np.rint(means), 0.0)).astype(np.int64)
    return np.repeat(levels, lengths)


def _check_joined(joined: Stamps) -> None:
    try:
        _check_forward(joined)
    except StampFault as fault:
        raise StampFault(fault.row - 1, str(fault)) from None


def _check_even(residual: Stamps, coarse: float) -> None:
    uneven = np.flatnonzero(np.abs(residual) > UNEVEN_SAMPLES + coarse)
    if len(uneven):
        raise StampFault(int(uneven[0]), "the time steps are uneven; they fit no single rate")
