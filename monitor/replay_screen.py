"""The dashboard over a recording."""

import asyncio
from functools import partial
from pathlib import Path

from acquire.clock import SystemClock
from drivers.registry import source_for
from monitor.dashboard.app import Dashboard
from monitor.player import Replay
from monitor.recorded import recorded_beside
from monitor.replay import Pace
from monitor.watch import show


def run(recording: str, setup_file: Path | None, speed: float, at_s: float) -> int:
    """Show it from `at_s` on until the person quits; the exit status of the screen. Raises what `session` raises."""
    return asyncio.run(replay(recording, setup_file, Pace(SystemClock(), speed), at_s))


async def replay(recording: str, setup_file: Path | None, pace: Pace, at_s: float) -> int:
    """Show it on this terminal."""
    playing = Replay(partial(source_for, recording), setup_file, pace, recorded_beside(recording))
    async with asyncio.TaskGroup() as tasks:
        tasks.create_task(playing.play(at_s))
        await playing.opened.wait()
        status = await show(dashboard_over(playing))
        playing.close()
    return status


def dashboard_over(playing: Replay) -> Dashboard:
    """Make the screen of a replay whose first session is there."""
    return Dashboard(playing, playing, playing.flex, (playing.traced, playing.running.analyzer.hookup))
