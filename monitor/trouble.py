"""A disk that does not take what it is given: why, and when it is tried again."""

from acquire.clock import Clock

RETRY_S = 5.0
"""Soon enough for whoever frees some space; seldom enough that a dead disk is not hammered."""


class Trouble:
    """One kind of writing that may fail. Written by whoever does it; `words` may be read from any thread."""

    def __init__(self, what: str, clock: Clock) -> None:
        self._what, self.clock = what, clock
        self._due_s = 0.0
        self.reason = ""
        """Why it fails now; "" while all is well."""
        self.last_reason = ""
        """Why it failed last, also when it is well again."""

    @property
    def is_due(self) -> bool:
        """Whether to write now: all is well, or it is time to try again."""
        return not self.reason or self.clock.now() >= self._due_s

    def failed(self, reason: str) -> None:
        """Note that it failed just now."""
        self.reason = self.last_reason = reason
        self._due_s = self.clock.now() + RETRY_S

    def over(self) -> None:
        """Note that it went well."""
        self.reason = ""

    @property
    def words(self) -> str:
        """For people; "" while all is well."""
        return f"{self._what} not kept: {self.reason}; tried every {RETRY_S:.0f} s" if self.reason else ""


def told(error: OSError) -> str:
    """Say what a disk refused, and on which file where it says so."""
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}"
