"""What goes when a disk runs full, and what never does."""

from collections import deque
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.recording import (
    DiskGuard,
    Dropped,
    RecordingWriter,
    Rollover,
    Storage,
    default_reserve,
    free_bytes,
    read_blocks,
    read_info,
)
from acquire.recording_guard import FILES_AT_LEAST, RESERVE_BYTES, WORTH_BEGINNING
from acquire.recording_layout import Stretch
from tests.acquire.streams import assert_true_to_index, block_at, ranges_of, stream_info

RATE_HZ = 256.0
INFO = stream_info(rate_hz=RATE_HZ)
FILE_S = 16.0
FILE = int(FILE_S * RATE_HZ)
MB = 1_000_000


@dataclass
class Bench:
    """A guard over a disk of a given size, that holds what is in one folder and what others take."""

    folder: Path
    size: int
    reserve: int
    others: int = 0
    needed_from: int | None = None
    dropped: list[Dropped] = field(default_factory=list)
    least_free: int = 1 << 60

    def free(self, _folder: Path) -> int:
        used = sum(path.stat().st_size for path in self.folder.iterdir()) if self.folder.exists() else 0
        return self.size - self.others - used

    @property
    def guard(self) -> DiskGuard:
        return DiskGuard(self.reserve, self.dropped.append, lambda: self.needed_from, self.free)

    def writer(self, *, resume: bool = False) -> RecordingWriter:
        storage = Storage(resume=resume, rollover=Rollover(1 << 40, FILE_S), guard=self.guard)
        return RecordingWriter(self.folder, INFO, storage=storage)

    def write(self, writer: RecordingWriter, first: int, end: int) -> None:
        for at in range(first, end, 128):
            writer.write(block_at(at, 128))
            self.least_free = min(self.least_free, self.free(self.folder))

    def names(self) -> list[str]:
        return sorted(path.name for path in self.folder.iterdir())

    def read(self) -> list[tuple[int, int]]:
        back = list(read_blocks(self.folder, read_info(self.folder)))
        for block in back:
            assert_true_to_index(block)
        return ranges_of(back)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setattr("os.fsync", lambda _descriptor: None)  # thousands of them, and nothing here asks for them
    return Bench(tmp_path / "r", size=1_250_000, reserve=100_000)


def test_the_oldest_files_make_room_and_the_reserve_is_never_touched(bench: Bench) -> None:
    writer = bench.writer()
    bench.write(writer, 0, 60 * FILE)
    writer.close()
    (first, end) = bench.read()[0]
    assert end == 60 * FILE
    assert bench.least_free >= bench.reserve
    assert bench.free(bench.folder) < bench.reserve + 100_000, "more went than had to"
    assert sum(dropped.samples for dropped in bench.dropped) == first
    assert [dropped.first_index for dropped in bench.dropped][:2] == [0, FILE]
    assert bench.dropped[0].reason == "samples-001.arrow deleted to make room on the disk"


def test_nothing_but_its_own_sample_files_is_deleted(bench: Bench) -> None:
    writer = bench.writer()
    for name in ("ledger.sqlite", "samples-001.arrow.bak", "samples-900.arrow", "notes.txt"):
        (bench.folder / name).write_bytes(b"mine" * 1000)
    before = {name: (bench.folder / name).read_bytes() for name in bench.names()}
    bench.write(writer, 0, 30 * FILE)
    bench.others = bench.size
    with pytest.raises(OSError, match="the disk is full"):
        bench.write(writer, 30 * FILE, 32 * FILE)
    assert bench.dropped
    assert {name: (bench.folder / name).read_bytes() for name in before} == before


def test_what_somebody_still_needs_stays_and_samples_stop_instead(bench: Bench) -> None:
    writer = bench.writer()
    bench.needed_from = 2 * FILE + 5
    with pytest.raises(OSError, match="full but for the last 100 kB, and no samples may take those"):
        bench.write(writer, 0, 60 * FILE)
    assert [dropped.first_index for dropped in bench.dropped] == [0, FILE]
    assert bench.read()[0][0] == 2 * FILE
    bench.needed_from = None
    bench.write(writer, 70 * FILE, 90 * FILE)
    writer.close()
    assert bench.read()[-1][1] == 90 * FILE
    assert bench.least_free >= bench.reserve


