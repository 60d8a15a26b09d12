"""Streams whose every sample can be told from its index."""

import asyncio
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
from hypothesis import strategies as st

from acquire.block import ChannelInfo, Counts, SampleBlock, StreamInfo


def stream_info(channels: int = 2, *, dtype: str = "int16", is_live: bool = False, rate_hz: float = 64.0) -> StreamInfo:
    inputs = tuple(ChannelInfo(f"in{number + 1}", 0.001) for number in range(channels))
    return StreamInfo("made up", rate_hz, inputs, np.dtype(dtype), is_live=is_live)


def counts_at(first: int, end: int, channels: int = 2, dtype: str = "int16") -> Counts:
    """What samples first..end hold: a different number in each channel, repeating after 127."""
    index = np.arange(first, end, dtype=np.int64)
    rows: list[Any] = [((index * 5 + 31 * channel) % 127).astype(dtype) for channel in range(channels)]
    return np.stack(rows)


def block_at(first: int, samples: int, channels: int = 2, dtype: str = "int16") -> SampleBlock:
    return SampleBlock(first, counts_at(first, first + samples, channels, dtype))


def cuttings(max_samples: int = 60, channels: int = 2, dtype: str = "int16") -> st.SearchStrategy[list[SampleBlock]]:
    """Streams cut anywhere, some with gaps."""
    pieces = st.tuples(st.sampled_from((0, 0, 0, 1, 17)), st.integers(1, max_samples))

    def lay_out(cuts: list[tuple[int, int]]) -> list[SampleBlock]:
        blocks, at = [], 0
        for gap, samples in cuts:
            blocks.append(block_at(at + gap, samples, channels, dtype))
            at += gap + samples
        return blocks

    return st.lists(pieces, max_size=25).map(lay_out)


def ranges_of(blocks: Sequence[SampleBlock]) -> list[tuple[int, int]]:
    """The [first, end) ranges that blocks cover, joined where they touch."""
    return joined([(block.first_index, block.end_index) for block in blocks])


def joined(ranges: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    result: list[tuple[int, int]] = []
    for first, end in sorted(ranges):
        if result and result[-1][1] == first:
            result[-1] = (result[-1][0], end)
        else:
            result.append((first, end))
    return result


def assert_true_to_index(block: SampleBlock) -> None:
    expected = counts_at(block.first_index, block.end_index, block.counts.shape[0])
    np.testing.assert_array_equal(block.counts, expected)


class ListSource:
    """A source of ready-made blocks that notes which thread called what."""

    def __init__(self, info: StreamInfo, blocks: Sequence[SampleBlock], error: Exception | None = None) -> None:
        self._info, self._blocks, self._error = info, blocks, error
        self.calls: list[tuple[str, str]] = []

    def open(self) -> StreamInfo:
        self._note("open")
        return self._info

    def blocks(self) -> Iterator[SampleBlock]:
        self._note("blocks")
        yield from self._blocks
        if self._error:
            raise self._error

    def close(self) -> None:
        self._note("close")

    def _note(self, call: str) -> None:
        self.calls.append((call, threading.current_thread().name))


async def until(condition: Callable[[], object]) -> None:
    """Let other threads and tasks go on until something holds; the test's timeout is the deadline."""
    while not condition():  # noqa: ASYNC110 - what is waited for happens in a thread that knows no events
        await asyncio.sleep(0.001)
