from pathlib import Path

import pytest

from acquire.errors import AddressError
from acquire.pump import pumping
from acquire.recording import RecordingWriter
from acquire.source import Seekable, Source
from drivers.files.recording import RecordingSource
from tests.acquire.streams import block_at, ranges_of, stream_info
from tests.acquire.test_ring import drained


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with RecordingWriter(tmp_path / "r", stream_info(rate_hz=256.0)) as writer:
        writer.write(block_at(0, 700))
        writer.write(block_at(900, 50))
    return tmp_path / "r"


async def test_a_recording_goes_through_pump_and_ring_whole(folder: Path) -> None:
    source = RecordingSource(folder)
    assert isinstance(source, Source)
    async with pumping(source) as (info, ring):
        assert (info.sample_rate_hz, info.total_samples, info.is_live) == (256.0, 950, False)
        assert ranges_of(await drained(ring.reader())) == [(0, 700), (900, 950)]


def test_a_closed_source_ends_at_its_next_batch(folder: Path) -> None:
    source = RecordingSource(folder)
    source.open()
    blocks = source.blocks()
    assert next(blocks).first_index == 0
    source.close()
    source.close()
    assert list(blocks) == []


@pytest.mark.parametrize(
    ("first", "end", "there"), [(0, 1000, [(0, 700), (900, 950)]), (650, 910, [(650, 700), (900, 910)])]
)
def test_it_can_begin_and_end_anywhere(first: int, end: int, there: list[tuple[int, int]], folder: Path) -> None:
    source = RecordingSource(folder)
    assert isinstance(source, Seekable)
    source.open()
    assert ranges_of(list(source.blocks_between(first, end))) == there


def test_making_a_source_touches_nothing(tmp_path: Path) -> None:
    source = RecordingSource(tmp_path / "nowhere")
    with pytest.raises(AddressError, match="no such folder"):
        source.open()
    source.close()
