"""`coilcall log`."""

import math
import shutil
import sys
from pathlib import Path
from textwrap import fill

import click

from monitor.cautions import CAUTIONS_IN_BRIEF
from monitor.commands.common import CAUTIONS_AS_THEY_STAND, Finite, Size, setup_option
from monitor.commands.mqtt_options import MqttOptions, mqtt_options
from monitor.interrupt import outlive_signals


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
@click.option(
    "--resume",
    "resumed",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Go on in this recording, of the same inputs and rate, instead of beginning a new one; the time "
    "between is a pause.",
)
@click.option(
    "--duration",
    "duration_s",
    type=Finite(0, min_open=True),
    default=math.inf,
    metavar="S",
    help="Stop after S seconds.",
)
@click.option(
    "--size",
    "size_bytes",
    type=Size(),
    default=math.inf,
    metavar="SIZE",
    help="Stop when the folder holds so much: 500MB, 20GB.",
)
@click.option(
    "--retry",
    "retry_s",
    type=Finite(0),
    default=math.inf,
    metavar="S",
    help="Give an instrument up, with exit status 3, when it was lost for S seconds. Without it, it is tried again "
    "until somebody stops the command.",
)
@mqtt_options
def log(
    address: str,
    setup_file: Path | None,
    folder: Path | None,
    resumed: Path | None,
    duration_s: float,
    size_bytes: float,
    retry_s: float,
    mqtt: MqttOptions,
) -> None:
    """Record and analyse ADDRESS without a screen, for the road test.

    Any key marks the moment at which somebody felt it, a foot switch too; q or Ctrl-C stops. Every sample goes to a
    new folder, with the ledger of firings, flags and marks beside it. What happens is told on stderr, in words on a
    terminal and as JSON, one object a line, anywhere else; the tally at the end on stdout. When the instrument is
    lost, the recording goes on as soon as it is back.
    """
    outlive_signals()
    if folder is not None and resumed is not None:
        raise click.UsageError("--to begins a recording and --resume goes on with one: give one of them")
    broker = mqtt.publishing()
    if sys.stderr.isatty():
        columns = min(max(shutil.get_terminal_size().columns, 20), 80) - 1
        click.echo(fill(" ".join(CAUTIONS_IN_BRIEF.split()), columns), err=True)
    from monitor.disk_terms import DiskTerms
    from monitor.live import Options
    from monitor.log import run
    from monitor.road.stops import Terms

    options = Options(setup_file, resumed or folder, disk=DiskTerms(resume=resumed is not None))
    run(address, options, Terms(duration_s, size_bytes, retry_s), broker)
