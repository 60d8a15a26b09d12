"""Helpers: run an engine to its end and look at its wires as an independent reader would."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.block import SampleBlock, StreamInfo
from drivers.simulated.faults import Fault
from drivers.simulated.model import Acknowledgement, Advance, EngineModel
from drivers.simulated.scenario import Scenario, constant
from drivers.simulated.source import SimulatedEngine

Volts = NDArray[np.float64]


@dataclass
class FakeClock:
    """Time that passes only by waiting for it."""

    seconds: float = 1000.0
    waits: list[float] = field(default_factory=list)

    def now(self) -> float:
        return self.seconds

    def utc(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=self.seconds)

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        self.waits.append(seconds)
        self.seconds += seconds
        return stop.is_set()


@dataclass(frozen=True)
class Run:
    engine: SimulatedEngine
    info: StreamInfo
    volts: dict[str, Volts]
    rate_hz: float

    def at(self, name: str, time_s: float) -> float:
        """Volts at the sample nearest to a time."""
        return float(self.volts[name][round(time_s * self.rate_hz)])

    def between(self, name: str, start_s: float, end_s: float) -> Volts:
        return self.volts[name][round(start_s * self.rate_hz) : round(end_s * self.rate_hz)]


def run(
    model: EngineModel | None = None, scenario: Scenario | None = None, faults: Sequence[Fault] = (), **rest: object
) -> Run:
    """Draw all samples of an engine without gaps; volts at the wire by signal name."""
    settings: dict[str, Any] = {"noise_v": 0.0, "duration_s": 1.0, **rest}
    engine = SimulatedEngine(model, scenario, faults, **settings)
    info = engine.open()
    counts = np.concatenate([block.counts for block in engine.blocks()], axis=1)
    scales = {"injector": 10.0, "current": 10.0}
    volts = {
        c.label: (counts[i] * c.volts_per_count + c.offset_v) * scales.get(c.label.rstrip("0123456789"), 1.0)
        for i, c in enumerate(info.channels)
    }
    return Run(engine, info, volts, info.sample_rate_hz)


def drain(engine: SimulatedEngine) -> list[SampleBlock]:
    engine.open()
    return [SampleBlock(block.first_index, block.counts.copy()) for block in engine.blocks()]


def crossings(volts: Volts, level_v: float, rate_hz: float, *, rising: bool) -> NDArray[np.float64]:
    """Times at which a line drawn through the samples crosses a level."""
    above = volts >= level_v
    before = np.flatnonzero((~above[:-1] & above[1:]) if rising else (above[:-1] & ~above[1:]))
    share = (level_v - volts[before]) / (volts[before + 1] - volts[before])
    return np.asarray((before + share) / rate_hz)


def steady(volts: float, rpm: float = 800.0) -> Scenario:
    """One speed and one battery voltage, to the letter."""
    return Scenario(constant(rpm).knots, wander=0.0, battery_v=((0.0, volts),))


def plain(low_a: float = 2.0, high_a: float = 4.0, **rest: object) -> EngineModel:
    """An engine without jitter or feed resistance, for comparison with tables."""
    settings: dict[str, Any] = {
        "feed_resistance_ohm": 0.0,
        "advance": Advance(jitter_deg=0.0),
        "acknowledgement": Acknowledgement(low_a=low_a, high_a=high_a),
    }
    return EngineModel(**{**settings, **rest})
