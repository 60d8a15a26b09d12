"""The dashboard over a session: a live source, or a recording at a pace."""

import asyncio

from acquire.clock import SystemClock
from acquire.source import Source
from drivers.registry import source_for
from monitor.dashboard.app import Dashboard
from monitor.interrupt import stop_signals
from monitor.live import Options, session, supervised
from monitor.replay import PacedSource


def run(address: str, options: Options) -> int:
    """Watch until the person quits; the exit status of the screen. Raises what `session` raises."""
    return asyncio.run(watch(address, options))


async def watch(address: str, options: Options) -> int:
    """Show a session on this terminal; a live source that is lost is tried again until the person quits."""
    if options.pace is not None:
        source: Source = PacedSource(source_for(address), options.pace)
    else:
        source = supervised(source_for, address, SystemClock())
    async with session(source, options) as running:
        screen = Dashboard(running, options.pace)
        with stop_signals(screen.exit):
            await screen.run_async()
    return screen.return_code or 0
