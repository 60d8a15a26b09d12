"""A terminal's keys, one by one, while a log runs; afterwards the terminal is as it was."""

import asyncio
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

if sys.platform != "win32":
    import termios

STDIN = 0
_INPUT_FLAGS = 0
_LOCAL_FLAGS = 3
_CONTROL_CHARACTERS = 6


class Keyboard:
    """Reads what is typed on the terminal `descriptor` and hands it to `take`, in the event loop.

    Nothing is echoed. The keys that would put a log to sleep (Ctrl-Z), silence it (Ctrl-S) or kill it (Ctrl with the
    backslash) by accident are keys like others; Ctrl-C stays an interrupt. As long as another job has the terminal it
    is left alone.
    """

    def __init__(self, descriptor: int, take: Callable[[bytes], object]) -> None:
        self._descriptor, self._take = descriptor, take
        self._loop = asyncio.get_running_loop()
        self._before: list[Any] | None = None

    def attend(self) -> None:
        """Take the terminal where it is ours and not taken; called now and then, as a shell may give it back."""
        with suppress(OSError, termios.error):
            if not self._is_ours():
                self._loop.remove_reader(self._descriptor)
                return
            mode = termios.tcgetattr(self._descriptor)
            if mode[_LOCAL_FLAGS] & (termios.ICANON | termios.ECHO):
                self._before = mode
                termios.tcsetattr(self._descriptor, termios.TCSANOW, self._key_by_key(mode))
            self._loop.add_reader(self._descriptor, self._read)

    def leave(self) -> None:
        """Give it back as it was."""
        self._loop.remove_reader(self._descriptor)
        with suppress(OSError, termios.error):
            if self._before is not None and self._is_ours():
                termios.tcsetattr(self._descriptor, termios.TCSANOW, self._before)

    def _is_ours(self) -> bool:
        return os.tcgetpgrp(self._descriptor) == os.getpgrp()

    def _read(self) -> None:
        data = b""
        with suppress(OSError):
            # Another job's keys are not ours, and to ask for them would stop us.
            data = os.read(self._descriptor, 1024) if self._is_ours() else b""
        if data:
            self._take(data)
        else:
            self._loop.remove_reader(self._descriptor)

    def _key_by_key(self, mode: list[Any]) -> list[Any]:
        changed = [*mode]
        changed[_INPUT_FLAGS] &= ~termios.IXON
        changed[_LOCAL_FLAGS] &= ~(termios.ICANON | termios.ECHO)
        characters = changed[_CONTROL_CHARACTERS] = [*mode[_CONTROL_CHARACTERS]]
        characters[termios.VMIN], characters[termios.VTIME] = 1, 0
        for number in (termios.VSUSP, termios.VQUIT):
            characters[number] = os.fpathconf(self._descriptor, "PC_VDISABLE").to_bytes(1, "little")
        return changed


@contextmanager
def keyboard(take: Callable[[bytes], object]) -> Iterator[Callable[[], None]]:
    """Within the block hand every key to `take`, where stdin is a terminal; call what is given now and then."""
    if sys.platform == "win32" or not os.isatty(STDIN):
        yield lambda: None
        return
    keys = Keyboard(STDIN, take)
    keys.attend()
    try:
        yield keys.attend
    finally:
        keys.leave()
