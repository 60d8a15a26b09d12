"""`coilcall analyze`."""

from pathlib import Path

import click

from monitor.commands.common import json_option, rate_option, rated, setup_option


@click.command(short_help="Call the roll over a recording, as fast as the machine can.")
@click.argument("recording")
@setup_option
@json_option
@rate_option
def analyze(recording: str, setup_file: Path | None, as_json: bool, rate_hz: float | None) -> None:
    """Call the roll over RECORDING as fast as the machine can, and print the tally, flags, marks and findings.

    RECORDING is a folder made by `coilcall log`, or a CSV, WAV, NPY or NPZ file.
    """
    from monitor.analysis import analyze_recording, print_result

    print_result(analyze_recording(rated(recording, rate_hz), setup_file), recording, as_json=as_json)
