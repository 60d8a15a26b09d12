"""Time as something that is passed in, so that a test need not wait for it."""

import threading
import time
from datetime import UTC, datetime
from typing import Protocol

_BOOT_CLOCK: int | None = getattr(time, "CLOCK_BOOTTIME", None)


class Clock(Protocol):
    """Monotonic and civil time, and a wait that can be cut short."""

    def now(self) -> float:
        """Monotonic time in seconds, which goes on while the machine sleeps; its zero means nothing."""
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
        """Monotonic time in seconds. On Linux the usual one stands still while the machine sleeps, so not that one."""
        return time.monotonic() if _BOOT_CLOCK is None else time.clock_gettime(_BOOT_CLOCK)

    def utc(self) -> datetime:
        """Civil time, UTC."""
        return datetime.now(UTC)

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        """Sleep until `seconds` are over or `stop` is set."""
        return stop.wait(max(seconds, 0.0))
