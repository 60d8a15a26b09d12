"""What several commands share: options, and what they ask of their surroundings."""

import math
import sys
from pathlib import Path
from typing import Any

import click

from monitor.cautions import CAUTIONS

CAUTIONS_AS_THEY_STAND = f"\b\n{CAUTIONS}"

setup_option = click.option(
    "--setup",
    "setup_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The set-up file: which engine, and what is connected to which input. Without it, the set-up that came with "
    "the samples is used.",
)


class Finite(click.FloatRange):
    """A number within bounds; unlike click's own, not a number is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401  as inherited
        """Understand what was typed, or fail with one line."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number


def rated(recording: str, rate_hz: float | None) -> str:
    """The recording's address, with the rate that its file does not say."""
    if rate_hz is None:
        return recording
    has_query = "?" in recording and not Path(recording).exists()
    return f"{recording}{'&' if has_query else '?'}rate={rate_hz!r}"


def needs_terminal(command: str) -> None:
    """Refuse to draw a screen where there is none. Raises click.UsageError."""
    # The screen is drawn on stderr, so that stdout stays what the commands give.
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise click.UsageError(f"{command} draws a screen and needs a terminal; use log or analyze here")
