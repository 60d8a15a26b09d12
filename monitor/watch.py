"""The dashboard over a session: a live source, or a recording at a pace."""

import asyncio

from drivers.registry import source_for
from monitor.dashboard.app import Dashboard
from monitor.interrupt import stop_signals
from monitor.live import Options, session
from monitor.replay import PacedSource


def run(address: str, options: Options) -> int:
    """Watch until the person quits; the exit status of the screen. Raises what `session` raises."""
    return asyncio.run(watch(address, options))


async def watch(address: str, options: Options) -> int:
    """Show a session on this terminal."""
    source = source_for(address)
    if options.pace is not None:
        source = PacedSource(source, options.pace)
    async with session(source, options) as running:
        screen = Dashboard(running, options.pace)
        with stop_signals(screen.exit):
            await screen.run_async()
    return screen.return_code or 0
