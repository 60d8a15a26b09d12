"""After every test: no thread and no task is left. And no law depends on how busy the machine is."""

import asyncio
import inspect
import threading
from collections.abc import AsyncIterator, Iterator

import pytest
from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")

GRACE_S = 2.0


@pytest.fixture
async def no_task_left() -> AsyncIterator[None]:
    """Fail an async test that ends while tasks of its own still run."""
    before = asyncio.all_tasks()
    yield
    left = asyncio.all_tasks() - before - {asyncio.current_task()}
    assert not left, f"tasks left behind: {left}"


@pytest.fixture(autouse=True)
def nothing_left_behind(request: pytest.FixtureRequest) -> Iterator[None]:
    """Fail a test whose threads outlive it."""
    before = set(threading.enumerate())
    if inspect.iscoroutinefunction(getattr(request, "function", None)):
        request.getfixturevalue("no_task_left")
    yield
    # The event loop's own helper threads ("asyncio_0") end with the loop, after this.
    left = {thread for thread in threading.enumerate() if not thread.name.startswith("asyncio_")} - before
    for thread in left:
        thread.join(GRACE_S)
    alive = [thread.name for thread in left if thread.is_alive()]
    assert not alive, f"threads left behind: {alive}"
