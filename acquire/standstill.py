"""Nobody ran: the machine slept, or the program was stopped, and nothing in it could notice while it lasted."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from acquire.clock import Clock

LOOK_EVERY_S = 0.1


@contextmanager
def noticing_standstill(clock: Clock, least_s: float, tell: Callable[[float], object]) -> Iterator[None]:
    """Within the block look at the clock from a thread of its own; `tell` it there how long nobody could look.

    Told is what lasted `least_s` or longer. A thread, because an event loop that is busy for a while did run.
    """
    stop = threading.Event()

    def look() -> None:
        looked_s = clock.now()
        while not stop.wait(LOOK_EVERY_S):
            before_s, looked_s = looked_s, clock.now()
            if looked_s - before_s >= least_s:
                tell(looked_s - before_s)

    looker = threading.Thread(target=look, name="standstill", daemon=True)
    looker.start()
    try:
        yield
    finally:
        stop.set()
        looker.join()


def standstill(seconds: float) -> str:
    """Say that nothing ran here for so long."""
    why = "the machine slept or was overloaded, or the program was stopped"
    return f"nothing ran here for {seconds:.1f} s: {why}"
