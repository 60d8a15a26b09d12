"""The dashboard over a session of a live source."""

import asyncio
import signal
import socket
from contextlib import AsyncExitStack
from functools import partial

import click

from acquire.clock import SystemClock
from acquire.supervised import Supervised
from drivers.registry import source_for
from monitor.browser.place import Place, listen, told
from monitor.browser.serving import serving
from monitor.cautions import CAUTIONS_IN_BRIEF
from monitor.cautions_read import are_read
from monitor.dashboard.app import Dashboard
from monitor.dashboard.leaving import abandoning, never_held_up
from monitor.dashboard.page import Page
from monitor.dashboard.picture import Watched
from monitor.flex.flex_test import FlexTest
from monitor.interrupt import stop_signals
from monitor.live import Options, Session, session, supervised
from monitor.publish.address import Access
from monitor.publish.publishing import publishing
from monitor.terminal import can_draw
from monitor.trace.store import TraceStore


def run(
    address: str, options: Options, *, flexes: bool = False, place: Place | None = None, broker: Access | None = None
) -> int:
    """Watch until the person quits, on the flex test first if `flexes`; the exit status of the screen.

    With a `place` browsers can watch as well; then a terminal is not needed. With a `broker` what is recorded is
    published. Raises what `session`, `listen` and `publishing` raise.
    """
    return asyncio.run(watch(address, options, flexes=flexes, place=place, broker=broker))


async def watch(
    address: str, options: Options, *, flexes: bool = False, place: Place | None = None, broker: Access | None = None
) -> int:
    """Show a session on this terminal; a live source that is lost is tried again until the person quits."""
    clock = SystemClock()
    source = supervised(source_for, address, clock)
    async with AsyncExitStack() as stack:
        listening = stack.enter_context(listen(place)) if place else None
        publish = await stack.enter_async_context(publishing(broker, clock, partial(click.echo, err=True)))
        running = await stack.enter_async_context(session(source, options))
        publish(running, partial(signal.raise_signal, signal.SIGTERM))
        if listening is not None and not can_draw():
            if isinstance(source, Supervised):
                click.echo(CAUTIONS_IN_BRIEF, err=True)
            return await serve_only(running, listening)
        screen = dashboard_over(running)
        if flexes:
            screen.call_later(screen.action_flex)
        if isinstance(source, Supervised) and not are_read():
            screen.call_later(screen.action_cautions)
        if listening is not None:
            await stack.enter_async_context(
                serving(running, listening, partial(screen.notify, severity="error", markup=False))
            )
            click.echo(words := told(listening), err=True)
            screen.call_later(screen.push_screen, Page(f"{words}\nesc puts this away."))
        return await show(screen)


async def serve_only(watched: Watched, listening: socket.socket) -> int:
    """Show it in browsers alone until an interrupt or a polite kill comes; the exit status."""
    click.echo(f"{told(listening)}\nCtrl-C ends it.", err=True)
    ended = asyncio.Event()
    async with serving(watched, listening, lambda line: click.echo(f"coilcall: {line}", err=True)):
        with stop_signals(ended.set):
            await ended.wait()
    return 0


async def show(screen: Dashboard) -> int:
    """Draw it on this terminal until the person quits or the program is told to end; its exit status."""
    with stop_signals(screen.exit), abandoning(), never_held_up(screen.leaving):
        await screen.run_async()
    return screen.return_code or 0


def dashboard_over(running: Session) -> Dashboard:
    """Make the screen of a session, with everything that samples are needed for."""
    hookup = running.analyzer.hookup
    flex, kept = FlexTest(hookup, running.info), TraceStore(running.info)
    running.listen(flex)
    running.listen(kept)
    return Dashboard(running, None, flex, (kept, hookup))
