"""Sound files; what they hold is written by the standard library's wave module where it can."""

import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.errors import CoilcallError
from drivers.address import parse_address
from drivers.files import open_file, sound
from tests.drivers.files.reading import read

COUNTS = np.random.default_rng(2).integers(-(2**15), 2**15, (5000, 3)).astype(np.int16)


def write_wave(path: Path, width: int) -> None:
    """Write COUNTS, left-justified in `width` bytes."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(3)
        file.setsampwidth(width)
        file.setframerate(48000)
        content = (COUNTS.astype("<i4") << 16).reshape(-1, 1).view(np.uint8)[:, 4 - width :]
        file.writeframes(content.tobytes())


@pytest.mark.parametrize(("width", "counts"), [(2, np.int16), (3, np.int32), (4, np.int32)])
def test_full_scale_of_every_width_is_one_volt(
    width: int, counts: type[np.signedinteger], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sound, "FRAMES", 777)
    path = tmp_path / "road.wav"
    write_wave(path, width)
    reading = read(path)
    assert reading.info.sample_rate_hz == 48000.0
    assert reading.info.total_samples == 5000
    assert reading.info.dtype == counts
    assert [channel.input for channel in reading.info.channels] == ["in1", "in2", "in3"]
    np.testing.assert_array_equal(reading.index, np.arange(5000))
    np.testing.assert_array_equal(reading.volts, COUNTS.T / 32768.0)


@pytest.mark.parametrize(("subtype", "bits"), [("PCM_U8", 8), ("PCM_16", 16), ("PCM_24", 24), ("PCM_32", 32)])
def test_the_ends_of_the_range_are_the_ends_of_the_counts(subtype: str, bits: int, tmp_path: Path) -> None:
    path = tmp_path / "ends.wav"
    soundfile.write(path, np.array([-1.0, 1.0, 0.0]), 8000, subtype=subtype)
    reading = read(path)
    channel = reading.info.channels[0]
    counts = reading.blocks[0].counts[0]
    assert (counts[0], counts[1]) == (channel.low_count, channel.high_count)
    assert channel.high_count * channel.volts_per_count == pytest.approx(1.0 - 2.0 / 2**bits)


def test_floating_point_may_go_beyond_full_scale(tmp_path: Path) -> None:
    path = tmp_path / "float.wav"
    soundfile.write(path, np.array([0.25, -14.125, 1e9]), 8000, subtype="FLOAT")
    reading = read(path, "?rate=20000")
    assert reading.info.sample_rate_hz == 20000.0
    np.testing.assert_allclose(reading.volts[0], [0.25, -14.125, (2**31 - 1) * 1e-6])


def test_compressed_sound_without_loss_reads_the_same(tmp_path: Path) -> None:
    path = tmp_path / "road.flac"
    soundfile.write(path, COUNTS, 48000, subtype="PCM_16")
    np.testing.assert_array_equal(read(path).volts, COUNTS.T / 32768.0)


def test_closing_ends_the_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sound, "FRAMES", 100)
    path = tmp_path / "road.wav"
    write_wave(path, 2)
    source = open_file(parse_address(str(path)))
    source.open()
    blocks = source.blocks()
    next(blocks)
    source.close()
    source.close()
    assert list(blocks) == []


@settings(max_examples=100)
@given(st.binary(max_size=60), st.integers(0, 60), st.integers(0, 60), st.integers(0, 30_044))
def test_any_damage_is_read_or_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, junk: bytes, at: int, gone: int, cut: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.wav"
    write_wave(path, 2)
    good = path.read_bytes()
    path.write_bytes((good[:at] + junk + good[at + gone :])[:cut])
    outcome = f"{path}"
    try:
        read(path)
    except CoilcallError as error:
        outcome = str(error)
    assert str(path) in outcome
    assert len(outcome.splitlines()) == 1
