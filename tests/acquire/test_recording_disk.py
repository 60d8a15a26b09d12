"""What becomes of a recording when the disk fails, and how it is spread over files."""

import errno
import itertools
import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from acquire.block import SampleBlock
from acquire.recording import RecordingWriter, Rollover, Storage, read_between, read_blocks, read_info
from acquire.recording_layout import sample_files
from acquire.recording_writer import batch_samples
from tests.acquire.disks import SmallDisk
from tests.acquire.streams import assert_true_to_index, block_at, cuttings, ranges_of, stream_info

RATE_HZ = 256.0
INFO = stream_info(rate_hz=RATE_HZ)
BATCH = batch_samples(RATE_HZ)
HUGE = 1 << 40

_numbers = itertools.count()


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("recordings")


def fresh(scratch: Path) -> Path:
    return scratch / str(next(_numbers))


def write_all(writer: RecordingWriter, blocks: Sequence[SampleBlock]) -> None:
    with writer:
        for block in blocks:
            writer.write(block)


def read_all(folder: Path) -> list[SampleBlock]:
    back = list(read_blocks(folder, read_info(folder)))
    for block in back:
        assert_true_to_index(block)
    return back


def within(inner: Sequence[tuple[int, int]], outer: Sequence[tuple[int, int]]) -> bool:
    return all(any(first <= begin and end <= last for first, last in outer) for begin, end in inner)


rollovers = st.builds(Rollover, st.integers(1, 20_000), st.floats(0.01, 3.0))


@given(blocks=cuttings(200), rollover=rollovers)
@settings(max_examples=60)
def test_the_same_samples_come_back_wherever_blocks_are_cut_and_files_roll_over(
    scratch: Path, blocks: list[SampleBlock], rollover: Rollover
) -> None:
    folder = fresh(scratch)
    write_all(RecordingWriter(folder, INFO, storage=Storage(rollover=rollover)), blocks)
    assert ranges_of(read_all(folder)) == ranges_of(blocks)


@given(first=st.integers(0, 2000), length=st.integers(0, 700), rollover=rollovers)
@settings(max_examples=40)
def test_a_part_is_read_as_it_stands_in_the_whole(scratch: Path, first: int, length: int, rollover: Rollover) -> None:
    folder = fresh(scratch)
    blocks = [block_at(40, 700), block_at(800, 700)]
    write_all(RecordingWriter(folder, INFO, storage=Storage(rollover=rollover)), blocks)
    end = first + length
    part = list(read_between(folder, read_info(folder), first, end))
    cut = [(max(first, begin), min(end, last)) for begin, last in ((40, 740), (800, 1500))]
    assert ranges_of(part) == [(begin, last) for begin, last in cut if begin < last]
    for block in part:
        assert_true_to_index(block)


def test_files_roll_over_by_time_and_each_is_whole(tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(rollover=Rollover(HUGE, 2.0)))
    write_all(writer, [block_at(0, int(5 * RATE_HZ))])
    files = sample_files(tmp_path / "r")
    assert [path.name for path in files] == ["samples-001.arrow", "samples-002.arrow", "samples-003.arrow"]
    assert [path.read_bytes()[-8:] for path in files] == [b"\xff\xff\xff\xff\0\0\0\0"] * 3  # Arrow's end of stream
    starts = [next(read_between(tmp_path / "r", INFO, at, HUGE)).first_index for at in (0, 512, 1024)]
    assert starts == [0, 512, 1024]


def test_a_long_gap_begins_a_new_file(tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(rollover=Rollover(HUGE, 2.0)))
    write_all(writer, [block_at(0, 10), block_at(100_000, 10)])
    assert len(sample_files(tmp_path / "r")) == 2


def test_files_roll_over_by_size_and_none_is_larger(tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(rollover=Rollover(4000, 1e6)))
    write_all(writer, [block_at(0, 40 * BATCH)])
    sizes = [path.stat().st_size for path in sample_files(tmp_path / "r")]
    assert len(sizes) > 5
    assert max(sizes) < 4000 + 500  # what stands between the samples of one batch more


@given(room=st.integers(0, 5000), blocks=cuttings(200))
@example(room=0, blocks=[block_at(0, 2 * BATCH)])
@settings(max_examples=150)
def test_a_disk_that_fails_at_any_byte_keeps_everything_whole_before(
    scratch: Path, room: int, blocks: list[SampleBlock]
) -> None:
    folder, disk = fresh(scratch), SmallDisk(room)
    writer = RecordingWriter(folder, INFO, storage=Storage(opener=disk.open))
    with suppress(OSError):
        for block in blocks:
            writer.write(block)
    kept = writer.kept_index
    with suppress(OSError):
        writer.close()
    writer.close()
    back, given_ = ranges_of(read_all(folder)), ranges_of(blocks)
    assert within(back, given_)
    wanted = [(first, min(end, kept)) for first, end in given_ if first < kept]
    assert within(wanted, back)


@given(room=st.integers(0, 5000), more=st.integers(1, 4))
@settings(max_examples=40)
def test_whoever_tries_again_with_the_same_block_loses_nothing(scratch: Path, room: int, more: int) -> None:
    folder, disk = fresh(scratch), SmallDisk(room)
    blocks = [block_at(at, 90) for at in range(0, 1800, 90)] + [block_at(3000, 500)]
    writer = RecordingWriter(folder, INFO, storage=Storage(opener=disk.open))
    failures = 0
    for block in blocks:
        while True:
            try:
                writer.write(block)
            except OSError:
                failures += 1
                disk.room += more * 1500
            else:
                break
    disk.room = HUGE
    writer.close()
    assert ranges_of(read_all(folder)) == [(0, 1800), (3000, 3500)]
    assert failures or room >= 5000 or len(disk.opened) == 1


