import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.trace.piece import Piece
from monitor.trace.ring import BLOCK, Ring
from tests.monitor.trace.streams import block

steps = st.lists(st.tuples(st.integers(0, 700) | st.just(0), st.integers(1, 900)), min_size=1, max_size=12)


def expand(pieces: list[Piece]) -> list[int]:
    return [index for piece in pieces for index in range(piece.first, piece.end)]


@given(steps, st.integers(1, 6), st.integers(-100, 6000), st.integers(0, 4000))
def test_what_is_given_out_are_the_newest_samples_and_each_says_where_it_belongs(
    blocks: list[tuple[int, int]], size_blocks: int, start: int, samples: int
) -> None:
    """Against a plain record of every index that was taken."""
    ring = Ring(2, np.dtype(np.int16), size_blocks * BLOCK)
    taken: set[int] = set()
    at = 0
    for gap, length in blocks:
        at += gap
        ring.append(block(at, length).counts, at)
        taken |= set(range(at, at + length))
        at += length
        held = {index for index in taken if index >= at - ring.size}
        for row in (0, 1):
            pieces = list(ring.pieces(row, start, start + samples))
            assert expand(pieces) == sorted(held & set(range(start, start + samples)))
            for piece in pieces:
                wanted = (np.arange(piece.first, piece.end) * 7 + row).astype(np.int16)
                assert (piece.low == wanted).all()
        coarse = list(ring.pieces(0, start, start + samples, coarse=True))
        assert expand(coarse) == sorted(held & set(range(start, start + samples)))
        for piece in coarse:
            every = (np.arange(piece.first, piece.end) * 7).astype(np.int16).reshape(-1, piece.step)
            assert piece.first % piece.step == 0
            assert (piece.low == every.min(axis=1)).all()
            assert (piece.high == every.max(axis=1)).all()
