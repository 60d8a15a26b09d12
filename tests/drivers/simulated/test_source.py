"""The engine as a source: blocks, determinism, pace and end."""

import threading
import tracemalloc
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquire.block import SampleBlock
from acquire.clock import SystemClock
from acquire.errors import AddressError
from acquire.source import Source
from drivers.simulated.faults import Fault
from drivers.simulated.model import EngineModel
from drivers.simulated.scenario import constant, named
from drivers.simulated.source import SimulatedEngine

from .bench import FakeClock, drain, run

FAULTS = (
    Fault("no-answer", 4, probability=0.2),
    Fault("feed-dropout", probability=0.05),
    Fault("lost-samples", probability=0.05, duration_s=0.003),
    Fault("glitch", probability=0.2),
)


def _engine(block_samples: int | None, seed: int = 1) -> SimulatedEngine:
    return SimulatedEngine(
        None, named("snap"), FAULTS, seed=seed, duration_s=4.0, sample_rate_hz=20_000.0, block_samples=block_samples
    )


REFERENCE = _engine(None)
REFERENCE_BLOCKS = drain(REFERENCE)
REFERENCE_INDEX = np.concatenate([np.arange(b.first_index, b.end_index) for b in REFERENCE_BLOCKS])
REFERENCE_COUNTS = np.concatenate([b.counts for b in REFERENCE_BLOCKS], axis=1)


@given(block_samples=st.integers(20, 100_000))
@settings(max_examples=20)
def test_samples_and_truth_are_the_same_however_blocks_are_cut(block_samples: int) -> None:
    engine = _engine(block_samples)
    blocks = drain(engine)
    assert all(0 < b.samples <= block_samples for b in blocks)
    assert all(a.end_index <= b.first_index for a, b in pairwise(blocks))
    index = np.concatenate([np.arange(b.first_index, b.end_index) for b in blocks])
    np.testing.assert_array_equal(index, REFERENCE_INDEX)
    np.testing.assert_array_equal(np.concatenate([b.counts for b in blocks], axis=1), REFERENCE_COUNTS)
    assert engine.truth() == REFERENCE.truth()
    assert engine.events() == REFERENCE.events()


def test_another_seed_gives_other_samples() -> None:
    other = np.concatenate([b.counts for b in drain(_engine(None, seed=2))], axis=1)
    size = min(other.shape[1], REFERENCE_COUNTS.shape[1])
    assert not np.array_equal(other[:, :size], REFERENCE_COUNTS[:, :size])


def test_it_is_a_source_that_says_what_is_coming() -> None:
    engine = SimulatedEngine(duration_s=2.0, sample_rate_hz=50_000.0)
    assert isinstance(engine, Source)
    info = engine.open()
    assert (info.is_live, info.total_samples, info.started_utc, info.started_monotonic_s) == (
        False,
        100_000,
        None,
        None,
    )
    assert [c.input for c in info.channels] == ["in1", "in2", "in3"]
    assert sum(b.samples for b in engine.blocks()) == 100_000


def test_truth_reaches_as_far_as_the_samples_handed_out() -> None:
    engine = SimulatedEngine(duration_s=60.0, sample_rate_hz=20_000.0, block_samples=1000)
    engine.open()
    blocks = engine.blocks()
    assert engine.truth() == ()
    for _ in range(10):
        next(blocks)
    assert 0.3 < engine.truth()[-1].spark_s < 0.5


def test_a_paced_engine_hands_each_block_over_when_its_last_sample_is_due() -> None:
    clock = FakeClock()
    engine = SimulatedEngine(duration_s=3.0, sample_rate_hz=10_000.0, clock=clock)
    info = engine.open()
    assert info.is_live
    assert info.started_monotonic_s == 1000.0
    assert info.started_utc == clock.utc()
    for block in engine.blocks():
        assert clock.now() - 1000.0 == pytest.approx(block.end_index / 10_000.0)
        assert block.samples <= 200
    assert max(clock.waits) <= 0.5


def test_a_paced_engine_that_is_late_catches_up_without_waiting_or_losing() -> None:
    clock = FakeClock()
    engine = SimulatedEngine(duration_s=2.0, sample_rate_hz=10_000.0, clock=clock)
    engine.open()
    clock.seconds += 2.0
    assert sum(b.samples for b in engine.blocks()) == 20_000
    assert clock.waits == []


