"""What the two ways of speaking have in common for the one who listens."""

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from acquire.block import ChannelInfo, SampleBlock


@dataclass(frozen=True, slots=True)
class Form:
    """What a board sends: see StreamInfo."""

    sample_rate_hz: float
    channels: tuple[ChannelInfo, ...]
    dtype: np.dtype[np.signedinteger[Any]]


class Dialect(Protocol):
    """Bytes in, samples out; it holds whatever belongs to samples that are not whole yet."""

    form: Form | None
    """None until it is known; no sample comes before."""

    frames_missing: int
    """How many frames were sent and did not come whole; 0 where nothing numbers them."""

    def feed(self, data: bytes) -> list[SampleBlock]:
        """Take what came over the line. Raises SourceLost where the board is no longer what it was."""
        ...

    def hint(self) -> str:
        """Say what bytes that hold no sample might be."""
        ...
