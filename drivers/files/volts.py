"""Volts as floating point become counts, and rows that were lost become gaps."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from acquire.block import SampleBlock

LOW_COUNT, HIGH_COUNT = -(2**31), 2**31 - 1

MICROVOLT = 1e-6
"""One count where a file gives volts: six decimals come through exactly, and an int32 spans +-2147 V."""


def to_counts(values: NDArray[np.floating], counts_per_unit: float, out: NDArray[np.int32]) -> None:
    """Round values (samples,) to counts; what lies outside the range, infinity too, becomes the end of the range.

    NaN becomes an arbitrary count: leave such rows out with `present_runs`.
    """
    scaled = values * counts_per_unit
    np.rint(scaled, out=scaled)
    np.clip(scaled, LOW_COUNT, HIGH_COUNT, out=scaled)
    np.nan_to_num(scaled, copy=False)
    out[...] = scaled


def present_runs(index: NDArray[np.int64], present: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Give (from, to) of each run of rows that are present and whose sample index rises by one from row to row."""
    rows = np.flatnonzero(present)
    if not rows.size:
        return
    breaks = np.flatnonzero((np.diff(rows) != 1) | (np.diff(index[rows]) != 1)) + 1
    starts, ends = np.concatenate(([0], breaks)), np.concatenate((breaks, [rows.size]))
    for start, end in zip(starts, ends, strict=True):
        yield int(rows[start]), int(rows[end - 1]) + 1


def blocks_of(counts: NDArray[np.int32], index: NDArray[np.int64], present: NDArray[np.bool_]) -> Iterator[SampleBlock]:
    """Cut counts (channels, rows) into blocks of consecutive samples, leaving lost rows out."""
    for start, end in present_runs(index, present):
        yield SampleBlock(int(index[start]), counts[:, start:end])
