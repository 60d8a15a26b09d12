"""One second of a sine of 1 V at one input: `tone:?hz=50&rate=10000`, or `tone_source.source:Tone?hz=50`."""

import threading
from collections.abc import Iterator

import numpy as np

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from drivers.address import Address

BLOCK_SAMPLES = 1000


class Tone:
    """A Source that needs no instrument."""

    def __init__(self, address: Address) -> None:
        address.allow("hz", "rate")
        self._address = address
        self._tone_hz = address.number("hz", 50.0, 1.0, 1e6)
        self._rate_hz = address.number("rate", 10_000.0, 1e3, 1e6)
        self._closed = threading.Event()

    def open(self) -> StreamInfo:
        """Connect here; raise AddressError where nothing is there."""
        channel = ChannelInfo("in1", 1e-4, label="sine")
        return StreamInfo(self._address.text, self._rate_hz, (channel,), np.dtype(np.int16), total_samples=self._total)

    def blocks(self) -> Iterator[SampleBlock]:
        """Wait here for at most 0.5 s at a time; raise SourceLost when the instrument is gone."""
        for first in range(0, self._total, BLOCK_SAMPLES):
            if self._closed.is_set():
                return
            index = np.arange(first, min(first + BLOCK_SAMPLES, self._total))
            volts = np.sin(2 * np.pi * self._tone_hz * index / self._rate_hz)
            yield SampleBlock(first, np.rint(volts * 1e4).astype(np.int16)[np.newaxis])

    def close(self) -> None:
        """Let `blocks` end, from any thread."""
        self._closed.set()

    @property
    def _total(self) -> int:
        return round(self._rate_hz)
