"""Every kind of file may be closed from another thread, at any moment."""

import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import soundfile

from acquire.source import Source
from drivers.address import parse_address
from drivers.files import open_file

SAMPLES = np.random.default_rng(4).integers(-3000, 3000, (60_000, 2)).astype(np.int16)


@pytest.fixture(params=["road.csv", "road.wav", "road.npy", "road.npz"])
def source(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Source:
    """A file of some hundred blocks."""
    monkeypatch.setattr("drivers.files.text.CHUNK_BYTES", 2000)
    monkeypatch.setattr("drivers.files.sound.FRAMES", 300)
    monkeypatch.setattr("drivers.files.arrays.BLOCK_SAMPLES", 300)
    path = tmp_path / request.param
    match path.suffix:
        case ".csv":
            np.savetxt(path, SAMPLES, "%d", delimiter=";")
        case ".wav":
            soundfile.write(path, SAMPLES, 50000)
        case ".npy":
            np.save(path, SAMPLES)
        case _:
            np.savez_compressed(path, samples=SAMPLES, volts_per_count=0.001)
    options = {".csv": "?rate=50000", ".wav": "", ".npy": "?rate=50000&volts_per_count=0.001", ".npz": "?rate=50000"}
    return open_file(parse_address(f"{path}{options[path.suffix]}"))


def test_closing_from_another_thread_ends_the_blocks_without_an_error(source: Source) -> None:
    begun = threading.Event()

    def consume() -> int:
        samples = 0
        for block in source.blocks():
            samples += block.samples
            begun.set()
        return samples

    source.open()
    with ThreadPoolExecutor() as pool:
        reading = pool.submit(consume)
        assert begun.wait(10.0)
        source.close()
        assert 0 < reading.result(10.0) <= len(SAMPLES)


def test_a_source_that_is_closed_before_it_is_read_gives_nothing(source: Source) -> None:
    source.open()
    source.close()
    assert sum(block.samples for block in source.blocks()) < 1000


def test_a_source_can_be_closed_before_it_was_opened(source: Source) -> None:
    source.close()
    source.close()
