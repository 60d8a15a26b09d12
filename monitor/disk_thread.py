"""Work for a disk, in a thread of its own, awaited in the event loop."""

import asyncio
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import ParamSpec, TypeVar

from acquire.errors import CoilcallError
from monitor.trouble import told

P = ParamSpec("P")
T = TypeVar("T")


async def in_thread(owner: ThreadPoolExecutor, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """Do it there; a failing disk raises CoilcallError. Cancelled, it goes on unseen: see `to_its_end`."""
    try:
        return await asyncio.wrap_future(owner.submit(work, *args, **kwargs))
    except OSError as error:
        raise CoilcallError(told(error)) from error


async def to_its_end(work: Awaitable[T]) -> T:
    """Await it, and when cancelled only after it is done."""
    task = asyncio.ensure_future(work)
    try:
        return await asyncio.shield(task)
    except asyncio.CancelledError:
        await asyncio.wait([task])
        raise
