"""An engine at the inputs of a digitizer on the net, to a recording, to what the analysis says of it."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.pump import pumping
from acquire.recording import RecordingWriter
from acquire.source import Source
from drivers.registry import source_for
from drivers.simulated.faults import Fault
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.firing.records import Firing, Outcome
from monitor.flags import Flag, Kind
from monitor.setup import parse_setup
from tests.drivers.scpi.server import RANGE_V, Digitizer, Server, serving

RATE_HZ = 50_000.0
SAMPLES = 600_000
INPUTS = ("supply", "control1", "acknowledgement", "control3")
Entries = tuple[list[Firing], list[Flag], float]
"""Firings, flags and coverage."""


@cache
def engine() -> tuple[StreamInfo, Counts]:
    """Twelve seconds of a six at idle whose cylinder 4 does not answer for two of them."""
    faults = [Fault("no-answer", 4, start_s=3.0, end_s=5.0)]
    simulated = SimulatedEngine(
        faults=faults,
        inputs=INPUTS,
        sample_rate_hz=RATE_HZ,
        input_range_v=RANGE_V,
        duration_s=SAMPLES / RATE_HZ,
    )
    info = simulated.open()
    return info, np.concatenate([block.counts for block in simulated.blocks()], axis=1)


async def record(server: Server, folder: Path, **options: object) -> None:
    """Record from the instrument until all of the engine's samples have gone by."""
    source = source_for(server.address(dialect="example-stream", rate=RATE_HZ, range_v=RANGE_V, **options))
    async with pumping(source) as (info, ring):
        kept = replace(info, setup_toml=engine()[0].setup_toml)
        with ring.reader() as reader, RecordingWriter(folder, kept) as writer:
            async for block in reader:
                writer.write(block)
                if block.end_index >= SAMPLES:
                    break
            assert reader.statistics().samples_lost == 0


def analysed(info: StreamInfo, blocks: Iterable[SampleBlock]) -> Entries:
    analyzer = Analyzer(parse_setup(engine()[0].setup_toml or "", "simulated"), info)
    firings: list[Firing] = []
    flags: dict[int, Flag] = {}
    for step in (*map(analyzer.feed, blocks), analyzer.finish()):
        firings += step.firings
        flags.update((flag.number, flag) for flag in step.flags)
    return firings, [flags[number] for number in sorted(flags)], analyzer.snapshot().coverage


def analysed_source(source: Source) -> Entries:
    return analysed(source.open(), source.blocks())


def analysed_file(folder: Path, spans: Sequence[tuple[int, int]]) -> Entries:
    """Read the same samples from a file, and leave out all but these spans."""
    path = folder / "engine.npy"
    np.save(path, engine()[1])
    source = source_for(f"{path}?rate={RATE_HZ}&volts_per_count={RANGE_V / 32768}")
    info = source.open()
    pieces = (piece for block in source.blocks() for piece in inside(block, spans))
    return analysed(info, pieces)


def inside(block: SampleBlock, spans: Sequence[tuple[int, int]]) -> Iterable[SampleBlock]:
    for first, end in spans:
        start, stop = max(first, block.first_index), min(end, block.end_index)
        if start < stop:
            yield SampleBlock(start, block.counts[:, start - block.first_index : stop - block.first_index])


async def test_what_was_streamed_is_analysed_as_the_same_samples_from_a_file(tmp_path: Path) -> None:
    with serving(Digitizer(engine()[1], RATE_HZ, step=7777)) as server:
        await record(server, tmp_path / "road")
    firings, flags, coverage = analysed_source(source_for(str(tmp_path / "road")))
    assert (firings, flags, coverage) == analysed_file(tmp_path, [(0, SAMPLES)])
    assert coverage == 1.0
    missed = [firing.cylinder for firing in firings if firing.outcome is Outcome.UNACKNOWLEDGED]
    assert missed
    assert set(missed) == {4}
    assert {flag.kind for flag in flags} == {Kind.MISSING_ACKNOWLEDGEMENT}


@pytest.mark.parametrize("dead", [350, 3500, 20_000])
async def test_what_came_in_frames_is_analysed_as_that_less_what_fell_in_dead_time(tmp_path: Path, dead: int) -> None:
    frame = 50_000
    with serving(Digitizer(engine()[1], RATE_HZ, dead=dead, most_points=frame)) as server:
        server.digitizer.counts = np.pad(engine()[1], ((0, 0), (0, frame + dead)), mode="edge")
        await record(server, tmp_path / "road", mode="frames", frame_s=frame / RATE_HZ)
    spans = [(first, first + frame) for first in range(0, SAMPLES, frame + dead)]
    read = source_for(str(tmp_path / "road"))
    info = read.open()
    firings, flags, coverage = analysed(
        info, (piece for block in read.blocks() for piece in inside(block, [(0, SAMPLES)]))
    )
    assert (firings, flags, coverage) == analysed_file(tmp_path, spans)
    seen = sum(min(end, SAMPLES) - first for first, end in spans)
    assert coverage == pytest.approx(seen / min(spans[-1][1], SAMPLES))
    lost = [flag for flag in flags if flag.kind is Kind.LOST_SAMPLES]
    gaps = [(end / RATE_HZ, first / RATE_HZ) for (_, end), (first, _) in pairwise(spans)]
    assert [(flag.start_s, flag.end_s) for flag in lost][: len(gaps)] == gaps
