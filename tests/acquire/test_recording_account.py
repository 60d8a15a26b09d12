"""Every sample that a recording was given can be read, or was told as dropped, or was refused by an error."""

import itertools
import shutil
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquire.recording import DiskGuard, Dropped, RecordingWriter, Rollover, Storage, read_blocks, read_info
from tests.acquire.disks import SmallDisk
from tests.acquire.streams import assert_true_to_index, block_at, stream_info

INFO = stream_info(rate_hz=256.0)
LONGEST = 40_000
_numbers = itertools.count()


class Drive:
    """A recording on a disk that others fill and empty, and that fails at times; and what became of its samples."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.disk = folder, SmallDisk(1 << 40)
        self.free = 60_000
        self.given, self.refused, self.dropped = (np.zeros(LONGEST, bool) for _ in range(3))
        self.at = 0
        self.writer = self._open(resume=False)

    def _open(self, *, resume: bool) -> RecordingWriter:
        guard = DiskGuard(10_000, self._note, free=lambda _folder: self.free - self._used())
        return RecordingWriter(
            self.folder, INFO, storage=Storage(resume, Rollover(8_000, 3.0), guard=guard, opener=self.disk.open)
        )

    def _used(self) -> int:
        return sum(path.stat().st_size for path in self.folder.glob("*.arrow"))

    def _note(self, dropped: Dropped) -> None:
        self.dropped[dropped.first_index : dropped.first_index + dropped.samples] = True

    def write(self, gap: int, samples: int) -> None:
        block = block_at(self.at + gap, samples)
        self.at = block.end_index
        self.given[block.first_index : block.end_index] = True
        try:
            self.writer.write(block)
        except OSError:
            self.refused[max(block.first_index, self.writer.end_index) : block.end_index] = True

    def close(self) -> None:
        with suppress(OSError):
            self.writer.close()
        self.refused[self.writer.kept_index : self.writer.end_index] = True

    def go_on(self) -> None:
        """End it and resume it, as long after as there was to write."""
        self.close()
        self.writer = self._open(resume=True)

    def read(self) -> NDArray[np.bool_]:
        found = np.zeros(LONGEST, bool)
        for block in read_blocks(self.folder, read_info(self.folder)):
            assert_true_to_index(block)
            found[block.first_index : block.end_index] = True
        return found


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("os.fsync", lambda _descriptor: None)
        yield tmp_path_factory.mktemp("drives")


happenings = st.one_of(
    st.tuples(st.just("write"), st.sampled_from((0, 0, 0, 3, 900)), st.integers(1, 1500)),
    st.tuples(st.just("others"), st.integers(0, 80_000)),
    st.tuples(st.just("fail"), st.integers(0, 3_000)),
    st.tuples(st.just("mend")),
    st.tuples(st.just("resume")),
)


def _happens(drive: Drive, what: str, *amounts: int) -> None:
    match what:
        case "write":
            drive.write(*amounts)
        case "others":
            [drive.free] = amounts
        case "fail":
            [drive.disk.room] = amounts
        case "mend":
            drive.disk.room = 1 << 40
        case "resume":
            drive.go_on()


@given(story=st.lists(happenings, max_size=14))
@settings(max_examples=60)
def test_every_sample_is_accounted_for_whatever_befalls_the_disk(
    story: Sequence[tuple[Any, ...]], scratch: Path
) -> None:
    drive = Drive(scratch / str(next(_numbers)))
    for what, *amounts in story:
        _happens(drive, what, *amounts)
    drive.close()
    found = drive.read()
    assert not (found & ~drive.given).any(), "samples that nobody gave"
    assert not (found & drive.dropped).any(), "told as dropped, and there"
    missing = drive.given & ~(found | drive.dropped | drive.refused)
    assert not missing.any(), f"neither there nor told of: {np.flatnonzero(missing)}"
    shutil.rmtree(drive.folder)
