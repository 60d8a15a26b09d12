"""A recording from end to end, as fast as the machine can: no ring, no screen."""

import json
from collections.abc import Iterator
from pathlib import Path

import click

from acquire.block import SampleBlock, StreamInfo
from acquire.source import Source
from drivers.registry import source_for
from monitor.analyzer import Analyzer, Step
from monitor.choice import choose_setup
from monitor.flags import Flag
from monitor.summary import summarize
from monitor.terminal import progress, result_console


def analyze_recording(address: str, setup_file: Path | None) -> tuple[Analyzer, list[Flag]]:
    """The analyzer after its last sample, and every flag by number.

    Raises AddressError, FormatError, SetupError, SourceLost.
    """
    source = source_for(address)
    try:
        info = source.open()
        analyzer = Analyzer(choose_setup(info, setup_file), info)
        flags: dict[int, Flag] = {}
        for block in _with_progress(source, info):
            flags |= _by_number(analyzer.feed(block))
        flags |= _by_number(analyzer.finish())
    finally:
        source.close()
    return analyzer, [flags[number] for number in sorted(flags)]


def _by_number(step: Step) -> dict[int, Flag]:
    return {flag.number: flag for flag in step.flags}


def _with_progress(source: Source, info: StreamInfo) -> Iterator[SampleBlock]:
    """The source's blocks, with a bar on stderr where that is a terminal."""
    with progress("calling the roll", info.total_samples) as advance:
        for block in source.blocks():
            yield block
            advance(block.end_index)


def print_result(analyzer: Analyzer, name: str, flags: list[Flag], *, as_json: bool) -> None:
    """The summary on stdout: one JSON object, or a table."""
    summary = summarize(analyzer, name, flags)
    if as_json:
        click.echo(json.dumps(summary))
        return
    from monitor.table import print_summary

    print_summary(summary, analyzer.standing, result_console())
