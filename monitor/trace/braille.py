"""Vertical bars as braille: two columns and four rows of dots in a character.

Dots 1, 2, 3, 7 stand in the left column from the top, 4, 5, 6, 8 in the right; dot n is bit n-1 above U+2800 (The
Unicode Standard, chapter "Symbols", and the code chart "Braille Patterns", U+2800 … U+28FF).
"""

import numpy as np
from numpy.typing import NDArray

from monitor.trace.envelope import Envelope

DOTS_WIDE, DOTS_HIGH = 2, 4
BLANK = "\u2800"
_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], np.uint8)


def cells(dots: NDArray[np.bool_]) -> list[str]:
    """Lines of characters, from the top; `dots` has the shape (4 * lines, 2 * characters), row 0 on top."""
    high, wide = dots.shape[0] // DOTS_HIGH, dots.shape[1] // DOTS_WIDE
    parts = dots.reshape(high, DOTS_HIGH, wide, DOTS_WIDE).astype(np.uint8)
    codes = np.einsum("hrwc,rc->hw", parts, _BITS)
    return ["".join(map(chr, line)) for line in (codes.astype(np.int64) + 0x2800).tolist()]


def bars(drawn: Envelope, bottom: float, top: float, rows: int) -> NDArray[np.bool_]:
    """Dots (rows, columns) of an envelope between `bottom` and `top`; beyond them at the edge.

    Neighbours are joined, so that a step is a line and not two ends; over columns that are not seen nothing is.
    """
    steps = (rows - 1) / (top - bottom)
    upper = np.clip(np.rint((top - drawn.high) * steps), 0, rows - 1).astype(np.int64)
    lower = np.clip(np.rint((top - drawn.low) * steps), 0, rows - 1).astype(np.int64)
    joined = drawn.seen[1:] & drawn.seen[:-1]
    upper[1:] = np.where(joined, np.minimum(upper[1:], lower[:-1]), upper[1:])
    lower[1:] = np.where(joined, np.maximum(lower[1:], upper[:-1]), lower[1:])
    row = np.arange(rows)[:, np.newaxis]
    return (row >= upper) & (row <= lower) & drawn.seen
