"""What is asked of a session that is published."""

from collections.abc import Callable
from typing import Protocol

from monitor.entries import Entries
from monitor.snapshot import Snapshot
from monitor.source_view import SourceView


class Told(Protocol):
    """A session, seen from here."""

    recording_id: str
    began_s: float
    publishing_state: Callable[[], str]

    def snapshot(self) -> Snapshot:
        """The analysis now."""
        ...

    def source(self) -> SourceView:
        """The stream now."""
        ...

    def mark(self, by: str, note: str = "") -> object:
        """Note that somebody felt it now."""
        ...

    def on_committed(self, hook: Callable[[Entries], None]) -> None:
        """Have it called with what has come into the ledger, from now on."""
        ...
