"""What goes into the ledger, one record a row."""

from collections.abc import Sequence
from dataclasses import dataclass

from acquire.recording_guard import Dropped
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.marks import Mark


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples that never came: `samples` of them from index `first_index` on."""

    first_index: int
    samples: int


@dataclass(frozen=True, slots=True)
class Event:
    """Something that befell the measurement at `time_s` seconds from the first sample.

    `kind` is "lost", "back" or "not-back" (the source; the last where it was still lost at the end), "suspended" (the
    machine slept), "clock-set", or "firings-lost" (entries that the ledger could not take in time). `lasted_s` is how
    long it was, None where it is not over or has no length.
    """

    time_s: float
    kind: str
    detail: str
    lasted_s: float | None = None


@dataclass(frozen=True, slots=True)
class Clip:
    """Surroundings kept in a folder of their own: `number` names it, `because` says which flags and marks lie in it."""

    number: int
    first_index: int
    samples: int
    because: str


@dataclass(frozen=True, slots=True)
class Coverage:
    """Seconds since the first sample, the share of them that was observed, and the samples lost."""

    elapsed_s: float
    coverage: float
    lost_samples: int


@dataclass(frozen=True, slots=True)
class Entries:
    """What one write adds to the book; a flag that is there already is brought up to date.

    `first_index` is that of the session's first sample, where this write is the first to know it.
    """

    firings: Sequence[Firing] = ()
    flags: Sequence[Flag] = ()
    gaps: Sequence[Gap] = ()
    coverage: Coverage | None = None
    marks: Sequence[Mark] = ()
    events: Sequence[Event] = ()
    dropped: Sequence[Dropped] = ()
    clips: Sequence[Clip] = ()
    first_index: int | None = None
