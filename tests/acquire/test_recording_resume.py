"""A recording that is gone on with."""

import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.clock import SystemClock
from acquire.errors import AddressError, FormatError
from acquire.recording import RecordingWriter, Rollover, Storage, read_blocks, read_info
from acquire.recording_layout import sample_files
from acquire.resumed import Resumed
from acquire.source import Source
from tests.acquire.streams import ListSource, assert_true_to_index, block_at, ranges_of, stream_info

RATE_HZ = 256.0
STARTED = datetime(2026, 3, 1, 6, 30, tzinfo=UTC)
INFO = replace(
    stream_info(rate_hz=RATE_HZ), started_utc=STARTED, started_monotonic_s=100.0, setup_toml="[engine]\ncylinders = 6\n"
)


def record(folder: Path, blocks: Sequence[SampleBlock], info: StreamInfo = INFO, *, resume: bool = False) -> None:
    with RecordingWriter(folder, info, storage=Storage(resume=resume, rollover=Rollover(1 << 40, 2.0))) as writer:
        for block in blocks:
            writer.write(block)


def read_all(folder: Path) -> list[tuple[int, int]]:
    back = list(read_blocks(folder, read_info(folder)))
    for block in back:
        assert_true_to_index(block)
    return ranges_of(back)


def test_a_recording_goes_on_with_the_next_file_and_the_same_header(tmp_path: Path) -> None:
    record(tmp_path, [block_at(0, 700)])
    header = (tmp_path / "recording.toml").read_bytes()
    record(tmp_path, [block_at(2000, 100)], replace(INFO, started_utc=STARTED + timedelta(days=1)), resume=True)
    assert read_all(tmp_path) == [(0, 700), (2000, 2100)]
    assert [path.name for path in sample_files(tmp_path)] == [f"samples-{number:03}.arrow" for number in (1, 2, 3)]
    assert (tmp_path / "recording.toml").read_bytes() == header


def test_an_interrupted_file_stays_as_it_is(tmp_path: Path) -> None:
    record(tmp_path, [block_at(0, 500)])
    [path] = sample_files(tmp_path)
    cut = path.read_bytes()[:-300]
    path.unlink()
    path.write_bytes(cut)
    end = read_all(tmp_path)[-1][1]
    record(tmp_path, [block_at(2000, 100)], resume=True)
    assert path.read_bytes() == cut
    assert read_all(tmp_path) == [(0, end), (2000, 2100)]


def test_a_recording_without_a_sample_is_gone_on_with(tmp_path: Path) -> None:
    record(tmp_path, [])
    record(tmp_path, [block_at(3, 100)], resume=True)
    assert read_all(tmp_path) == [(3, 103)]


def _with_channel(**changes: object) -> StreamInfo:
    first, *others = INFO.channels
    return replace(INFO, channels=(replace(first, **changes), *others))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("now", "says"),
    [
        (replace(INFO, sample_rate_hz=50_000.0), "50000 Hz where it was 256 Hz"),
        (replace(INFO, dtype=np.dtype(np.int32)), "counts of int32 where they were int16"),
        (
            replace(INFO, channels=(*INFO.channels, ChannelInfo("in3", 1.0))),
            "inputs in1, in2, in3 where they were in1, in2",
        ),
        (_with_channel(volts_per_count=0.5), "in1: volts_per_count = 0.5 where it was 0.001"),
        (_with_channel(high_count=2047), "in1: high_count = 2047 where it was 32767"),
        (replace(INFO, setup_toml="[engine]\ncylinders = 4\n"), "it was made with another set-up; leave --setup out"),
    ],
)
def test_another_stream_is_refused_in_one_line_and_nothing_is_touched(
    tmp_path: Path, now: StreamInfo, says: str
) -> None:
    record(tmp_path, [block_at(0, 700)])
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(AddressError) as caught:
        RecordingWriter(tmp_path, now, storage=Storage(resume=True))
    assert f"recording.toml: cannot go on with this recording: {says}" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("changes", [{"source": "serial:elsewhere"}, {"setup_toml": None}])
def test_another_port_or_no_set_up_is_the_same_stream(tmp_path: Path, changes: dict[str, str | None]) -> None:
    record(tmp_path, [block_at(0, 700)])
    record(tmp_path, [block_at(2000, 100)], replace(INFO, **changes), resume=True)  # type: ignore[arg-type]
    assert read_all(tmp_path)[-1] == (2000, 2100)


