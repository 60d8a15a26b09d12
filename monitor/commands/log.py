"""`coilcall log`."""

import math
from pathlib import Path

import click

from monitor.cautions import CAUTIONS_IN_BRIEF
from monitor.commands.common import CAUTIONS_AS_THEY_STAND, Finite, setup_option


@click.command(short_help="Record and analyse without a screen, for the road test.", epilog=CAUTIONS_AS_THEY_STAND)
@click.argument("address")
@setup_option
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="New folder; named after the time if not given.",
)
@click.option("--duration", "duration_s", type=Finite(0, min_open=True), metavar="S", help="Stop after S seconds.")
@click.option(
    "--retry",
    "retry_s",
    type=Finite(0),
    default=math.inf,
    metavar="S",
    help="Give an instrument up, with exit status 3, when it was lost for S seconds. Without it, it is tried again "
    "until somebody stops the command.",
)
def log(address: str, setup_file: Path | None, folder: Path | None, duration_s: float | None, retry_s: float) -> None:
    """Record and analyse ADDRESS without a screen, for the road test; stop with Ctrl-C.

    Every sample goes to a new folder, with the ledger of firings and flags beside it. State and flags are told on
    stderr, the tally at the end on stdout. When the instrument is lost, the recording goes on as soon as it is back.
    """
    from monitor.log import Terms, run

    click.echo(CAUTIONS_IN_BRIEF, err=True)
    run(address, setup_file, folder, Terms(duration_s, retry_s))
