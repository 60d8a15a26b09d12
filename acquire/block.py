"""One piece of a sample stream, and what must be known to read it."""

from dataclasses import dataclass, fields
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


def difference(was: StreamInfo, now: StreamInfo) -> str:
    """Say what keeps the samples of `now` from going on where those of `was` ended; "" where nothing does."""
    if now.sample_rate_hz != was.sample_rate_hz:
        return f"{now.sample_rate_hz:g} Hz where it was {was.sample_rate_hz:g} Hz"
    if now.dtype != was.dtype:
        return f"counts of {now.dtype} where they were {was.dtype}"
    inputs_was, inputs_now = ([channel.input for channel in info.channels] for info in (was, now))
    if inputs_now != inputs_was:
        return f"inputs {', '.join(inputs_now)} where they were {', '.join(inputs_was)}"
    return next(filter(None, map(_other_reading, was.channels, now.channels)), "")


def _other_reading(was: ChannelInfo, now: ChannelInfo) -> str:
    for name in (field.name for field in fields(ChannelInfo) if field.name != "label"):
        if getattr(now, name) != getattr(was, name):
            return f"{now.input}: {name} = {getattr(now, name)} where it was {getattr(was, name)}"
    return ""
