"""Some seconds of a source, kept to be looked at as a whole."""

import threading
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.errors import SourceLost
from acquire.source import Source
from monitor.terminal import OPENING, patience

LIVE_S = 5.0
"""Some thirty turns of each cylinder at idle."""
FILE_S = 30.0
"""A recording often begins with the key on and the engine standing."""
PATIENCE_S = 5.0
"""How much longer than its samples last a live source may take."""
_MOST_SAMPLES, _MOST_OF_AN_INPUT = 1 << 23, 1 << 21
"""What bounds the memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """Samples as they came: `counts` of shape (channels, samples).

    Samples were lost before each of the columns `breaks`; none lie between two others that stand side by side.
    """

    info: StreamInfo
    counts: Counts
    breaks: NDArray[np.int64]

    @property
    def duration_s(self) -> float:
        """Seconds observed."""
        return float(self.counts.shape[1] / self.info.sample_rate_hz)


def look_at(source: Source) -> Look:
    """Open a source, keep its first seconds, close it.

    Raises what a source raises, and SourceLost where no sample comes.
    """
    watchdog = threading.Timer(LIVE_S + PATIENCE_S, source.close)
    try:
        with patience(OPENING):
            info = source.open()
        if info.is_live:
            watchdog.start()
        blocks = _first_blocks(source, info)
    except OSError as error:
        if isinstance(error, SourceLost):
            raise
        raise SourceLost(f"reading failed: {error}") from error
    finally:
        watchdog.cancel()
        source.close()
    if not blocks:
        raise SourceLost(f"{info.source}: no samples came; see whether it is running, then try again")
    return joined(info, blocks)


def joined(info: StreamInfo, blocks: list[SampleBlock]) -> Look:
    """Put blocks side by side; at least one."""
    widths = np.cumsum([block.samples for block in blocks])
    lost = [after.first_index > before.end_index for before, after in pairwise(blocks)]
    return Look(info, np.concatenate([block.counts for block in blocks], axis=1), widths[:-1][np.array(lost, np.bool_)])


def _first_blocks(source: Source, info: StreamInfo) -> list[SampleBlock]:
    wanted = round((LIVE_S if info.is_live else FILE_S) * info.sample_rate_hz)
    left = max(1, min(wanted, _MOST_OF_AN_INPUT, _MOST_SAMPLES // max(1, len(info.channels))))
    kept: list[SampleBlock] = []
    for block in source.blocks():
        kept.append(SampleBlock(block.first_index, block.counts[:, :left].copy()))
        left -= kept[-1].samples
        if left <= 0:
            break
    return kept
