"""Whether the terminal still takes what is drawn, and leaving one that does not."""

import select
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

PATIENCE_S = 2.0
"""So long a slow terminal may take for what is still to be drawn when the screen ends."""
_EVERY_S = 0.05


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


def make_room() -> None:
    """Throw away what the terminal has not taken, and wake whoever waits to write there."""
    try:
        import termios
    except ImportError:
        return
    terminal = sys.__stderr__
    if terminal is None:
        return
    try:
        termios.tcflush(terminal, termios.TCOFLUSH)
        termios.tcflow(terminal, termios.TCOOFF)
        termios.tcflow(terminal, termios.TCOON)  # this is what wakes
    except (OSError, ValueError, termios.error):
        return


@contextmanager
def never_held_up(leaving: threading.Event, patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Run a screen within; from `leaving` on a terminal that takes nothing is written into nowhere after a while.

    Else a program that is told to end would wait for a terminal that nobody reads.
    """
    done = threading.Event()
    thread = threading.Thread(target=_insist, args=(leaving, done, patience_s), name="leaving")
    thread.start()
    try:
        yield
    finally:
        done.set()
        leaving.set()
        thread.join()


def _insist(leaving: threading.Event, done: threading.Event, patience_s: float) -> None:
    leaving.wait()
    done.wait(patience_s)
    while not done.is_set():
        if not has_room():
            make_room()
        done.wait(_EVERY_S)
