"""Somewhere to write to that may be slow, stopped or gone, and that nobody waits for."""

import os
import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import TextIO

MOST_WAITING = 1000
CLOSE_S = 0.5


class Outlet:
    """Writes text in a thread of its own, in order.

    A reader that takes nothing (Ctrl-S, a pipe that nobody empties) makes the thread wait and no one else; what does
    not fit meanwhile is dropped and counted. One that is gone (a terminal closed) is written to no more.
    """

    def __init__(self, write: Callable[[str], object]) -> None:
        self._write = write
        self._waiting: queue.Queue[str | None] = queue.Queue(MOST_WAITING)
        self._thread = threading.Thread(target=self._run, name="outlet", daemon=True)
        self._thread.start()
        self._dropped = 0

    def put(self, text: str, *, is_fleeting: bool = False) -> None:
        """Have it written; what is fleeting only if nothing else waits."""
        if is_fleeting and not self._waiting.empty():
            return
        try:
            self._waiting.put_nowait(text)
        except queue.Full:
            self._dropped += 1

    def take_dropped(self) -> int:
        """Say, once all that waited is taken, how many were dropped since it was said last."""
        dropped = self._dropped if self._waiting.empty() else 0
        self._dropped -= dropped
        return dropped

    def close(self) -> None:
        """Let it write what waits, for a second at most."""
        with suppress(queue.Full):
            self._waiting.put(None, timeout=CLOSE_S)
        self._thread.join(CLOSE_S)

    def _run(self) -> None:
        is_gone = False
        while (text := self._waiting.get()) is not None:
            try:
                if not is_gone:
                    self._write(text)
            except (OSError, ValueError):  # gone, or closed on our side
                is_gone = True


def writer_to(stream: TextIO) -> Callable[[str], object]:
    """Give what writes to a stream past its buffer, if it has a descriptor.

    The interpreter cannot end while a thread waits inside a buffered stream.
    """
    try:
        descriptor = stream.fileno()
    except OSError:
        return lambda text: (stream.write(text), stream.flush())

    def write(text: str) -> None:
        left = text.encode(stream.encoding, "backslashreplace")
        while left:
            left = left[os.write(descriptor, left) :]

    return write
