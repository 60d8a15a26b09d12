"""Time as something that is passed in, so that a test need not wait for it."""

import threading
import time
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Monotonic and civil time, and a wait that can be cut short."""

    def now(self) -> float:
        """Monotonic time in seconds; its zero means nothing."""
        ...

    def utc(self) -> datetime:
        """Civil time, with its zone (UTC)."""
        ...

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        """Let `seconds` pass, or less if `stop` is set meanwhile. Returns whether it is set."""
        ...


class SystemClock:
    """The machine's own time."""

    def now(self) -> float:
        """Monotonic time in seconds."""
        return time.monotonic()

    def utc(self) -> datetime:
        """Civil time, UTC."""
        return datetime.now(UTC)

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        """Sleep until `seconds` are over or `stop` is set."""
        return stop.wait(max(seconds, 0.0))
