"""What the bytes that come from a terminal mean: a moment marked, or the end."""

import re
from enum import Enum

HELD_S = 1.0
"""What follows within so long is the same press: the longest that common systems wait before a held key repeats, and
more than a foot switch takes that types several characters."""
SPLIT_S = 0.1
"""Within so long the rest of an escape sequence comes, over slow links too."""

_UNFINISHED = re.compile(rb"\x1b(\[[0-?]*[ -/]*|O)?\Z")


class Wish(Enum):
    """What somebody at the keys wants."""

    MARK = "mark"
    STOP = "stop"


class Keys:
    """Takes bytes as they come. Any key marks, q stops; a held key is one press, and so is an escape sequence."""

    def __init__(self) -> None:
        self._last_s = -float("inf")
        self._unfinished = b""

    def feed(self, data: bytes, now_s: float) -> Wish | None:
        """Say what these bytes mean, which came at `now_s` on any monotonic clock."""
        quiet_s, self._last_s = now_s - self._last_s, now_s
        whole = self._unfinished + data if quiet_s <= SPLIT_S else data
        unfinished = _UNFINISHED.search(whole)
        self._unfinished = unfinished[0] if unfinished else b""
        # q alone: not one in a text that was pasted, nor the end of a sequence.
        if whole and not whole.strip(b"qQ"):
            return Wish.STOP
        return Wish.MARK if data and quiet_s > HELD_S else None
