"""A file that may be closed from another thread while it is being read."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol, TypeVar

from acquire.errors import SourceLost

Result = TypeVar("Result")


class Closable(Protocol):
    """Whatever has a close method."""

    def close(self) -> object:
        """Give the resource back."""
        ...


class Guard:
    """Lets one read at a time through, and none after `close`; a read lasts a chunk, so nobody waits long."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._lock = threading.Lock()
        self._held: list[Closable] = []
        self.closed = False

    def hold(self, resource: Closable) -> None:
        """Take charge of what must be closed in the end; at once where that has come already."""
        with self._lock:
            if self.closed:
                resource.close()
            else:
                self._held.append(resource)

    def read(self, read: Callable[[], Result]) -> Result | None:
        """Call `read`, or give None once closed. Raises SourceLost where the file stops answering."""
        with self._lock:
            if self.closed:
                return None
            try:
                return read()
            except OSError as error:
                raise SourceLost(f"{self._name}: reading stopped: {error.strerror or error}") from error

    @contextmanager
    def opening(self) -> Iterator[None]:
        """Close everything held again where opening fails half way."""
        try:
            yield
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close everything held; more than once does no harm."""
        with self._lock:
            self.closed = True
            while self._held:
                self._held.pop().close()
