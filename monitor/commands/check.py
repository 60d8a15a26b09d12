"""`coilcall check`."""

import sys
from pathlib import Path

import click

from monitor.commands.common import CAUTIONS_AS_THEY_STAND, Finite, json_option, rate_option, rated, setup_option


@click.command(short_help="Key on, engine off: every wire against what it should read.", epilog=CAUTIONS_AS_THEY_STAND)
@click.argument("address")
@setup_option
@click.option(
    "--seconds",
    type=Finite(0, 3600, min_open=True),
    metavar="S",
    help="How much to look at: 2 s of a live source unless said, of a recording its first minute.",
)
@json_option
@rate_option
def check(address: str, setup_file: Path | None, seconds: float | None, as_json: bool, rate_hz: float | None) -> None:
    """Look at every connected wire of ADDRESS before the engine is started: key on, engine off.

    Each wire's level, noise and range stand beside what they should be, with what it means and what to do next where
    they are not. Says what is not connected, and ends with ready or not ready. ADDRESS may be a recording.

    Exit status: 0 ready, 1 not ready, 2 bad input or usage, 3 the instrument was lost.
    """
    from monitor.check.run import run

    sys.exit(run(rated(address, rate_hz), setup_file, seconds, as_json=as_json))