def test_only_a_recording_can_be_gone_on_with(tmp_path: Path) -> None:
    with pytest.raises(AddressError, match="nowhere: no such folder"):
        RecordingWriter(tmp_path / "nowhere", INFO, storage=Storage(resume=True))
    (tmp_path / "file").touch()
    with pytest.raises(AddressError, match="file: no such folder"):
        RecordingWriter(tmp_path / "file", INFO, storage=Storage(resume=True))
    with pytest.raises(FormatError, match=r"recording\.toml: cannot be read"):
        RecordingWriter(tmp_path, INFO, storage=Storage(resume=True))
    record(tmp_path / "r", [block_at(0, 700)])
    (tmp_path / "r" / "samples-001.arrow").write_bytes(b"something else, and long enough to say so")
    with pytest.raises(FormatError, match=r"samples-001\.arrow: cannot be understood"):
        RecordingWriter(tmp_path / "r", INFO, storage=Storage(resume=True))


def test_only_one_may_write_and_everybody_may_read(tmp_path: Path) -> None:
    with RecordingWriter(tmp_path, INFO) as writer:
        writer.write(block_at(0, 300))
        with pytest.raises(AddressError, match="somebody is writing this recording just now"):
            RecordingWriter(tmp_path, INFO, storage=Storage(resume=True))
        assert read_all(tmp_path) == [(0, 256)]
        writer.write(block_at(300, 10))
    record(tmp_path, [block_at(2000, 100)], resume=True)
    assert read_all(tmp_path) == [(0, 310), (2000, 2100)]


def test_a_killed_writer_holds_nothing(tmp_path: Path) -> None:
    script = f"""
import os
from pathlib import Path
from tests.acquire.test_recording_resume import *
writer = RecordingWriter(Path({str(tmp_path / "r")!r}), INFO)
writer.write(block_at(0, 300))
os._exit(9)
"""
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", script], cwd=root, check=False).returncode == 9
    record(tmp_path / "r", [block_at(2000, 100)], resume=True)
    assert read_all(tmp_path / "r") == [(0, 256), (2000, 2100)]


@dataclass
class At(SystemClock):
    """A clock that says one civil time."""

    moment: datetime

    def utc(self) -> datetime:
        return self.moment


def resumed(now: StreamInfo, recorded: StreamInfo, moment: datetime) -> tuple[Resumed, StreamInfo]:
    source = Resumed(ListSource(now, [block_at(0, 10), block_at(30, 10)]), recorded, At(moment))
    assert isinstance(source, Source)
    return source, source.open()


RECORDED = replace(INFO, total_samples=700)
HOUR = timedelta(hours=1)


def firsts(blocks: Iterator[SampleBlock]) -> list[int]:
    return [block.first_index for block in blocks]


def test_a_stream_goes_on_where_the_civil_clock_says() -> None:
    now = replace(INFO, started_utc=STARTED + HOUR, started_monotonic_s=50.0, total_samples=40, setup_toml=None)
    source, info = resumed(now, RECORDED, STARTED + 2 * HOUR)
    at = round(3600 * RATE_HZ)
    assert (source.first_index, source.doubt) == (at, "")
    assert firsts(source.blocks()) == [at, at + 30]
    assert info == replace(INFO, started_monotonic_s=50.0 - 3600, total_samples=at + 40)


def test_a_stream_that_does_not_say_when_it_began_begins_now() -> None:
    source, _ = resumed(replace(INFO, started_utc=None, started_monotonic_s=None), RECORDED, STARTED + HOUR)
    assert source.first_index == round(3600 * RATE_HZ)


@pytest.mark.parametrize(
    ("recorded", "moment", "doubt"),
    [
        (RECORDED, STARTED - HOUR, "the clock went back by 3602.7 s"),
        (replace(RECORDED, started_utc=None), STARTED + HOUR, "the recording does not say when it began"),
    ],
)
def test_where_the_time_between_is_not_known_it_goes_on_behind_the_end_and_says_so(
    recorded: StreamInfo, moment: datetime, doubt: str
) -> None:
    source, _ = resumed(replace(INFO, started_utc=None), recorded, moment)
    assert source.doubt == f"{doubt}, so it goes on 3 s behind its end"
    at = 700 + round(3 * RATE_HZ)
    assert firsts(source.blocks()) == [at, at + 30]


def test_the_source_is_closed_with_it() -> None:
    inner = ListSource(INFO, [])
    Resumed(inner, RECORDED, SystemClock()).close()
    assert [call for call, _ in inner.calls] == ["close"]
