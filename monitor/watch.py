"""The dashboard over a session: a live source, or a recording at a pace."""

import asyncio

from acquire.clock import SystemClock
from acquire.source import Source
from drivers.registry import source_for
from monitor.dashboard.app import Dashboard
from monitor.flex.flex_test import FlexTest
from monitor.interrupt import stop_signals
from monitor.live import Options, Session, session, supervised
from monitor.replay import Pace, PacedSource
from monitor.trace.store import TraceStore


def run(address: str, options: Options, *, flexes: bool = False) -> int:
    """Watch until the person quits, on the flex test first if `flexes`; the exit status of the screen.

    Raises what `session` raises.
    """
    return asyncio.run(watch(address, options, flexes=flexes))


async def watch(address: str, options: Options, *, flexes: bool = False) -> int:
    """Show a session on this terminal; a live source that is lost is tried again until the person quits."""
    if options.pace is not None:
        source: Source = PacedSource(source_for(address), options.pace)
    else:
        source = supervised(source_for, address, SystemClock())
    async with session(source, options) as running:
        screen = dashboard_over(running, options.pace)
        if flexes:
            screen.call_later(screen.action_flex)
        return await show(screen)


async def show(screen: Dashboard) -> int:
    """Draw it on this terminal until the person quits or the program is told to end; its exit status."""
    with stop_signals(screen.exit):
        await screen.run_async()
    return screen.return_code or 0


def dashboard_over(running: Session, pace: Pace | None = None) -> Dashboard:
    """Make the screen of a session, with everything that samples are needed for."""
    hookup = running.analyzer.hookup
    flex, kept = FlexTest(hookup, running.info), TraceStore(running.info)
    running.listen(flex)
    running.listen(kept)
    return Dashboard(running, pace, flex, (kept, hookup))
