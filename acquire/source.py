"""The contract that every origin of samples keeps."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from acquire.block import SampleBlock, StreamInfo


@runtime_checkable
class Source(Protocol):
    """Opened once, read once, closed once; the pump calls all three from one thread of its own.

    A source is made from an address without touching anything; `open` does the first I/O. `blocks` ends by returning
    (end of stream), or by raising SourceLost or FormatError. No call may block longer than 0.5 s without yielding
    control back: a live source with nothing to give lets `blocks` wait in steps of at most that and looks at whether
    it was closed. `close` may come from another thread, at any moment, more than once; `blocks` then returns soon.
    """

    def open(self) -> StreamInfo:
        """Connect, or open the file, and say what is coming. Raises AddressError, FormatError or SourceLost."""
        ...

    def blocks(self) -> Iterator[SampleBlock]:
        """All blocks in order of index. May be called once, after `open`."""
        ...

    def close(self) -> None:
        """Give everything back. Safe at any moment and from any thread."""
        ...


@runtime_checkable
class Seekable(Protocol):
    """What a Source of recorded samples may offer besides: to begin anywhere, without reading what lies before."""

    def blocks_between(self, first_index: int, end_index: int) -> Iterator[SampleBlock]:
        """The samples there are from `first_index` to before `end_index`. After `open`; ends and raises as `blocks`."""
        ...


@dataclass(frozen=True, slots=True)
class Health:
    """What a source knows of itself beside its samples.

    `clock_error_ppm` is by how much its clock runs fast against the host's, None where that is not known;
    `frames_damaged` is how many frames were sent and did not come whole.
    """

    clock_error_ppm: float | None = None
    frames_damaged: int = 0


@runtime_checkable
class Examined(Protocol):
    """What a Source may offer besides; from any thread."""

    @property
    def health(self) -> Health:
        """How it is now."""
        ...


def health_of(source: Source) -> Health:
    """Ask a source how it is; one that does not say knows nothing."""
    return source.health if isinstance(source, Examined) else Health()
