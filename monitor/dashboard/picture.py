"""What one frame of the screen is drawn from."""

from dataclasses import dataclass
from typing import Protocol

from monitor.snapshot import Snapshot
from monitor.source_view import SourceView


@dataclass(frozen=True, slots=True)
class Picture:
    """The analysis and the stream at one moment, and how many turns one column of a lane holds: as fits, if None."""

    snapshot: Snapshot
    source: SourceView
    turns_per_column: int | None = None
    is_muted: bool = False


class Watched(Protocol):
    """What the screen watches; it is asked a few times a second and never pushes."""

    def snapshot(self) -> Snapshot:
        """The analysis now."""
        ...

    def source(self) -> SourceView:
        """The stream now."""
        ...

    def mark(self, by: str) -> object:
        """Note that somebody felt it now."""
        ...


class Player(Protocol):
    """The controls of a replay."""

    def toggle_pause(self) -> None:
        """Stand still, or go on."""
        ...

    def step(self) -> None:
        """Stand still after a short piece more."""
        ...

    def faster(self) -> None:
        """Double the speed, up to the highest."""
        ...

    def slower(self) -> None:
        """Halve the speed, down to the lowest."""
        ...

    def later(self) -> None:
        """Go to where the next flag or mark is about to come."""
        ...

    def earlier(self) -> None:
        """Go to where the flag or mark before this place is about to come."""
        ...

    def beginning(self) -> None:
        """Go to the first sample."""
        ...
