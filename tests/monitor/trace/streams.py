"""Simulated engines fed through the real analysis into a trace store."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from drivers.simulated.faults import Fault
from drivers.simulated.scenario import constant
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer, Step
from monitor.hookup import Hookup
from monitor.setup import parse_setup
from monitor.trace.store import TraceStore

NOTHING = Step((), ())
RATE_HZ = 1000.0


def info(channels: int = 2) -> StreamInfo:
    inputs = tuple(ChannelInfo(f"in{n}", 0.001) for n in range(channels))
    return StreamInfo("test", RATE_HZ, inputs, np.dtype(np.int16))


def block(first_index: int, samples: int, channels: int = 2) -> SampleBlock:
    """Sample n of channel c reads n * 7 + c, wrapped into 16 bits, so that every sample says where it belongs."""
    values = np.arange(first_index, first_index + samples) * 7
    return SampleBlock(first_index, np.stack([(values + c).astype(np.int16) for c in range(channels)]))


def engine(
    *faults: Fault, duration_s: float = 3.0, inputs: Sequence[str] = ("supply", "control1", "acknowledgement")
) -> tuple[TraceStore, Hookup]:
    """A six at a steady 800 rpm, 20 kS/s, to its end."""
    steady = replace(constant(800.0), wander=0.0)
    source = SimulatedEngine(
        scenario=steady,
        faults=faults,
        inputs=tuple(inputs),
        sample_rate_hz=20_000,
        duration_s=duration_s,
    )
    stream = source.open()
    setup = parse_setup(stream.setup_toml or "", "simulated")
    analyzer, store = Analyzer(setup, stream), TraceStore(stream)
    for one in source.blocks():
        store.take(one, analyzer.feed(one))
    return store, Hookup.of(setup, stream)
