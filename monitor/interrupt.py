"""Interrupts and polite kills as something a program can end well after."""

import asyncio
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress


@contextmanager
def stop_signals(stop: Callable[[], object]) -> Iterator[None]:
    """Within the block SIGINT and SIGTERM call `stop` in the event loop, instead of ending the program where it stands.

    Where the loop cannot watch signals (Windows), an interrupt cancels the main task, which ends it as cleanly.
    """
    loop, signals = asyncio.get_running_loop(), (signal.SIGINT, signal.SIGTERM)
    with suppress(NotImplementedError):
        for number in signals:
            loop.add_signal_handler(number, stop)
    try:
        yield
    finally:
        with suppress(NotImplementedError):
            for number in signals:
                loop.remove_signal_handler(number)
