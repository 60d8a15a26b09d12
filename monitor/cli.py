"""The commands: parse, then call. Whatever takes long to import is imported by the command that needs it."""

import math
import sys
from pathlib import Path
from typing import Any, NoReturn

import click

from acquire.errors import CoilcallError
from monitor.cautions import CAUTIONS, CAUTIONS_IN_BRIEF

DEMONSTRATION = (
    "simulated:?cylinders=6&order=1-4-2-5-3-6&rate=50000&inputs=supply,control1,acknowledgement&scenario=idle&pace=1"
    "&fault=no-answer,cylinder=4,probability=0.02"
)
"""What `watch` runs without an address: a six at idle whose cylinder 4 does not answer now and then."""

_CAUTIONS_AS_THEY_STAND = f"\b\n{CAUTIONS}"

_setup = click.option(
    "--setup",
    "setup_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The set-up file: which engine, and what is connected to which input. Without it, the set-up that came with "
    "the samples is used.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="coilcall", message="%(prog)s %(version)s")
def cli() -> None:
    """Call the roll of every ignition coil.

    coilcall watches each turn of each cylinder: was its coil called, and did it answer? It counts what it saw and
    names the cylinder and the wire that failed. An answer proves that primary current was switched, not that there
    was a spark at the plug.

    Exit status: 0 done, 2 bad input or usage, 3 the instrument was lost.
    """


@cli.command(short_help="Call the roll over a recording, as fast as the machine can.")
@click.argument("recording")
@_setup
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the table.")
@click.option("--rate", "rate_hz", type=float, metavar="HZ", help="Samples a second, for files that do not say.")
def analyze(recording: str, setup_file: Path | None, as_json: bool, rate_hz: float | None) -> None:
    """Call the roll over RECORDING as fast as the machine can, and print the tally, flags and findings.

    RECORDING is a folder made by `coilcall log`, or a CSV, WAV, NPY or NPZ file.
    """
    from monitor.analysis import analyze_recording, print_result

    analyzer, flags = analyze_recording(_rated(recording, rate_hz), setup_file)
    print_result(analyzer, recording, flags, as_json=as_json)


def _rated(recording: str, rate_hz: float | None) -> str:
    return recording if rate_hz is None else f"{recording}{'&' if '?' in recording else '?'}rate={rate_hz!r}"


@cli.command(short_help="Watch a live source, or the simulated engine.", epilog=_CAUTIONS_AS_THEY_STAND)
@click.argument("address", default=DEMONSTRATION, metavar="[ADDRESS]")
@_setup
@click.option(
    "--record", "folder", type=click.Path(path_type=Path), metavar="FOLDER", help="Record to this new folder as well."
)
def watch(address: str, setup_file: Path | None, folder: Path | None) -> None:
    """Watch ADDRESS on a live screen: one lane per cylinder, the latest flags, the state of the source.

    Without ADDRESS a simulated six-cylinder engine runs at idle, and its cylinder 4 does not answer now and then.
    """
    from monitor.live import Options
    from monitor.watch import run

    _needs_terminal("watch")
    sys.exit(run(address, Options(setup_file, folder)))


@cli.command(short_help="Show a recording as it went: pause, step, faster, slower.")
@click.argument("recording")
@_setup
@click.option(
    "--speed", type=click.FloatRange(1 / 8, 64), default=1.0, show_default=True, help="Recorded seconds per second."
)
@click.option("--rate", "rate_hz", type=float, metavar="HZ", help="Samples a second, for files that do not say.")
def replay(recording: str, setup_file: Path | None, speed: float, rate_hz: float | None) -> None:
    """Show RECORDING on the screen as it went: pause, step, faster, slower.

    Space pauses, n goes a little further, f doubles and s halves the speed, q quits.
    """
    from acquire.clock import SystemClock
    from monitor.live import Options
    from monitor.replay import Pace
    from monitor.watch import run

    _needs_terminal("replay")
    sys.exit(run(_rated(recording, rate_hz), Options(setup_file, pace=Pace(SystemClock(), speed))))


@cli.command(short_help="Record and analyse without a screen, for the road test.", epilog=_CAUTIONS_AS_THEY_STAND)
@click.argument("address")
@_setup
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="New folder; named after the time if not given.",
)
@click.option(
    "--duration", "duration_s", type=click.FloatRange(0, min_open=True), metavar="S", help="Stop after S seconds."
)
@click.option(
    "--retry",
    "retry_s",
    type=click.FloatRange(0),
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


@cli.command(short_help="Say what is plugged in and what can be opened, with addresses.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the table.")
def sources(as_json: bool) -> None:
    """List serial ports, VISA instruments and installed drivers, each with the address to paste after watch or log.

    Says what is missing where something cannot be used. Opens nothing; instruments on the network are asked for by
    broadcast.
    """
    from monitor.sources import print_sources

    print_sources(as_json=as_json)


def _needs_terminal(command: str) -> None:
    # The screen is drawn on stderr, so that stdout stays what the commands give.
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise click.UsageError(f"{command} draws a screen and needs a terminal; use log or analyze here")


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run, and turn everything that may go wrong on purpose into one line and an exit status."""
    try:
        status = cli.main(arguments, prog_name="coilcall", standalone_mode=False)
    except click.exceptions.Abort:
        _end(130, "stopped")
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        _end(error.exit_code)
    except click.ClickException as error:
        _end(error.exit_code, f"{error.format_message()}{_help_hint(error)}")
    except (CoilcallError, BaseExceptionGroup) as error:
        cause = _cause(error)
        _end(cause.exit_status, str(cause))
    _end(status if isinstance(status, int) else 0)


def _help_hint(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    return f" (see {context.command_path} --help)" if context else ""


def _cause(error: BaseException) -> CoilcallError:
    """Give the error meant for a person, out of the group that tasks wrap it in; anything else goes on up."""
    found: Any = error
    while isinstance(found, BaseExceptionGroup):
        known = found.subgroup(CoilcallError)
        if known is None:
            raise error
        found = known.exceptions[0]
    assert isinstance(found, CoilcallError)
    return found


def _end(status: int, line: str = "") -> NoReturn:
    if line:
        click.echo(f"coilcall: {line}", err=True)
    sys.exit(status)
