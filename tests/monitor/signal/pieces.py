"""Feed one input piece by piece, as the analysis does."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from monitor.signal.edges import EdgeFinder, Thresholds
from monitor.signal.history import History, Samples
from monitor.signal.pulses import Overlong, Pulse, PulseFinder

TICKS = 256


def edges_of(samples: Samples, thresholds: Thresholds, cuts: Sequence[int] = ()) -> list[tuple[int, bool]]:
    """Edges of `samples` (n,) cut at the indexes `cuts`."""
    history = History(1, samples.dtype, keep=4096, most=max(len(samples), 1))
    finder = EdgeFinder(0, thresholds)
    found: list[tuple[int, bool]] = []
    bounds = [0, *sorted(cuts), len(samples)]
    for start, end in pairwise(bounds):
        if end > start:
            history.append(samples[None, start:end], start)
            found += finder.find(history, start)
    return found


def pulses_of(
    samples: Samples, thresholds: Thresholds, cuts: Sequence[int] = (), shortest: int = 0, longest: int = 10**12
) -> list[Pulse | Overlong]:
    """Pulses of the high state of `samples` (n,) cut at the indexes `cuts`; edges are handed over piece by piece."""
    pulses = PulseFinder(active_high=True, shortest=shortest, longest=longest)
    found: list[Pulse | Overlong] = []
    edges = edges_of(samples, thresholds)
    bounds = [*sorted(cuts), len(samples)]
    done = 0
    for end in bounds:
        seen_to = end * TICKS
        due = [edge for edge in edges[done:] if edge[0] < seen_to]
        done += len(due)
        found += pulses.feed(due, seen_to)
    return found


def train(widths: Sequence[int], high: int = 1000) -> Samples:
    """Low and high stretches of these lengths in turn, beginning low."""
    return np.concatenate([np.full(width, high * (i % 2), np.int16) for i, width in enumerate(widths)])
