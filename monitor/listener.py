"""Who else wants to know what became of each block."""

from typing import Protocol

from acquire.block import SampleBlock
from monitor.analyzer import Step


class Listener(Protocol):
    """Called in the event loop, so it copies and counts, and leaves everything slow to others."""

    def take(self, block: SampleBlock, step: Step) -> None:
        """Note a block that was just analysed; its array is good only until this returns."""
        ...

    def conclude(self, step: Step) -> None:
        """Note what became certain only with the end of the stream."""
        ...