def test_close_from_another_thread_ends_a_wait_at_once() -> None:
    engine = SimulatedEngine(sample_rate_hz=10_000.0, clock=SystemClock(), block_samples=100_000)
    engine.open()
    thread = threading.Thread(target=lambda: list(engine.blocks()), daemon=True)
    thread.start()
    engine.close()
    engine.close()
    thread.join(0.5)
    assert not thread.is_alive()


def test_an_engine_that_was_closed_gives_no_more_blocks() -> None:
    engine = SimulatedEngine(block_samples=500)
    engine.open()
    blocks = engine.blocks()
    next(blocks)
    engine.close()
    assert list(blocks) == []


def _advance(blocks: Iterator[SampleBlock], time_s: float) -> None:
    while next(blocks).end_index < 1000.0 * time_s:
        pass


def test_memory_stays_flat_and_truth_bounded_without_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.simulated.source._KEPT", 300)
    engine = SimulatedEngine(EngineModel(), constant(1200.0), FAULTS, sample_rate_hz=1000.0)
    engine.open()
    blocks = engine.blocks()
    tracemalloc.start()
    _advance(blocks, 21.0)
    before = tracemalloc.get_traced_memory()[0]
    _advance(blocks, 42.0)
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    assert 100 < len(engine.truth()) <= 300
    assert grown < 100_000


def test_nothing_is_torn_where_two_chunks_meet(monkeypatch: pytest.MonkeyPatch) -> None:
    def drawn() -> NDArray[np.signedinteger[Any]]:
        faults = (Fault("weak-pull-up", value=50e3), Fault("glitch", value=2e-5, probability=0.5), *FAULTS[:2])
        inputs = ("supply", "control1", "acknowledgement", "injector1", "current", "ground", "battery")
        engine = SimulatedEngine(
            None, named("crank-and-idle"), faults, inputs=inputs, noise_v=0.0, duration_s=5.0, sample_rate_hz=30_000.0
        )
        return np.concatenate([b.counts for b in drain(engine)], axis=1)

    large = drawn()
    monkeypatch.setattr("drivers.simulated.instrument._MOST_SAMPLES", 256)
    np.testing.assert_allclose(drawn(), large, atol=1)


@pytest.mark.parametrize(
    ("bits", "dtype"), [(8, np.int8), (8, np.int16), (12, np.int16), (16, np.int16), (24, np.int32)]
)
def test_counts_keep_to_the_converter_and_clip_at_its_ends(bits: int, dtype: type) -> None:
    done = run(bits=bits, dtype=dtype, input_range_v=3.0, inputs=("control1", "supply"))
    half = 2 ** (bits - 1)
    assert done.info.dtype == np.dtype(dtype)
    assert (done.info.channels[0].low_count, done.info.channels[0].high_count) == (-half, half - 1)
    assert done.volts["supply"] == pytest.approx(3.0 * (half - 1) / half)
    assert done.volts["control1"].max() == pytest.approx(3.0 * (half - 1) / half)


def test_noise_is_as_strong_as_asked_and_differs_between_inputs() -> None:
    done = run(scenario=named("stop"), inputs=("battery", "ground"), noise_v=0.02, duration_s=8.0)
    battery, ground = (done.between(name, 7.5, 8.0) for name in ("battery", "ground"))
    assert np.std(ground) == pytest.approx(0.02, rel=0.03)
    assert abs(np.corrcoef(battery, ground)[0, 1]) < 0.02


@pytest.mark.parametrize(
    "wrong",
    [
        {"sample_rate_hz": 10.0},
        {"sample_rate_hz": float("nan")},
        {"bits": 1},
        {"bits": 17},
        {"dtype": np.float32},
        {"dtype": np.uint16},
        {"inputs": ()},
        {"inputs": ("supply", "supply")},
        {"inputs": ("control",)},
        {"inputs": ("control7",)},
        {"inputs": ("acknowledgement2",)},
        {"inputs": ("supply3",)},
        {"noise_v": -1.0},
        {"duration_s": 0.0},
        {"block_samples": -1},
        {"seed": -1},
        {"input_range_v": -5.0},
        {"faults": (Fault("no-call", 7),)},
    ],
)
def test_an_engine_nobody_can_run_is_refused_in_one_line(wrong: dict[str, object]) -> None:
    with pytest.raises(AddressError, match="simulated engine") as caught:
        SimulatedEngine(EngineModel(), **wrong)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)
