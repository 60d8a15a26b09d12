"""One piece of a sample stream, and what must be known to read it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.signedinteger[Any]]
"""Samples as the instrument gave them: shape (channels, samples), a signed integer type."""


@dataclass(frozen=True, slots=True)
class ChannelInfo:
    """How to read one input: volts = counts * volts_per_count + offset_v.

    `low_count` and `high_count` are the ends of the converter's range; a sample on either is clipped. `label` is what
    the source calls the input, free text for people.
    """

    input: str
    volts_per_count: float
    offset_v: float = 0.0
    low_count: int = -32768
    high_count: int = 32767
    label: str = ""


@dataclass(frozen=True, slots=True)
class StreamInfo:
    """What a source promises of all its blocks.

    `sample_rate_hz` and the sample index are the only time base. `started_monotonic_s` and `started_utc` were taken
    together at sample 0; None where a file does not say. `total_samples` is None while nobody knows. `setup_toml` is
    the set-up that came with the samples (text of a set-up file), where one did.
    """

    source: str
    sample_rate_hz: float
    channels: tuple[ChannelInfo, ...]
    dtype: np.dtype[np.signedinteger[Any]]
    is_live: bool = False
    total_samples: int | None = None
    started_monotonic_s: float | None = None
    started_utc: datetime | None = None
    setup_toml: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class SampleBlock:
    """Consecutive samples: `counts[c, i]` is sample number `first_index + i` of channel c.

    A block whose first_index is not the previous block's `end_index` follows a gap: those samples were lost. Blocks
    never overlap and never go back. Zero-length blocks are not made. The array may be a view into memory that is
    used again; a reader that keeps samples copies them.
    """

    first_index: int
    counts: Counts

    @property
    def samples(self) -> int:
        """Samples per channel in this block."""
        return int(self.counts.shape[1])

    @property
    def end_index(self) -> int:
        """Index of the first sample after this block."""
        return self.first_index + self.samples
