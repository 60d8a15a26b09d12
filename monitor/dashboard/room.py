"""Whether the terminal still takes what is drawn."""

import select
import sys


def has_room() -> bool:
    """Whether it does, or cannot be asked.

    Nothing is drawn on a terminal that is behind: whoever did would wait for it, and the analysis, which runs in the
    same loop, would wait as well.
    """
    terminal = sys.__stderr__
    if terminal is None:
        return True
    try:
        return bool(select.select([], [terminal], [], 0)[1])
    except (OSError, ValueError):
        return True
