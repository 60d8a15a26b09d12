"""One input as lines of characters."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.hookup import Lead
from monitor.setup import Role
from monitor.trace.braille import BLANK, DOTS_HIGH, DOTS_WIDE, bars, cells
from monitor.trace.envelope import envelope, is_coarse
from monitor.trace.store import TraceStore
from monitor.trace.volts import drawn_range

LOST = "░"
"""Stands where samples never arrived."""


@dataclass(frozen=True, slots=True)
class Lane:
    """`rows` from the top, drawn between `bottom` and `top`; `is_whole` tells that every column is kept or was lost."""

    rows: list[str]
    bottom: float
    top: float
    is_whole: bool


def unit(lead: Lead) -> str:
    """What its scale turns counts into."""
    return "A" if lead.channel.role is Role.CURRENT else "V"


def lane(store: TraceStore, lead: Lead, edges: NDArray[np.int64], rows: int) -> Lane:
    """Draw one input between the edges (first sample of each column of dots, and the end), `rows` characters high."""
    start, end = int(edges[0]), int(edges[-1])
    coarse = is_coarse(end - start, len(edges) - 1)
    drawn = envelope(store.pieces(lead.row, start, end, coarse=coarse), edges).volts(lead.scale)
    low, high = (drawn.low[drawn.seen], drawn.high[drawn.seen]) if drawn.seen.any() else (np.zeros(1), np.zeros(1))
    bottom, top = drawn_range(lead.channel.role, float(low.min()), float(high.max()))
    lines = cells(bars(drawn, bottom, top, rows * DOTS_HIGH))
    lost = lost_columns(store, edges)
    gap = np.any((lost & ~drawn.seen).reshape(-1, DOTS_WIDE), axis=1)
    shown = [_with_gaps(line, gap) for line in lines]
    return Lane(shown, bottom, top, bool((drawn.seen | lost).all()))


def lost_columns(store: TraceStore, edges: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Columns of which at least one sample never arrived: shape (columns,)."""
    lost = np.zeros(len(edges) - 1, np.bool_)
    for begin, stop in store.losses(int(edges[0]), int(edges[-1])):
        lost |= (edges[1:] > begin) & (edges[:-1] < stop)
    return lost


def _with_gaps(line: str, gap: NDArray[np.bool_]) -> str:
    return "".join(LOST if is_gap and cell == BLANK else cell for cell, is_gap in zip(line, gap.tolist(), strict=True))
