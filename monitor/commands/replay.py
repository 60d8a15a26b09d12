"""`coilcall replay`."""

import re
import sys
from pathlib import Path
from typing import Any

import click

from monitor.commands.common import Finite, alerts_option, needs_terminal, rate_option, rated, setup_option

_TIME = re.compile(r"(?:(?:(\d+):)?(\d+):)?(\d+(?:\.\d+)?)", re.ASCII)


class Place(click.ParamType[float]):
    """A time in the recording: seconds, or minutes and hours before them with colons between."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401  as inherited
        """Give it in seconds, or fail with one line."""
        found = _TIME.fullmatch(str(value))
        if found is None or len(str(value)) > 20:
            self.fail(f"{value!r} is no time; give seconds, or 12:34, or 1:02:34.5", param, ctx)
        hours, minutes, seconds = found.groups()
        return int(hours or 0) * 3600.0 + int(minutes or 0) * 60.0 + float(seconds)


@click.command(short_help="Show a recording as it went: pause, step, faster, slower, jump.")
@click.argument("recording")
@setup_option
@click.option("--at", "at_s", type=Place(), default="0", metavar="TIME", help="Begin there: 754.2, 12:34 or 1:02:34.")
@click.option(
    "--speed",
    type=Finite(1 / 8, 64),
    default=1.0,
    show_default=True,
    metavar="TIMES",
    help="Recorded seconds per second.",
)
@rate_option
@alerts_option
def replay(recording: str, setup_file: Path | None, at_s: float, speed: float, rate_hz: float | None) -> None:
    """Show RECORDING on the live screen as it went, through the same analysis as if it happened now.

    Space pauses, n goes a little further, f doubles and s halves the speed. j jumps to the next flag or mark and k to
    the one before, home to the beginning; a jump stops shortly before and waits for space. q quits.
    """
    from monitor.replay_screen import run

    needs_terminal("use analyze here")
    sys.exit(run(rated(recording, rate_hz), setup_file, speed, at_s))
