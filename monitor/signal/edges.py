"""Where a signal changes state: two thresholds against noise, one level in between for the instant.

Terms and reference levels after IEEE Std 181: an edge's instant is where the signal crosses its 50 % level.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.signal import TICKS_PER_SAMPLE
from monitor.signal.history import History, Samples

_PIECE = 4096
"""Samples looked at together: pieces whose extremes cannot hold an edge are passed over at memory speed."""
_LONGEST_EDGE = 1024
"""Samples over which a slow edge is followed back to its 50 % crossing."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Counts: high at or above `high`, low at or below `low`, the instant at `middle`; low < middle <= high.

    `inverted` where counts fall as the volts at the wire rise: edges then change sign.
    """

    low: int
    middle: int
    high: int
    inverted: bool = False


class EdgeFinder:
    """Finds the edges of one input, piece by piece, as if it had seen all samples at once."""

    def __init__(self, channel: int, thresholds: Thresholds) -> None:
        self._channel = channel
        self._thresholds = thresholds
        self.is_high: bool | None = None
        """State of the counts after the samples seen so far; None before the first definite one of a run."""

    def reset(self) -> None:
        """Forget the state: samples were lost."""
        self.is_high = None

    def find(self, history: History, start: int) -> list[tuple[int, bool]]:
        """Edges among the samples `start` … newest of `history`: (tick, True for rising), in order."""
        reach = min(_LONGEST_EDGE, start - history.run_start)
        around = history.window(self._channel, start - reach, history.end)
        positions, rises, self.is_high = hysteresis_edges(around[reach:], self._thresholds, self.is_high)
        base = (start - reach) * TICKS_PER_SAMPLE
        middle, flipped = self._thresholds.middle, self._thresholds.inverted
        return [
            (base + middle_crossing(around, place + reach, middle, is_rise=rises_here), rises_here != flipped)
            for place, rises_here in zip(positions.tolist(), rises.tolist(), strict=True)
        ]


def hysteresis_edges(
    samples: Samples, thresholds: Thresholds, is_high: bool | None
) -> tuple[NDArray[np.int64], NDArray[np.bool_], bool | None]:
    """Indexes at which `samples` enters the other state, whether it rises there, and the state at the end.

    `is_high` is the state before the first sample; where it is None the first definite sample sets it without an edge.
    """
    pieces = _busy_pieces(samples, thresholds, is_high)
    if not len(pieces):
        return np.empty(0, np.int64), np.empty(0, np.bool_), is_high
    entries = _entries(_joined(samples, pieces), thresholds)
    # An index within the joined pieces becomes one within all samples; the lowest bit says which state begins.
    entries += 2 * _PIECE * (pieces - np.arange(len(pieces)))[entries // (2 * _PIECE)]
    if not entries.size:
        return entries, np.empty(0, np.bool_), is_high
    highs = (entries & 1).astype(np.bool_)
    before = np.empty_like(highs)
    before[1:] = highs[:-1]
    before[0] = not highs[0] if is_high is not None and is_high != highs[0] else highs[0]
    changed = highs != before
    return entries[changed] >> 1, highs[changed], bool(highs[-1])


def _entries(samples: Samples, thresholds: Thresholds) -> NDArray[np.int64]:
    """Twice the index of each sample that begins a stretch above high (+1) or below low (+0), in order."""
    highs = samples >= thresholds.high
    lows = samples <= thresholds.low
    both = [2 * _starts(highs) + 1, 2 * _starts(lows)]
    return np.sort(np.concatenate(both))


def _starts(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    starts = np.flatnonzero(mask[1:] > mask[:-1]) + 1
    return np.concatenate(([0], starts)) if mask[0] else starts


def _joined(samples: Samples, pieces: NDArray[np.int64]) -> Samples:
    """These pieces of `samples` back to back; the last one may be short.

    What is left out cannot change the state, so that the join hides no entry and adds none that matters.
    """
    whole = len(samples) // _PIECE
    if len(pieces) > whole:
        return samples
    chosen = samples[: whole * _PIECE].reshape(-1, _PIECE)[pieces[pieces < whole]].ravel()
    has_tail = len(pieces) > 0 and pieces[-1] == whole
    return np.concatenate((chosen, samples[whole * _PIECE :])) if has_tail else chosen


def _busy_pieces(samples: Samples, thresholds: Thresholds, is_high: bool | None) -> NDArray[np.int64]:
    """Numbers of the pieces in which the state may change; everything else was ruled out by its extremes."""
    whole = len(samples) // _PIECE
    tail = np.arange(whole, -(-len(samples) // _PIECE))
    if whole < 2:
        return np.arange(whole + len(tail))
    pieces = samples[: whole * _PIECE].reshape(-1, _PIECE)
    may_high = pieces.max(axis=1) >= thresholds.high
    may_low = pieces.min(axis=1) <= thresholds.low
    definite = np.flatnonzero(may_high | may_low)
    was_high = np.concatenate(([is_high is not False], may_high[definite[:-1]]))[: len(definite)]
    was_low = np.concatenate(([is_high is not True], may_low[definite[:-1]]))[: len(definite)]
    here_high, here_low = may_high[definite], may_low[definite]
    busy = (here_high & (here_low | was_low)) | (here_low & was_high)
    return np.concatenate((definite[busy], tail))


def middle_crossing(samples: Samples, position: int, middle: int, *, is_rise: bool) -> int:
    """Tick (from samples[0]) at which the signal last crossed `middle` on its way to `position`.

    Linear interpolation between the two samples around the crossing; where the way back ends before a crossing is
    found, the earliest sample looked at stands.
    """
    after, first = position, max(position - _LONGEST_EDGE, 1)
    while after > first and (samples[after - 1] >= middle if is_rise else samples[after - 1] <= middle):
        after -= 1
    before, beyond = int(samples[max(after - 1, 0)]), int(samples[after])
    step = beyond - before
    part = ((middle - before) * TICKS_PER_SAMPLE * 2 + step) // (2 * step) if step else 0
    return max(after - 1, 0) * TICKS_PER_SAMPLE + min(max(part, 0), TICKS_PER_SAMPLE)
