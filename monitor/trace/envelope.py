"""The lowest and highest sample of every column of a drawing: nothing is too short to be seen."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.signal.scale import Scale
from monitor.trace.piece import Piece
from monitor.trace.ring import BLOCK

_COARSE_FROM = 16 * BLOCK
"""Samples a column from which columns may begin on whole blocks: off by a sixteenth of a column at most."""


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """`low` and `high` of each column, counts or volts, shape (columns,); where not `seen`, nothing is kept there."""

    low: NDArray[Any]
    high: NDArray[Any]
    seen: NDArray[np.bool_]

    def volts(self, scale: Scale) -> "Envelope":
        """The same in volts at the wire."""
        low, high = (self.high, self.low) if scale.is_inverted else (self.low, self.high)
        return Envelope(scale.volts(low), scale.volts(high), self.seen)


def is_coarse(samples: int, columns: int) -> bool:
    """Whether so many samples are drawn from blocks of samples."""
    return samples >= _COARSE_FROM * columns


def column_edges(start: int, samples: int, columns: int) -> NDArray[np.int64]:
    """First sample of each column, and the end of the last: shape (columns + 1,), never falling.

    Column i holds samples edges[i] … edges[i + 1] - 1. Where `is_coarse`, edges stand on whole blocks.
    """
    edges = start + np.arange(columns + 1, dtype=np.int64) * samples // columns
    return edges // BLOCK * BLOCK if is_coarse(samples, columns) else edges


def envelope(pieces: Iterable[Piece], edges: NDArray[np.int64]) -> Envelope:
    """Lowest and highest count in each column of what the pieces hold.

    A piece with a step above 1 must stand on multiples of it, and so must the edges.
    """
    columns = len(edges) - 1
    low, high = np.zeros(columns, np.int64), np.zeros(columns, np.int64)
    seen = np.zeros(columns, np.bool_)
    for piece in pieces:
        places = np.clip((edges - piece.first) // piece.step, 0, len(piece.low))
        (filled,) = np.nonzero(places[1:] > places[:-1])
        if not len(filled):
            continue
        starts, end = places[filled], places[filled[-1] + 1]
        lowest = np.minimum.reduceat(piece.low[:end], starts)
        highest = np.maximum.reduceat(piece.high[:end], starts)
        before = seen[filled]
        low[filled] = np.where(before, np.minimum(low[filled], lowest), lowest)
        high[filled] = np.where(before, np.maximum(high[filled], highest), highest)
        seen[filled] = True
    return Envelope(low, high, seen)