def test_samples_stop_when_others_fill_the_disk_and_go_on_when_there_is_room(bench: Bench) -> None:
    writer = bench.writer()
    bench.write(writer, 0, 2 * FILE)
    bench.others = bench.size
    with pytest.raises(OSError, match="the disk is full"):
        bench.write(writer, 2 * FILE, 4 * FILE)
    assert [path for path in bench.names() if path.endswith(".arrow")] == [], "what is below the reserve goes"
    bench.others = 0
    bench.write(writer, 8 * FILE, 9 * FILE)
    writer.close()
    assert bench.read()[-1] == (8 * FILE, 9 * FILE)


def test_files_of_the_run_before_go_first(bench: Bench) -> None:
    writer = bench.writer()
    bench.write(writer, 0, 10 * FILE)
    writer.close()
    writer = bench.writer(resume=True)
    bench.write(writer, 20 * FILE, 60 * FILE)
    writer.close()
    assert [dropped.first_index for dropped in bench.dropped][:3] == [0, FILE, 2 * FILE]


def test_a_small_disk_keeps_most_of_what_it_can_hold(bench: Bench) -> None:
    bench.size = bench.reserve + 60_000  # room for less than three files of the usual length
    writer = bench.writer()
    bench.write(writer, 0, 20 * FILE)
    writer.close()
    kept = bench.size - bench.reserve - (bench.free(bench.folder) - bench.reserve)
    assert kept > 0.9 * 60_000
    assert bench.least_free >= bench.reserve


def test_a_file_system_that_gives_nothing_back_costs_a_file_for_a_file(tmp_path: Path) -> None:
    closed = deque(Stretch(tmp_path / str(number), number, number + 1, 10 * MB) for number in range(100))
    guard = DiskGuard(0, lambda _dropped: None, free=lambda _folder: 4 * MB)
    assert guard.make_room(tmp_path, closed, 12 * MB) == 12 * MB
    assert len(closed) == 99


def test_a_file_that_cannot_be_deleted_is_told_and_kept_in_mind(tmp_path: Path) -> None:
    (tmp_path / "samples-001.arrow").mkdir()
    closed = deque([Stretch(tmp_path / "samples-001.arrow", 0, 10, 10 * MB)])
    dropped: list[Dropped] = []
    with pytest.raises(OSError, match=r"samples-001\.arrow"):
        DiskGuard(MB, dropped.append, free=lambda _folder: 0).make_room(tmp_path, closed, MB)
    assert len(closed) == 1
    assert not dropped


@given(
    free=st.integers(0, 100),
    reserve=st.integers(0, 50),
    sizes=st.lists(st.integers(1, 20), max_size=12),
    wanted=st.integers(1, 30),
    needed_from=st.none() | st.integers(0, 12),
)
@settings(max_examples=300)
def test_what_is_granted_fits_beside_the_reserve_and_no_more_goes_than_must(
    tmp_path_factory: pytest.TempPathFactory,
    free: int,
    reserve: int,
    sizes: list[int],
    wanted: int,
    needed_from: int | None,
) -> None:
    folder = tmp_path_factory.getbasetemp()
    closed = deque(Stretch(folder / "none", at, at + 1, size * MB) for at, size in enumerate(sizes))
    dropped: list[Dropped] = []
    guard = DiskGuard(reserve * MB, dropped.append, lambda: needed_from, lambda _folder: free * MB)
    try:
        granted = guard.make_room(folder, closed, wanted * MB)
    except OSError:
        granted = 0
    gone = len(dropped)
    assert [drop.first_index for drop in dropped] == list(range(len(sizes) - len(closed)))
    assert needed_from is None or gone <= needed_from
    spare = free - reserve + sum(sizes[:gone])
    assert granted <= max(spare, 0) * MB
    assert granted <= wanted * MB
    if gone:
        goal = min(max((free - reserve + sum(sizes)) / FILES_AT_LEAST, wanted * WORTH_BEGINNING), wanted)
        assert spare - sizes[gone - 1] < goal, "the last one need not have gone"


def test_the_default_reserve_is_a_gibibyte_or_a_twentieth(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for total, reserve in ((1 << 40, RESERVE_BYTES), (8_000 * MB, 400 * MB)):
        usage = (total, 0, total)
        monkeypatch.setattr("shutil.disk_usage", lambda _folder, usage=usage: _Usage(*usage))
        assert default_reserve(tmp_path) == reserve
        assert free_bytes(tmp_path) == total


@dataclass
class _Usage:
    total: int
    used: int
    free: int
