"""What the tests of file sources share: read a file to its end, and gather what came."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acquire.block import SampleBlock, StreamInfo
from drivers.address import parse_address
from drivers.files import open_file


@dataclass(frozen=True, slots=True)
class Reading:
    """A whole file: what it promised, its blocks, and the volts (inputs, samples that came) with their indices."""

    info: StreamInfo
    blocks: tuple[SampleBlock, ...]
    volts: NDArray[np.float64]
    index: NDArray[np.int64]

    @property
    def gaps(self) -> list[tuple[int, int]]:
        """(first lost, first that came again) for each gap."""
        ends = [0, *(block.end_index for block in self.blocks)]
        return [(e, b.first_index) for e, b in zip(ends, self.blocks, strict=False) if b.first_index != e]


def read(path: Path, query: str = "") -> Reading:
    """Open and read a file to its end, holding it to what every source promises."""
    source = open_file(parse_address(f"{path}{query}"))
    info = source.open()
    try:
        blocks = tuple(kept(source.blocks()))
    finally:
        source.close()
    end = 0
    for block in blocks:
        assert block.first_index >= end
        assert block.samples > 0
        assert block.counts.dtype == info.dtype
        assert block.counts.shape[0] == len(info.channels)
        end = block.end_index
    steps = np.array([[channel.volts_per_count] for channel in info.channels])
    counts = [block.counts * steps for block in blocks] or [np.empty((len(info.channels), 0))]
    index = [np.arange(block.first_index, block.end_index) for block in blocks] or [np.empty(0, np.int64)]
    return Reading(info, blocks, np.concatenate(counts, axis=1), np.concatenate(index))


def kept(blocks: Iterable[SampleBlock]) -> Iterable[SampleBlock]:
    """Copy each block, as a reader that keeps samples must."""
    return (SampleBlock(block.first_index, block.counts.copy()) for block in blocks)
