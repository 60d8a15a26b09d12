from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.signal.scale import Scale
from monitor.trace.envelope import column_edges, envelope, is_coarse
from monitor.trace.piece import Piece
from monitor.trace.ring import BLOCK, Ring

counts = st.lists(st.integers(-32768, 32767), min_size=1, max_size=300)


@given(
    counts, st.integers(-50, 350), st.integers(1, 400), st.integers(1, 40), st.lists(st.integers(0, 300), max_size=4)
)
def test_every_column_bounds_exactly_its_own_samples_however_they_are_cut_and_lost(
    values: list[int], start: int, samples: int, columns: int, cuts: list[int]
) -> None:
    """Against the least and greatest of each column's samples by plain Python."""
    array = np.array(values, np.int16)
    bounds = sorted({0, len(values), *(cut for cut in cuts if cut < len(values))})
    stretches = list(pairwise(bounds))
    kept = stretches[::2] if len(cuts) % 2 else stretches
    held = {index: values[index] for a, b in kept for index in range(a, b)}
    edges = column_edges(start, samples, columns)
    drawn = envelope([Piece(a, array[a:b], array[a:b]) for a, b in kept], edges)
    for column in range(columns):
        own = [held[index] for index in range(edges[column], edges[column + 1]) if index in held]
        assert bool(drawn.seen[column]) == bool(own)
        if own:
            assert (drawn.low[column], drawn.high[column]) == (min(own), max(own))


@given(st.integers(-(2**40), 2**40), st.integers(1, 10**8), st.integers(1, 500))
def test_columns_share_the_samples_out_without_leaving_one_out_or_giving_one_twice(
    start: int, samples: int, columns: int
) -> None:
    edges = column_edges(start, samples, columns)
    assert (np.diff(edges) >= 0).all()
    if is_coarse(samples, columns):
        assert (edges % BLOCK == 0).all()
        assert 0 <= start - edges[0] < BLOCK
        assert 0 <= start + samples - edges[-1] < BLOCK
    else:
        assert (edges[0], edges[-1]) == (start, start + samples)
        assert np.diff(edges).max() - np.diff(edges).min() <= 1


@given(st.integers(0, 10_000), st.integers(0, 1 << 20), st.booleans())
def test_one_sample_that_stands_out_is_seen_at_any_width(shift: int, place: int, is_high: bool) -> None:
    """Against where it was put: its column, and no other, reaches it."""
    size, columns = 1 << 21, 112
    ring = Ring(1, np.dtype(np.int16), size)
    values = np.zeros((1, size), np.int16)
    values[0, place] = 12_000 if is_high else -12_000
    ring.append(values, shift)
    index = shift + place
    for samples in (columns, 50_000, columns * 2048, size):
        edges = column_edges(index - samples // 3, samples, columns)
        coarse = is_coarse(samples, columns)
        drawn = envelope(ring.pieces(0, int(edges[0]), int(edges[-1]), coarse=coarse), edges)
        reached = np.flatnonzero((drawn.low != 0) | (drawn.high != 0))
        assert reached.tolist() == [int(np.searchsorted(edges, index, side="right")) - 1]


def test_swapped_leads_swap_lowest_and_highest() -> None:
    values = np.array([-100, 300], np.int16)
    drawn = envelope([Piece(0, values, values)], column_edges(0, 2, 1)).volts(Scale(-0.01, 0.0))
    assert (drawn.low[0], drawn.high[0]) == (-3.0, 1.0)
