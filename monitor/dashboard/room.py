"""Whether the terminal still takes what is drawn, and whether it is there at all."""

import select
import sys

_ROOM = getattr(select, "POLLOUT", 4)


def has_room() -> bool:
    """Whether it does, or cannot be asked.

    Nothing is drawn on a terminal that is behind: whoever did would wait for it, and the analysis, which runs in the
    same loop, would wait as well.
    """
    return bool(_state() & _ROOM)


def is_gone() -> bool:
    """Whether there is no terminal any more: its window was closed, or the line to it broke."""
    return bool(_state() & ~_ROOM)


def _state() -> int:
    """What `poll` says of the terminal; that it has room, where it cannot be asked."""
    terminal = sys.__stderr__
    if terminal is None or not hasattr(select, "poll"):
        return _ROOM
    poll = select.poll()
    try:
        poll.register(terminal, _ROOM)
        return next((events for _, events in poll.poll(0)), 0)
    except (OSError, ValueError):
        return _ROOM
