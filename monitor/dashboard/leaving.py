"""Leaving a terminal that takes nothing any more, or that is gone, without waiting for it."""

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType

from monitor.dashboard.room import has_room

PATIENCE_S = 2.0
"""So long a slow terminal may take for what is still to be drawn when the screen ends."""
_EVERY_S = 0.05


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


def abandon() -> None:
    """Let everything still to be written go nowhere: the terminal is gone, and writing there would be an error."""
    if sys.__stderr__ is not None:
        with open(os.devnull, "w") as nowhere, suppress(OSError, ValueError):  # noqa: PTH123  a descriptor
            os.dup2(nowhere.fileno(), sys.__stderr__.fileno())


@contextmanager
def abandoning() -> Iterator[None]:
    """Within the block a hang-up abandons the terminal before anything else is done about it.

    The system sends a signal to go on right behind, at which the screen library would draw everything anew.
    """
    hangup = getattr(signal, "SIGHUP", None)
    before = signal.getsignal(hangup) if hangup is not None else None
    if hangup is None or not callable(before):
        yield
        return

    def answer(number: int, frame: FrameType | None) -> None:
        abandon()
        before(number, frame)

    signal.signal(hangup, answer)
    try:
        yield
    finally:
        signal.signal(hangup, before)


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
