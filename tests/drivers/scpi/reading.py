"""Reads from a source until enough has come, and joins it."""

from collections.abc import Sequence

import numpy as np

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.source import Source


def read(source: Source, end_index: int) -> tuple[StreamInfo, list[SampleBlock]]:
    """Open, give blocks up to a sample index, copied as their memory is used again, and close."""
    info, found = source.open(), []
    try:
        for block in source.blocks():
            found.append(SampleBlock(block.first_index, block.counts.copy()))
            if block.end_index >= end_index:
                break
    finally:
        source.close()
    return info, found


def ranges(blocks: Sequence[SampleBlock]) -> list[tuple[int, int]]:
    """The [first, end) sample indices that are there, joined where nothing is missing between."""
    joined: list[tuple[int, int]] = []
    for block in blocks:
        first = joined.pop()[0] if joined and joined[-1][1] == block.first_index else block.first_index
        joined.append((first, block.end_index))
    return joined


def joined(blocks: Sequence[SampleBlock]) -> Counts:
    """All counts, one behind the other."""
    return np.concatenate([block.counts for block in blocks], axis=1)


def picked(counts: Counts, spans: Sequence[tuple[int, int]]) -> Counts:
    """The counts of these spans, one behind the other."""
    return np.concatenate([counts[:, first:end] for first, end in spans], axis=1)
