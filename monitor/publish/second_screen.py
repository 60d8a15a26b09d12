"""The dashboard over a broker: who logs is elsewhere."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from acquire.clock import Clock, SystemClock
from monitor.dashboard.app import Dashboard
from monitor.publish.address import Access
from monitor.publish.follower import Follower
from monitor.watch import show


def run(access: Access) -> int:
    """Look on until the person quits; the exit status of the screen. Raises what `following` raises."""
    return asyncio.run(_run(access))


async def _run(access: Access) -> int:
    async with following(access, SystemClock()) as follower:
        return await show(Dashboard(follower))


@asynccontextmanager
async def following(access: Access, clock: Clock) -> AsyncIterator[Follower]:
    """Follow a broker within the block; one that is away is tried again.

    Raises AddressError where a file for TLS is of no use, BrokerRefused where the broker does not let us in at all.
    """
    follower = Follower(access, clock)
    async with asyncio.TaskGroup() as tasks:
        running = tasks.create_task(follower.run())
        await follower.line.tried.wait()
        if follower.line.refusal is not None:
            raise follower.line.refusal
        yield follower
        running.cancel()
