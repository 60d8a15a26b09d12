"""The simulated engine as a source of samples."""

import dataclasses
import itertools
import math
import threading
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import DTypeLike

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.clock import Clock
from acquire.errors import AddressError
from drivers.simulated.bench import Bench
from drivers.simulated.crank import Crank
from drivers.simulated.draws import uniform
from drivers.simulated.faults import Fault, FaultBook
from drivers.simulated.instrument import Instrument
from drivers.simulated.model import EngineModel, require
from drivers.simulated.running import Running
from drivers.simulated.scenario import Scenario, named
from drivers.simulated.signals import setup_text, signal
from drivers.simulated.truth import TrueEvent, TrueFiring
from drivers.simulated.verdict import Verdicts

THREE_LEADS = ("supply", "control1", "acknowledgement")
_KEPT = 10_000
_LIVE_BLOCK_S = 0.02
_LONGEST_WAIT_S = 0.25
_TAIL_S = 0.01
"""Longer than anything is drawn after it has ended."""


class SimulatedEngine:
    """A Source. The same arguments give the same samples and the same truth, however the blocks are cut.

    With a `clock` it is live: blocks come when their last sample's time has come. Without, as fast as they are drawn.
    `duration_s` None means for ever (the scenario's last speed goes on); then the truth keeps its last 10,000 rows.
    `noise_v` is RMS, `hum_v` the amplitude of mains hum, both at the input. `input_range_v` (+-) replaces each signal's
    own range.
    """

    def __init__(
        self,
        model: EngineModel | None = None,
        scenario: Scenario | None = None,
        faults: Sequence[Fault] = (),
        *,
        inputs: Sequence[str] = THREE_LEADS,
        sample_rate_hz: float = 100_000.0,
        seed: int = 1,
        noise_v: float = 0.005,
        hum_v: float = 0.0,
        dtype: DTypeLike = np.int16,
        bits: int = 16,
        input_range_v: float | None = None,
        duration_s: float | None = None,
        clock: Clock | None = None,
        block_samples: int | None = None,
        address: str = "simulated:",
    ) -> None:
        self._model = model or EngineModel()
        self._scenario = scenario or named("idle")
        self._clock, self._address, self._seed = clock, address, seed
        signals = tuple(signal(name, self._model, input_range_v) for name in inputs)
        self._instrument = Instrument(sample_rate_hz, signals, bits, noise_v, _signed(dtype), hum_v)
        require(0 <= seed < 2**63, "seed: a whole number, 0 or more")
        require(block_samples is None or block_samples > 0, "block: above 0 samples")
        require(duration_s is None or 1.0 <= duration_s * sample_rate_hz < 1e13, "duration: at least one sample")
        self._total = None if duration_s is None else round(duration_s * sample_rate_hz)
        usual = round(_LIVE_BLOCK_S * sample_rate_hz) if clock else self._instrument.chunk
        self._block_samples = block_samples or usual
        self._stop = threading.Event()
        self._started_s: float | None = None
        self._book = FaultBook(tuple(self._placed(fault) for fault in faults), seed)
        end_s = math.inf if self._total is None else self._total / sample_rate_hz
        self._verdicts = Verdicts(self._model, self._book, signals, end_s, _KEPT if duration_s is None else None)
        self._handed = 0
        start_rev = float(uniform(seed, 2, np.arange(1))[0]) * self._model.cycle_deg / 360.0
        firings_per_rev = self._model.cylinders * 360.0 / self._model.cycle_deg
        crank = Crank(self._scenario, firings_per_rev, start_rev, seed)
        self._running = Running(self._model, crank, self._book, self._verdicts, seed)
        self._bench = Bench(self._model, self._instrument, crank, self._book, seed)

    def open(self) -> StreamInfo:
        """Start the clock, if there is one."""
        self._started_s = self._clock.now() if self._clock else None
        return StreamInfo(
            source=self._address,
            sample_rate_hz=self._instrument.sample_rate_hz,
            channels=self._instrument.channels(),
            dtype=self._instrument.dtype,
            is_live=self._clock is not None,
            total_samples=self._total,
            started_monotonic_s=self._started_s,
            started_utc=self._clock.utc() if self._clock else None,
            setup_toml=setup_text(self._model, self._instrument.signals),
        )

    def blocks(self) -> Iterator[SampleBlock]:
        """Give all blocks, none longer than asked, none across a chunk; the index jumps over lost samples."""
        for first in itertools.count(0, self._instrument.chunk):
            whole = first + self._instrument.chunk
            end = whole if self._total is None else min(whole, self._total)
            if end <= first:
                return
            counts = self._draw(first, whole)
            for start, stop in self._spans(first, end):
                if not self._wait_for(stop):
                    return
                self._handed = stop
                yield SampleBlock(start, counts[:, start - first : stop - first])
            self._handed = end

    def close(self) -> None:
        """End `blocks` soon, also out of a wait."""
        self._stop.set()

    def truth(self) -> tuple[TrueFiring, ...]:
        """Give the firings up to what has been handed out, in order of spark."""
        handed_s = self._handed / self._instrument.sample_rate_hz
        rows = [f for f in list(self._verdicts.firings) if 0.0 <= f.spark_s < handed_s]
        return tuple(sorted(rows, key=lambda f: f.spark_s))

    def events(self) -> tuple[TrueEvent, ...]:
        """Give faults' windows and strokes and cuts that began in what has been handed out, in order of start."""
        handed_s = self._handed / self._instrument.sample_rate_hz
        running = self._running.all_cut()
        known = [*list(self._verdicts.events), *([running] if running else [])]
        return tuple(sorted((e for e in known if e.start_s < handed_s), key=lambda e: e.start_s))

    def _draw(self, first: int, end: int) -> Counts:
        rate_hz = self._instrument.sample_rate_hz
        self._running.forget(first / rate_hz - _TAIL_S)
        self._running.until(end / rate_hz)
        return self._bench.draw(first // self._instrument.chunk, self._running.traces)

    def _spans(self, first: int, end: int) -> Iterator[tuple[int, int]]:
        """Cut the samples of [first, end) that are not lost into pieces no longer than a block."""
        start = first
        for lost_start, lost_end in [*self._lost(first, end), (end, end)]:
            for at in range(start, lost_start, self._block_samples):
                yield at, min(at + self._block_samples, lost_start)
            start = max(start, lost_end)

    def _lost(self, first: int, end: int) -> list[tuple[int, int]]:
        rate_hz = self._instrument.sample_rate_hz
        edges = [(w.start_s * rate_hz, min(w.end_s * rate_hz, end)) for w in self._book.of("lost-samples")]
        spans = [(max(math.ceil(a), first), math.ceil(b)) for a, b in edges if a <= end]
        return sorted(span for span in spans if span[0] < span[1])

    def _wait_for(self, index: int) -> bool:
        """Let the clock come to sample `index`; False once closed."""
        while self._clock is not None and self._started_s is not None and not self._stop.is_set():
            ahead_s = self._started_s + index / self._instrument.sample_rate_hz - self._clock.now()
            if ahead_s <= 0.0:
                break
            self._clock.wait(min(ahead_s, _LONGEST_WAIT_S), self._stop)
        return not self._stop.is_set()

    def _placed(self, fault: Fault) -> Fault:
        """Name the fault's cylinder as the coil that cylinder hangs on."""
        if fault.cylinder is None:
            return fault
        if fault.cylinder not in self._model.firing_order:
            raise AddressError(f"simulated engine: fault={fault.kind}: cylinder 1 to {self._model.cylinders}")
        return dataclasses.replace(fault, cylinder=self._model.coil_of(fault.cylinder))


def _signed(dtype: DTypeLike) -> np.dtype[np.signedinteger[Any]]:
    wanted: np.dtype[Any] = np.dtype(dtype)
    if wanted.kind != "i":
        raise AddressError(f"simulated engine: dtype={wanted}: int8, int16 or int32")
    return wanted
