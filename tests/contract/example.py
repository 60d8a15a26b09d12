"""The smallest driver that keeps the contract: a square wave of one volt, live.

Opened as `tests.contract.example:open_square?rate=5000`, or as `square:?rate=5000` once its package registers it:

    [project.entry-points."coilcall.sources"]
    square = "example:open_square"
"""

import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from drivers.address import Address

BLOCK_S = 0.05


class Square:
    """A Source: one input, 0 and 1 V in millivolts, 50 samples each."""

    def __init__(self, name: str, rate_hz: float) -> None:
        self._name, self._rate_hz = name, rate_hz
        self._closed = threading.Event()

    def open(self) -> StreamInfo:
        """Connect; for an instrument that is not there, raise AddressError in one line."""
        channel = ChannelInfo("in1", volts_per_count=0.001, low_count=-5000, high_count=5000)
        self._began_s = time.monotonic()
        return StreamInfo(
            self._name, self._rate_hz, (channel,), np.dtype(np.int16), is_live=True,
            started_monotonic_s=self._began_s, started_utc=datetime.now(UTC),
        )  # fmt: skip

    def blocks(self) -> Iterator[SampleBlock]:
        """Give what was sampled meanwhile; for one that is unplugged, raise SourceLost. Wait in steps below 0.5 s."""
        first = 0
        while not self._closed.wait(BLOCK_S):
            end = int((time.monotonic() - self._began_s) * self._rate_hz)
            if end > first:
                yield SampleBlock(
                    first, np.where(np.arange(first, end) % 100 < 50, 1000, 0).astype(np.int16)[np.newaxis]
                )
                first = end

    def close(self) -> None:
        """Make `blocks` end, from whatever thread."""
        self._closed.set()


def open_square(address: Address) -> Square:
    """What the entry point names; it must not touch the instrument yet."""
    address.allow("rate")
    return Square(address.text, address.number("rate", 10_000.0, 1.0, 1e6))
