"""`coilcall replay`."""

import sys
from pathlib import Path

import click

from monitor.commands.common import Finite, needs_terminal, rated, setup_option


@click.command(short_help="Show a recording as it went: pause, step, faster, slower.")
@click.argument("recording")
@setup_option
@click.option("--speed", type=Finite(1 / 8, 64), default=1.0, show_default=True, help="Recorded seconds per second.")
@click.option("--rate", "rate_hz", type=float, metavar="HZ", help="Samples a second, for files that do not say.")
def replay(recording: str, setup_file: Path | None, speed: float, rate_hz: float | None) -> None:
    """Show RECORDING on the screen as it went: pause, step, faster, slower.

    Space pauses, n goes a little further, f doubles and s halves the speed, q quits.
    """
    from acquire.clock import SystemClock
    from monitor.live import Options
    from monitor.replay import Pace
    from monitor.watch import run

    needs_terminal("replay")
    sys.exit(run(rated(recording, rate_hz), Options(setup_file, pace=Pace(SystemClock(), speed))))
