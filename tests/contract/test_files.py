from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest
import soundfile

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.recording_writer import RecordingWriter
from acquire.source import Source
from drivers.registry import source_for
from tests.contract.source_contract import Breaks, Exact, SourceContract

COUNTS = (np.arange(6000).reshape(3000, 2) % 4001 - 2000).astype(np.int16)
EXPECTED = [(0, 1000), (1200, 3000)]


@pytest.fixture(autouse=True)
def many_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small files of many blocks."""
    monkeypatch.setattr("drivers.files.text.CHUNK_BYTES", 2000)
    monkeypatch.setattr("drivers.files.sound.FRAMES", 300)
    monkeypatch.setattr("drivers.files.arrays.BLOCK_SAMPLES", 300)


def _table(folder: Path, *bad: str) -> Path:
    rows = [f"{index / 1000:.3f},{a},{b}" for index, (a, b) in enumerate(COUNTS.tolist())]
    path = folder / "road.csv"
    path.write_text("\n".join([*rows[:1000], *rows[1200:], *bad]) + "\n")
    return path


class TestTable(SourceContract, Breaks, Exact):
    expected: ClassVar = EXPECTED

    @contextmanager
    def make(self) -> Iterator[Source]:
        yield source_for(str(_table(self.folder)))

    @contextmanager
    def make_breaking(self) -> Iterator[Source]:
        yield source_for(str(_table(self.folder, "3.001,what,1", "3.002,1,1")))


class TestArray(SourceContract, Exact):
    expected: ClassVar = [(0, 3000)]

    @contextmanager
    def make(self) -> Iterator[Source]:
        np.save(self.folder / "road.npy", COUNTS)
        yield source_for(f"{self.folder / 'road.npy'}?rate=1000&volts_per_count=0.001")


class TestSound(SourceContract, Exact):
    expected: ClassVar = [(0, 3000)]

    @contextmanager
    def make(self) -> Iterator[Source]:
        soundfile.write(self.folder / "road.wav", COUNTS, 1000)
        yield source_for(str(self.folder / "road.wav"))


class TestRecording(SourceContract, Exact):
    expected: ClassVar = EXPECTED

    @contextmanager
    def make(self) -> Iterator[Source]:
        info = StreamInfo("board", 1000.0, (ChannelInfo("in1", 0.001), ChannelInfo("in2", 0.001)), np.dtype(np.int16))
        path = self.folder / "road"
        if not path.exists():
            with RecordingWriter(path, info) as writer:
                for first, end in EXPECTED:
                    writer.write(SampleBlock(first, COUNTS[first:end].T))
        yield source_for(str(path))
