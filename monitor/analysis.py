"""A recording from end to end, as fast as the machine can: no ring, no screen."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import click

from acquire.block import SampleBlock, StreamInfo
from acquire.errors import AddressError
from acquire.source import Source
from drivers.registry import source_for
from monitor.analyzer import Analyzer, Step
from monitor.choice import choose_setup
from monitor.flags import Flag
from monitor.marks import Mark, marks_of
from monitor.presses import Press, buttons_of
from monitor.recorded import recorded_beside
from monitor.summary import summarize
from monitor.terminal import progress, result_console
from monitor.text import counted, plain


@dataclass(frozen=True, slots=True)
class Analysis:
    """The analyzer after its last sample, every flag by number, every mark in the order of time."""

    analyzer: Analyzer
    flags: list[Flag]
    marks: list[Mark]


def analyze_recording(address: str, setup_file: Path | None) -> Analysis:
    """Analyse all of it. Marks set by hand are in the ledger beside the samples; where it gives none, stderr says why.

    Raises AddressError, FormatError, SetupError, SourceLost.
    """
    source = source_for(address)
    recorded = recorded_beside(address)
    try:
        info = source.open()
        if info.is_live and info.total_samples is None:
            raise AddressError(f"{address} has no end; watch or log it, and analyze what was logged")
        analyzer = Analyzer(choose_setup(info, setup_file), info, recorded.begins)
        flags: dict[int, Flag] = {}
        presses: list[Press] = []
        for step in _steps(analyzer, _with_progress(source, info)):
            flags.update((flag.number, flag) for flag in step.flags)
            presses += step.presses
    finally:
        source.close()
    remark = recorded.remark
    if recorded.flags and analyzer.standing.first_index is None:
        remark = f"the {counted(len(recorded.flags), 'flag')} of its ledger cannot be found again"
    if remark:
        click.echo(f"coilcall: {plain(remark)}", err=True)
    marks = marks_of(recorded.marks, presses, buttons_of(analyzer.hookup))
    return Analysis(analyzer, [flags[number] for number in sorted(flags)], marks)


def _steps(analyzer: Analyzer, blocks: Iterable[SampleBlock]) -> Iterator[Step]:
    yield from map(analyzer.feed, blocks)
    yield analyzer.finish()


def _with_progress(source: Source, info: StreamInfo) -> Iterator[SampleBlock]:
    """The source's blocks, with a bar on stderr where that is a terminal."""
    with progress("calling the roll", info.total_samples) as advance:
        for block in source.blocks():
            yield block
            advance(block.end_index)


def print_result(found: Analysis, name: str, *, as_json: bool) -> None:
    """The summary on stdout: one JSON object, or a table."""
    summary = summarize(found.analyzer, name, found.flags, found.marks)
    if as_json:
        click.echo(json.dumps(summary))
        return
    from monitor.table import print_summary

    label = found.analyzer.hookup.setup.vehicle.label
    print_summary(summary, found.analyzer.standing, result_console(), label)
