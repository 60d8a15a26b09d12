"""The dashboard over a session: a live source, or a recording at a pace."""

import asyncio
import socket
from contextlib import AsyncExitStack

import click

from acquire.clock import SystemClock
from acquire.source import Source
from drivers.registry import source_for
from monitor.browser.place import Place, listen, told
from monitor.browser.serving import serving
from monitor.dashboard.app import Dashboard
from monitor.dashboard.page import Page
from monitor.dashboard.picture import Watched
from monitor.flex.flex_test import FlexTest
from monitor.interrupt import stop_signals
from monitor.live import Options, Session, session, supervised
from monitor.replay import Pace, PacedSource
from monitor.terminal import can_draw
from monitor.trace.store import TraceStore


def run(address: str, options: Options, *, flexes: bool = False, place: Place | None = None) -> int:
    """Watch until the person quits, on the flex test first if `flexes`; the exit status of the screen.

    With a `place` browsers can watch as well; then a terminal is not needed. Raises what `session` and `listen` raise.
    """
    return asyncio.run(watch(address, options, flexes=flexes, place=place))


async def watch(address: str, options: Options, *, flexes: bool = False, place: Place | None = None) -> int:
    """Show a session on this terminal; a live source that is lost is tried again until the person quits."""
    if options.pace is not None:
        source: Source = PacedSource(source_for(address), options.pace)
    else:
        source = supervised(source_for, address, SystemClock())
    async with AsyncExitStack() as stack:
        listening = stack.enter_context(listen(place)) if place else None
        running = await stack.enter_async_context(session(source, options))
        screen = dashboard_over(running, options.pace)
        if flexes:
            screen.call_later(screen.action_flex)
        if listening is None:
            return await show(screen)
        return await show_everywhere(running, screen, listening)


async def show_everywhere(watched: Watched, screen: Dashboard, listening: socket.socket) -> int:
    """Show it in browsers, and on this terminal if it is one; say first where, and to whom."""
    words = told(listening)
    click.echo(words, err=True)
    if not can_draw():
        async with serving(watched, listening, lambda line: click.echo(f"coilcall: {line}", err=True)):
            return await until_told()
    screen.call_later(screen.push_screen, Page(words))
    async with serving(watched, listening, lambda line: screen.notify(line, severity="error", markup=False)):
        return await show(screen)


async def until_told() -> int:
    """Wait for an interrupt or a polite kill; the exit status."""
    ended = asyncio.Event()
    with stop_signals(ended.set):
        await ended.wait()
    return 0


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
