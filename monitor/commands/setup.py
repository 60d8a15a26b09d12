"""`coilcall setup`."""

import sys
from pathlib import Path

import click

from monitor.commands.common import CAUTIONS_AS_THEY_STAND


@click.command(short_help="Ask which engine and which wires, and write the set-up file.", epilog=CAUTIONS_AS_THEY_STAND)
@click.argument("file", type=click.Path(path_type=Path), default="setup.toml", metavar="[FILE]")
@click.option(
    "--from", "address", metavar="ADDRESS", help="Look at this source or recording for some seconds, and propose."
)
@click.option("--order", metavar="ORDER", help="The firing order, such as 1-3-4-2; it says how many cylinders as well.")
@click.option(
    "--wire",
    "wires",
    multiple=True,
    metavar="INPUT=WIRE",
    help="What an input is on, such as in1=feed:x10, in2=control:1, in3=answers; once for each. "
    "They win over what is proposed; without --from there are no others.",
)
@click.option("--waste-spark", is_flag=True, help="One coil serves two cylinders.")
@click.option("--yes", is_flag=True, help="Ask nothing: take the usual answer where none was given.")
@click.option("--force", is_flag=True, help="Replace FILE if it is there.")
def setup(
    file: Path,
    address: str | None,
    order: str | None,
    wires: tuple[str, ...],
    *,
    waste_spark: bool,
    yes: bool,
    force: bool,
) -> None:
    """Ask which engine it is and what is connected to which input, draw the wiring, and write FILE (setup.toml).

    With --from, what each input looks like is said, and how surely: firm, likely, or a guess. Without a terminal
    nothing is asked: then --order and --wire say what is needed.
    """
    from monitor.wizard.run import Wishes, run

    asks = sys.stdin.isatty() and not yes
    run(Wishes(file, address, order, wires, waste_spark, asks, force))