def test_a_failing_disk_is_told_with_the_file_and_the_next_block_begins_another(tmp_path: Path) -> None:
    disk = SmallDisk(2000)
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(opener=disk.open))
    writer.write(block_at(0, 2 * BATCH))
    with pytest.raises(OSError, match=r"No space left on device: '.*samples-002\.arrow'"):
        writer.write(block_at(2 * BATCH, 2 * BATCH))
    with pytest.raises(OSError, match=r"No space left on device: '.*samples-003\.arrow'"):
        writer.write(block_at(10 * BATCH, BATCH))
    assert [path.name for path in sample_files(tmp_path / "r")] == ["samples-001.arrow"], "an empty file was left"
    disk.room = HUGE
    writer.write(block_at(20 * BATCH, BATCH))
    writer.close()
    assert ranges_of(read_all(tmp_path / "r")) == [(0, 3 * BATCH), (20 * BATCH, 21 * BATCH)]
    assert [path.name for path in sample_files(tmp_path / "r")] == ["samples-001.arrow", "samples-004.arrow"]


def test_a_file_that_fails_alone_costs_nothing(tmp_path: Path) -> None:
    disk = SmallDisk(2000)
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(opener=disk.open))
    writer.write(block_at(0, 2 * BATCH))
    disk.room, disk.more = 100, HUGE
    writer.write(block_at(2 * BATCH, 2 * BATCH))
    writer.close()
    assert ranges_of(read_all(tmp_path / "r")) == [(0, 4 * BATCH)]
    assert len(sample_files(tmp_path / "r")) == 2


def test_what_was_given_up_is_not_written_when_closing(tmp_path: Path) -> None:
    disk = SmallDisk(0)
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(opener=disk.open))
    with pytest.raises(OSError, match="No space left"):
        writer.write(block_at(0, BATCH))
    disk.room = HUGE
    writer.close()
    assert disk.opened == [tmp_path / "r" / "samples-001.arrow"]
    assert read_all(tmp_path / "r") == []


def test_a_disk_that_fails_at_the_end_is_told_once(tmp_path: Path) -> None:
    disk = SmallDisk(600)
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(opener=disk.open))
    writer.write(block_at(0, BATCH - 1))
    with pytest.raises(OSError, match=r"samples-001\.arrow"):
        writer.close()
    writer.close()


def test_a_sync_that_fails_gives_the_file_up_and_writes_nothing_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    writer = RecordingWriter(tmp_path / "r", INFO)
    writer.write(block_at(0, BATCH))
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", _refuse)
        with pytest.raises(OSError, match=r"Input/output error: '.*samples-001\.arrow'"):
            writer.write(block_at(BATCH, BATCH))
    writer.write(block_at(BATCH, BATCH))
    writer.write(block_at(2 * BATCH, BATCH))
    writer.close()
    assert ranges_of(read_all(tmp_path / "r")) == [(0, 3 * BATCH)]


def test_a_sync_that_fails_at_the_end_of_a_file_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(rollover=Rollover(HUGE, 2.0)))
    for first in (0, 50, 2000):
        writer.write(block_at(first, 10))
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", _refuse)
        with pytest.raises(OSError, match=r"Input/output error: '.*samples-001\.arrow'"):
            writer.write(block_at(4000, 10))
    writer.write(block_at(4000, 10))
    writer.close()
    assert ranges_of(read_all(tmp_path / "r")) == [(0, 10), (50, 60), (2000, 2010), (4000, 4010)]


def _refuse(_descriptor: int) -> None:
    raise OSError(errno.EIO, os.strerror(errno.EIO))


def test_a_file_deleted_while_it_is_written_is_told(tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "r", INFO)
    writer.write(block_at(0, BATCH))
    (tmp_path / "r" / "samples-001.arrow").unlink()
    with pytest.raises(OSError, match=r"the file was deleted while it was written: '.*samples-001\.arrow'"):
        writer.write(block_at(BATCH, BATCH))
    writer.write(block_at(2 * BATCH, BATCH))
    writer.close()
    assert ranges_of(read_all(tmp_path / "r")) == [(2 * BATCH, 3 * BATCH)]


def test_a_block_that_goes_back_is_refused(tmp_path: Path) -> None:
    with RecordingWriter(tmp_path / "r", INFO) as writer:
        writer.write(block_at(100, 50))
        with pytest.raises(ValueError, match="ends at sample 120, but there are 150 already"):
            writer.write(block_at(100, 20))


def test_nothing_stays_open_after_a_disk_failed(tmp_path: Path) -> None:
    before = len(list(Path("/proc/self/fd").iterdir()))
    for room in range(0, 2000, 100):
        writer = RecordingWriter(tmp_path / str(room), INFO, storage=Storage(opener=SmallDisk(room).open))
        with suppress(OSError):
            writer.write(block_at(0, 4 * BATCH))
        with suppress(OSError):
            writer.close()
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_first_files_that_are_gone_are_a_gap_and_no_error(tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "r", INFO, storage=Storage(rollover=Rollover(HUGE, 2.0)))
    write_all(writer, [block_at(0, int(6 * RATE_HZ))])
    first, second, _ = sample_files(tmp_path / "r")
    first.unlink()
    assert ranges_of(read_all(tmp_path / "r")) == [(512, 1536)]
    second.unlink()
    assert ranges_of(read_all(tmp_path / "r")) == [(1024, 1536)]
