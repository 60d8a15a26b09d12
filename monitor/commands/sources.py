"""`coilcall sources`."""

import click

from monitor.commands.common import json_option


@click.command(short_help="Say what is plugged in and what can be opened, with addresses.")
@json_option
def sources(as_json: bool) -> None:
    """List serial ports, VISA instruments and installed drivers, each with the address to paste after watch or log.

    Says what is missing where something cannot be used. Opens nothing; instruments on the network are asked for by
    broadcast.
    """
    from monitor.sources import print_sources

    print_sources(as_json=as_json)
