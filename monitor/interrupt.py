"""Signals as something a program can answer, and end well after."""

import signal
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager

MARK_SIGNAL: int | None = getattr(signal, "SIGUSR1", None)
"""What another program sends to mark the moment; None where the system has no such signal."""


def ignore_mark_signal() -> None:
    """Until there is something to mark, let it not end the program, as it would by itself."""
    if MARK_SIGNAL is not None:
        signal.signal(MARK_SIGNAL, signal.SIG_IGN)


def end_signals() -> tuple[int, ...]:
    """What asks a program to end: an interrupt, a polite kill, and a terminal that is gone, unless `nohup` said no."""
    hangup: int | None = getattr(signal, "SIGHUP", None)
    minds_hangup = hangup is not None and signal.getsignal(hangup) is not signal.SIG_IGN
    return (signal.SIGINT, signal.SIGTERM, *([hangup] if hangup is not None and minds_hangup else []))


def stop_signals(stop: Callable[[], object]) -> AbstractContextManager[None]:
    """Within the block whatever asks for the end calls `stop`, instead of ending the program where it stands."""
    return answering(dict.fromkeys(end_signals(), stop))


@contextmanager
def answering(answers: Mapping[int, Callable[[], object]]) -> Iterator[None]:
    """Within the block these signals call their answers in the event loop; afterwards all is as it was.

    The loop's own way to watch signals leaves a moment, when it ends, in which they kill.
    """
    import asyncio  # not above: the command line needs the names of signals before it needs this

    loop = asyncio.get_running_loop()

    def answer(number: int, _: object) -> None:
        loop.call_soon_threadsafe(answers[number])

    before = {number: signal.signal(number, answer) for number in answers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
