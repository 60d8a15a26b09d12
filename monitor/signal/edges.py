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
        samples = history.window(self._channel, start, history.end)
        positions, rises, self.is_high = hysteresis_edges(samples, self._thresholds, self.is_high)
        if not positions.size:
            return []
        reach = min(_LONGEST_EDGE, start - history.run_start)
        around = history.window(self._channel, start - reach, history.end)
        ticks = middle_crossings(around, positions + reach, rises, self._thresholds.middle)
        ticks += (start - reach) * TICKS_PER_SAMPLE
        return list(zip(ticks.tolist(), (rises ^ self._thresholds.inverted).tolist(), strict=True))


def hysteresis_edges(
    samples: Samples, thresholds: Thresholds, is_high: bool | None
) -> tuple[NDArray[np.int64], NDArray[np.bool_], bool | None]:
    """Indexes at which `samples` enters the other state, whether it rises there, and the state at the end.

    `is_high` is the state before the first sample; where it is None the first definite sample sets it without an edge.
    """
    found: list[NDArray[np.int64]] = []
    for start, end in _busy_spans(samples, thresholds, is_high):
        entries = _entries(samples[start:end], thresholds)
        found.append(entries + 2 * start)
    entries = np.concatenate(found) if found else np.empty(0, np.int64)
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


def _busy_spans(samples: Samples, thresholds: Thresholds, is_high: bool | None) -> list[tuple[int, int]]:
    """Spans of whole pieces in which the state may change; everything else was ruled out by its extremes."""
    if samples.size < 2 * _PIECE:
        return [(0, samples.size)] if samples.size else []
    whole = samples.size // _PIECE * _PIECE
    pieces = samples[:whole].reshape(-1, _PIECE)
    may_high = pieces.max(axis=1) >= thresholds.high
    may_low = pieces.min(axis=1) <= thresholds.low
    latest = np.maximum.accumulate(np.where(may_high | may_low, np.arange(len(pieces)), -1))
    before = np.concatenate(([-1], latest[:-1]))
    was_high = np.where(before < 0, is_high is not False, may_high[before])
    was_low = np.where(before < 0, is_high is not True, may_low[before])
    busy = (may_high & (may_low | was_low)) | (may_low & was_high)
    spans = [(int(i) * _PIECE, (int(i) + 1) * _PIECE) for i in np.flatnonzero(busy)]
    return [*spans, (whole, samples.size)] if whole < samples.size else spans


def middle_crossings(
    samples: Samples, positions: NDArray[np.int64], rises: NDArray[np.bool_], middle: int
) -> NDArray[np.int64]:
    """Ticks (from samples[0]) at which the signal last crossed `middle` on its way to each position.

    Linear interpolation between the two samples around the crossing; where the way back ends before a crossing is
    found, the earliest sample looked at stands.
    """
    after = positions.copy()
    sign = np.where(rises, 1, -1)
    for _ in range(_LONGEST_EDGE):
        beyond = (after > 1) & ((samples[after - 1].astype(np.int64) - middle) * sign >= 0)
        if not beyond.any():
            break
        after -= beyond
    first = np.maximum(after - 1, 0)
    low = samples[first].astype(np.int64)
    step = samples[after].astype(np.int64) - low
    run = np.where(step == 0, 1, step)
    part = ((middle - low) * TICKS_PER_SAMPLE * 2 + run) // (2 * run)
    crossing: NDArray[np.int64] = first * TICKS_PER_SAMPLE + np.clip(part, 0, TICKS_PER_SAMPLE)
    return crossing
