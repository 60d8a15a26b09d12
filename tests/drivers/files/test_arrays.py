import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.errors import CoilcallError
from drivers.address import parse_address
from drivers.files import arrays, open_file
from tests.drivers.files.reading import read

COUNTS = np.random.default_rng(3).integers(-30000, 30000, (5000, 3)).astype(np.int16)
VOLTS = COUNTS.T * 0.001
QUERY = "?rate=50000&volts_per_count=0.001"

LAYOUTS = {
    "samples first": COUNTS,
    "inputs first": np.ascontiguousarray(COUNTS.T),
    "samples first, columns together": np.asfortranarray(COUNTS),
    "inputs first, columns together": np.asfortranarray(COUNTS.T),
    "the other byte order": COUNTS.astype(">i2"),
    "32 bits": COUNTS.astype(np.int32),
    "64 bits": COUNTS.astype(np.int64),
    "volts": COUNTS * 0.001,
    "volts in 32 bits, the other byte order": (COUNTS * 0.001).astype(">f4"),
}


@pytest.mark.parametrize("samples", LAYOUTS.values(), ids=LAYOUTS.keys())
def test_the_same_samples_come_out_of_every_layout(
    samples: np.ndarray, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(arrays, "BLOCK_SAMPLES", 777)
    np.save(tmp_path / "road.npy", samples)
    np.savez(tmp_path / "road.npz", samples=samples, sample_rate_hz=50000, volts_per_count=0.001)
    np.savez_compressed(tmp_path / "small.npz", samples=samples, sample_rate_hz=50000.0, volts_per_count=[0.001] * 3)
    for name, query in (("road.npy", QUERY), ("road.npz", ""), ("small.npz", "")):
        reading = read(tmp_path / name, query)
        assert reading.info.sample_rate_hz == 50000.0
        assert reading.info.total_samples == 5000
        assert [channel.input for channel in reading.info.channels] == ["in1", "in2", "in3"]
        np.testing.assert_array_equal(reading.index, np.arange(5000))
        np.testing.assert_allclose(reading.volts, VOLTS, rtol=0.0, atol=2e-6)


def test_arrays_named_by_signal_become_labelled_inputs(tmp_path: Path) -> None:
    path = tmp_path / "road.npz"
    np.savez(path, feed=VOLTS[0], control=VOLTS[1].astype(np.float32), sample_rate_hz=50000)
    reading = read(path)
    assert [(c.input, c.label) for c in reading.info.channels] == [("in1", "feed"), ("in2", "control")]
    np.testing.assert_allclose(reading.volts, VOLTS[:2], atol=2e-6)


@pytest.mark.parametrize(("dtype", "low", "high"), [("i1", -128, 127), ("u1", 0, 255), ("u2", 0, 65535)])
def test_the_range_is_that_of_the_type(dtype: str, low: int, high: int, tmp_path: Path) -> None:
    path = tmp_path / "ends.npy"
    np.save(path, np.array([low, 1, high], dtype))
    reading = read(path, QUERY)
    channel = reading.info.channels[0]
    assert (channel.low_count, channel.high_count) == (low, high)
    np.testing.assert_allclose(reading.volts[0], [low * 0.001, 0.001, high * 0.001])


def test_not_a_number_is_a_lost_sample_and_infinity_the_end_of_the_range(tmp_path: Path) -> None:
    path = tmp_path / "lost.npy"
    np.save(path, np.array([[1.0, 2.0, np.nan, 4.0, np.inf], [1.0, 2.0, 3.0, 4.0, 5.0]]))
    reading = read(path, "?rate=1000")
    assert reading.gaps == [(2, 3)]
    assert reading.blocks[-1].counts[0, -1] == reading.info.channels[0].high_count


def test_closing_ends_the_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(arrays, "BLOCK_SAMPLES", 100)
    path = tmp_path / "road.npy"
    np.save(path, COUNTS)
    source = open_file(parse_address(f"{path}{QUERY}"))
    source.open()
    blocks = source.blocks()
    next(blocks)
    source.close()
    source.close()
    assert list(blocks) == []


def archived() -> bytes:
    content = io.BytesIO()
    np.savez_compressed(content, feed=VOLTS[0, :50], control=VOLTS[1, :50], sample_rate_hz=50000)
    return content.getvalue()


def single() -> bytes:
    content = io.BytesIO()
    np.save(content, COUNTS[:50])
    return content.getvalue()


@settings(max_examples=200)
@given(
    st.sampled_from([archived(), single()]),
    st.binary(max_size=40),
    st.integers(0, 900),
    st.integers(0, 40),
    st.booleans(),
)
def test_any_damage_is_read_or_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, good: bytes, junk: bytes, at: int, gone: int, is_cut: bool
) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.npz"
    path.write_bytes(good[:at] if is_cut else good[:at] + junk + good[at + gone :])
    outcome = f"{path}"
    try:
        read(path, QUERY)
    except CoilcallError as error:
        outcome = str(error)
    assert str(path) in outcome
    assert len(outcome.splitlines()) == 1
