"""`coilcall watch`."""

import sys
from pathlib import Path
from typing import NoReturn

import click

from monitor.commands.common import CAUTIONS_AS_THEY_STAND, alerts_option, needs_terminal, setup_option
from monitor.commands.mqtt_options import MqttOptions, mqtt_options
from monitor.publish.address import is_broker

DEMONSTRATION = (
    "simulated:?cylinders=6&order=1-4-2-5-3-6&rate=50000&inputs=supply,control1,acknowledgement&scenario=idle&pace=1"
    "&fault=no-answer,cylinder=4,probability=0.02"
)
"""What `watch` runs without an address: a six at idle whose cylinder 4 does not answer now and then."""


@click.command(short_help="Watch a live source, or the simulated engine.", epilog=CAUTIONS_AS_THEY_STAND)
@click.argument("address", default=DEMONSTRATION, metavar="[ADDRESS]")
@setup_option
@click.option(
    "--record",
    "folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Record to this new folder as well; --mqtt needs it, for what is published is what the ledger holds.",
)
@click.option("--flex", "flexes", is_flag=True, help="Begin with the flex test: count and ring what lets go.")
@click.option(
    "--serve",
    "served_at",
    metavar="[HOST:]PORT",
    help="Show it in browsers too, or in browsers alone where there is no terminal. A port alone is reached from this "
    "machine only; with 0.0.0.0: before it, anyone on the network can look and set marks; no password, no encryption.",
)
@alerts_option
@mqtt_options
def watch(
    address: str, setup_file: Path | None, folder: Path | None, flexes: bool, served_at: str | None, mqtt: MqttOptions
) -> None:
    """Watch ADDRESS on a live screen: one lane per cylinder, the latest flags, the state of the source.

    Without ADDRESS a simulated six-cylinder engine runs at idle, and its cylinder 4 does not answer now and then. With
    mqtt://HOST/TOPIC-ROOT it looks on where somebody else publishes: roll call and flags, no samples.
    """
    if is_broker(address):
        _look_on(address, mqtt, is_plain=(setup_file, folder, flexes, served_at) == (None, None, False, None))
    from monitor.browser.place import place_from
    from monitor.live import Options
    from monitor.watch import run

    place = place_from(served_at) if served_at is not None else None
    if flexes:
        needs_terminal("leave --flex out and use --serve 8000 or log here")
    elif place is None:
        needs_terminal("use --serve 8000 or log here")
    if mqtt.address is not None and folder is None:
        raise click.UsageError("what is published is what the ledger holds: --mqtt needs --record FOLDER")
    options = Options(setup_file, folder)
    sys.exit(run(address, options, flexes=flexes, place=place, broker=mqtt.publishing()))


def _look_on(address: str, mqtt: MqttOptions, *, is_plain: bool) -> NoReturn:
    """Be the second screen of somebody who publishes."""
    if not is_plain:
        raise click.UsageError("over a broker come no samples: leave --setup, --record, --flex and --serve out")
    needs_terminal("any MQTT client shows here what is published")
    access = mqtt.watching(address)
    from monitor.publish.second_screen import run

    sys.exit(run(access))
