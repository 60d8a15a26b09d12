import errno
import itertools
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.errors import AddressError, FormatError
from acquire.recording import RecordingWriter, read_blocks, read_info
from acquire.recording_writer import batch_samples
from tests.acquire.streams import assert_true_to_index, block_at, counts_at, cuttings, ranges_of, stream_info

SAMPLES = "samples-001.arrow"
BATCH = batch_samples(256.0)


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("recordings")


_numbers = itertools.count()


def fresh(scratch: Path) -> Path:
    return scratch / str(next(_numbers))


def recorded(folder: Path, blocks: list[SampleBlock], info: StreamInfo | None = None) -> Path:
    with RecordingWriter(folder, info or stream_info(rate_hz=256.0)) as writer:
        for block in blocks:
            writer.write(block)
    return folder


def read_all(folder: Path) -> list[SampleBlock]:
    return list(read_blocks(folder, read_info(folder)))


def batch_ends(data: bytes) -> list[int]:
    """Where each whole message after the schema ends, by Arrow's own reader of messages."""
    source = pa.BufferReader(data)
    messages = pa.ipc.MessageReader.open_stream(source)
    return [source.tell() for message in messages if message.type == "record batch"]


@given(data=st.data(), dtype=st.sampled_from(("int8", "int16", "int32", "int64")), channels=st.integers(1, 4))
@settings(max_examples=60)
def test_a_recording_gives_back_what_was_written_however_it_was_cut(
    scratch: Path, data: st.DataObject, dtype: str, channels: int
) -> None:
    blocks = data.draw(cuttings(200, channels, dtype))
    folder = recorded(fresh(scratch), blocks, stream_info(channels, dtype=dtype, rate_hz=256.0))
    back = read_all(folder)
    assert ranges_of(back) == ranges_of(blocks)
    assert read_info(folder).total_samples == (blocks[-1].end_index if blocks else 0)
    for block in back:
        assert block.counts.dtype == np.dtype(dtype)
        assert 0 < block.samples <= BATCH
        np.testing.assert_array_equal(block.counts, counts_at(block.first_index, block.end_index, channels, dtype))


@given(
    source=st.text(),
    rate_hz=st.floats(1e-3, 1e9),
    label=st.text(),
    volts=st.floats(allow_nan=False, allow_infinity=False),
    setup_toml=st.none() | st.text(),
    started=st.none() | st.datetimes(min_value=datetime(1970, 1, 2), timezones=st.just(UTC)),
)
@settings(max_examples=60)
def test_what_is_said_of_a_stream_comes_back_unchanged(
    scratch: Path,
    source: str,
    rate_hz: float,
    label: str,
    volts: float,
    setup_toml: str | None,
    started: datetime | None,
) -> None:
    channel = ChannelInfo("in1", volts, -volts, -2048, 2047, label)
    info = StreamInfo(
        source,
        rate_hz,
        (channel,),
        np.dtype(np.int16),
        total_samples=0,
        started_monotonic_s=12.5 if started else None,
        started_utc=started,
        setup_toml=setup_toml,
    )
    assert read_info(recorded(fresh(scratch), [], info)) == info


def test_the_setup_goes_into_the_recording(tmp_path: Path) -> None:
    RecordingWriter(tmp_path / "r", replace(stream_info(), setup_toml="[engine]\ncylinders = 6\n")).close()
    assert read_info(tmp_path / "r").setup_toml == "[engine]\ncylinders = 6\n"
    assert '"""' in (tmp_path / "r" / "recording.toml").read_text()


def test_the_header_is_whole_before_the_first_sample(tmp_path: Path) -> None:
    with RecordingWriter(tmp_path / "r", stream_info()):
        assert read_info(tmp_path / "r").total_samples == 0
        assert [path.name for path in (tmp_path / "r").iterdir()] == ["recording.toml"]


def test_a_header_that_the_disk_does_not_take_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as full:
        full.setattr(os, "fsync", refuse)
        with pytest.raises(OSError, match="No space left"):
            RecordingWriter(tmp_path / "r", stream_info())
    assert list((tmp_path / "r").iterdir()) == []
    RecordingWriter(tmp_path / "r", stream_info()).close()


def test_a_start_time_in_another_zone_is_the_same_instant(tmp_path: Path) -> None:
    east = datetime(2026, 3, 1, 12, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    info = replace(stream_info(), started_utc=east)
    assert read_info(recorded(tmp_path / "r", [], info)).started_utc == datetime(2026, 3, 1, 6, 30, tzinfo=UTC)


def test_a_start_time_without_a_zone_is_refused(tmp_path: Path) -> None:
    info = replace(stream_info(), started_utc=datetime(2026, 3, 1, 12))
    with pytest.raises(FormatError, match=r"started_utc: .*timezone"):
        RecordingWriter(tmp_path / "r", info)


@pytest.mark.parametrize("samples", [1, 63, BATCH, 3 * BATCH + 5])
@pytest.mark.parametrize("dtype", ["int8", "int16", "int64"])
def test_batches_are_read_in_place_without_a_copy(tmp_path: Path, samples: int, dtype: str) -> None:
    info = stream_info(3, dtype=dtype, rate_hz=256.0)
    folder = recorded(tmp_path / "r", [block_at(0, samples, 3, dtype)], info)
    for block in read_all(folder):
        assert not block.counts.flags.owndata
        assert not block.counts.flags.writeable
        assert isinstance(block.counts.base, pa.Buffer | memoryview | np.ndarray)


def test_a_plain_arrow_reader_finds_one_integer_column_per_input(tmp_path: Path) -> None:
    """Outside check: Arrow's own reader of the IPC stream format."""
    folder = recorded(tmp_path / "r", [block_at(0, 300)])
    with pa.OSFile(str(folder / SAMPLES)) as file:
        table = pa.ipc.open_stream(file).read_all()
    assert table.schema.names == ["in1", "in2"]
    assert table.schema.types == [pa.int16(), pa.int16()]
    np.testing.assert_array_equal([column.to_numpy() for column in table.columns], counts_at(0, 300))


@pytest.mark.parametrize("compression", ["lz4", "zstd"])
def test_a_recording_rewritten_with_compression_reads_the_same(tmp_path: Path, compression: str) -> None:
    folder = recorded(tmp_path / "r", [block_at(0, 300)])
    copies = [SampleBlock(block.first_index, block.counts.copy()) for block in read_all(folder)]
    schema = pa.schema([("in1", pa.int16()), ("in2", pa.int16())])
    options = pa.ipc.IpcWriteOptions(compression=compression)
    with pa.ipc.new_stream(str(folder / SAMPLES), schema, options=options) as stream:
        for block in copies:
            batch = pa.record_batch([pa.array(row) for row in block.counts], schema=schema)
            stream.write_batch(batch, custom_metadata={"first_index": str(block.first_index)})
    back = read_all(folder)
    assert ranges_of(back) == [(0, 300)]
    for block in back:
        assert_true_to_index(block)


def test_a_file_cut_at_any_byte_opens_up_to_its_last_whole_batch(tmp_path: Path) -> None:
    folder = recorded(tmp_path / "r", [block_at(0, 2 * BATCH), block_at(1000, BATCH + 9)])
    data = (folder / SAMPLES).read_bytes()
    firsts = [block.first_index for block in read_all(folder)]
    ends = batch_ends(data)
    assert len(ends) == len(firsts) == 4
    for length in range(len(data) + 1):
        (folder / SAMPLES).unlink()  # a mapped file must not shrink
        (folder / SAMPLES).write_bytes(data[:length])
        whole = sum(end <= length for end in ends)
        back = read_all(folder)
        assert [block.first_index for block in back] == firsts[:whole]
        for block in back:
            assert_true_to_index(block)


def test_a_file_whose_tail_was_never_written_reads_up_to_its_last_whole_batch(tmp_path: Path) -> None:
    folder = recorded(tmp_path / "r", [block_at(0, 3 * BATCH)])
    data = (folder / SAMPLES).read_bytes()
    end = batch_ends(data)[1]
    (folder / SAMPLES).write_bytes(data[:end] + bytes(4096))
    assert ranges_of(read_all(folder)) == [(0, 2 * BATCH)]


def test_a_killed_process_leaves_every_closed_batch_readable(tmp_path: Path) -> None:
    script = f"""
import os
from pathlib import Path
from acquire.recording import RecordingWriter
from tests.acquire.streams import block_at, stream_info
writer = RecordingWriter(Path({str(tmp_path / "r")!r}), stream_info(rate_hz=256.0))
for first in range(0, 1000, 10):
    writer.write(block_at(first, 10))
os._exit(9)
"""
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", script], cwd=root, check=False).returncode == 9
    back = read_all(tmp_path / "r")
    assert ranges_of(back) == [(0, 1000 // BATCH * BATCH)]


def test_damage_between_batches_is_said_after_what_precedes_it(tmp_path: Path) -> None:
    folder = recorded(tmp_path / "r", [block_at(0, 3 * BATCH)])
    data = (folder / SAMPLES).read_bytes()
    at = batch_ends(data)[0] + 8
    (folder / SAMPLES).write_bytes(data[:at] + b"\xff" * 40 + data[at + 40 :])
    info = read_info(folder)
    assert info.total_samples is None
    blocks = read_blocks(folder, info)
    assert next(blocks).end_index == BATCH
    with pytest.raises(FormatError, match=f"{SAMPLES}: cannot be understood from byte"):
        next(blocks)


@pytest.mark.parametrize("content", [b"time,in1,in2\n0.0,1,2\n" * 9, b"\xff\xff\xff\xff" + b"\x20\0\0\0" + b"?" * 99])
def test_a_file_of_something_else_is_refused(tmp_path: Path, content: bytes) -> None:
    folder = recorded(tmp_path / "r", [])
    (folder / SAMPLES).write_bytes(content)
    with pytest.raises(FormatError, match=f"{SAMPLES}: cannot be understood from byte 0 on"):
        read_all(folder)


def test_a_batch_that_claims_more_rows_than_it_holds_is_refused(tmp_path: Path) -> None:
    folder = recorded(tmp_path / "r", [block_at(0, 77)])
    data = (folder / SAMPLES).read_bytes()
    claim = (77).to_bytes(8, "little")
    assert claim in data
    (folder / SAMPLES).write_bytes(data.replace(claim, (70_000).to_bytes(8, "little")))
    with pytest.raises(FormatError, match="a batch contradicts itself"):
        read_all(folder)


def _corrupt(data: bytes, edits: list[tuple[int, int]]) -> bytes:
    changed = bytearray(data)
    for place, value in edits:
        changed[place % len(changed)] = value
    return bytes(changed)


edits = st.lists(st.tuples(st.integers(0, 1 << 16), st.integers(0, 255)), min_size=1, max_size=4)


@given(edits=edits, cut=st.integers(0, 400))
@settings(max_examples=250)
def test_corrupted_samples_end_the_stream_or_are_said_in_one_line(
    scratch: Path, edits: list[tuple[int, int]], cut: int
) -> None:
    folder = recorded(fresh(scratch), [block_at(0, 20), block_at(30, 20), block_at(60, 20)])
    data = (folder / SAMPLES).read_bytes()
    (folder / SAMPLES).unlink()
    (folder / SAMPLES).write_bytes(_corrupt(data, edits)[: len(data) - cut])
    _assert_reads_or_refuses(folder)


@given(edits=edits)
@settings(max_examples=200)
def test_a_corrupted_header_is_read_or_refused_in_one_line(scratch: Path, edits: list[tuple[int, int]]) -> None:
    folder = recorded(fresh(scratch), [block_at(0, 20)])
    path = folder / "recording.toml"
    path.write_bytes(_corrupt(path.read_bytes(), edits))
    _assert_reads_or_refuses(folder)


@given(content=st.binary(max_size=200))
@settings(max_examples=100)
def test_any_bytes_as_header_or_samples_are_read_or_refused_in_one_line(scratch: Path, content: bytes) -> None:
    folder = recorded(fresh(scratch), [block_at(0, 20)])
    (folder / SAMPLES).unlink()
    (folder / SAMPLES).write_bytes(content)
    _assert_reads_or_refuses(folder)
    (folder / "recording.toml").write_bytes(content)
    _assert_reads_or_refuses(folder)


def _assert_reads_or_refuses(folder: Path) -> None:
    end_index, refusal = 0, f"{folder}: "
    try:
        for block in read_blocks(folder, read_info(folder)):
            assert block.samples > 0
            assert block.first_index >= end_index
            end_index = block.end_index
            block.counts.sum()
    except FormatError as error:
        refusal = str(error)
    assert refusal.startswith(str(folder))
    assert refusal.isprintable()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("recording/1", "recording/2", "format: .*coilcall.recording/1"),
        ("sample_rate_hz = 256.0", "sample_rate_hz = 0.0", "sample_rate_hz: .*greater than 0"),
        ("sample_rate_hz = 256.0", "sample_rate_hz = nan", "sample_rate_hz: .*finite"),
        ("sample_rate_hz = 256.0", 'sample_rate_hz = "fast"', "sample_rate_hz: .*number"),
        ("sample_rate_hz = 256.0", "", "sample_rate_hz: Field required"),
        ("sample_rate_hz = 256.0", "sample_rate_hz = ", "is not TOML"),
        ("sample_rate_hz = 256.0", "sample_rate_hz = 256.0\nspeed = 1", "speed: Extra inputs"),
        ("sample_rate_hz = 256.0", "sample_rate_hz = 256.0\nstarted_utc = 2026-01-01", "started_utc: "),
        ("int16", "uint16", "dtype: .*int16"),
        ("int16", "int32", "columns are 'in1' int16, 'in2' int16, but recording.toml says 'in1' int32"),
        ('input = "in2"', 'input = "in1"', "channel: .*input name of its own"),
        ('input = "in2"', 'input = "in3"', "recording.toml says 'in1' int16, 'in3' int16"),
        ('input = "in2"', 'input = ""', "channel.1.input: .*at least 1 character"),
        ("volts_per_count = 0.001", "volts_per_count = inf", "channel.0.volts_per_count: .*finite"),
        ("low_count = -32768", "low_count = 0.5", "channel.0.low_count: .*integer"),
    ],
)
def test_a_header_that_cannot_be_meant_names_its_key(tmp_path: Path, old: str, new: str, says: str) -> None:
    folder = recorded(tmp_path / "r", [block_at(0, 20)])
    path = folder / "recording.toml"
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(FormatError, match=says) as caught:
        read_all(folder)
    assert "\n" not in str(caught.value)


def test_a_folder_that_is_no_recording_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FormatError, match=r"recording.toml: cannot be read \(No such file or directory\)"):
        read_info(tmp_path)
    with pytest.raises(AddressError, match="nowhere: no such folder"):
        read_info(tmp_path / "nowhere")


def test_nothing_is_recorded_over_what_is_there(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(AddressError, match="is not empty; a recording needs a new or empty folder"):
        RecordingWriter(tmp_path, stream_info())
    with pytest.raises(AddressError, match="no recording can be made here"):
        RecordingWriter(tmp_path / "notes.txt", stream_info())
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def _joined(tmp_path: Path, parts: dict[str, list[SampleBlock]]) -> Path:
    """One recording of several sample files."""
    folder = recorded(tmp_path / "r", [])
    for number, (name, blocks) in enumerate(parts.items()):
        (recorded(tmp_path / f"part{number}", blocks) / SAMPLES).rename(folder / name)
    return folder


def test_several_sample_files_are_read_in_order_of_their_numbers(tmp_path: Path) -> None:
    parts = {
        "samples-1000.arrow": [block_at(300, 50)],
        "samples-200.arrow": [block_at(200, 50)],
        SAMPLES: [block_at(0, 200)],
    }
    back = read_all(_joined(tmp_path, parts))
    assert [block.first_index for block in back] == [0, 128, 200, 300]
    assert ranges_of(back) == [(0, 250), (300, 350)]


def test_files_that_overlap_are_refused_after_what_precedes(tmp_path: Path) -> None:
    folder = _joined(tmp_path, {SAMPLES: [block_at(0, 50)], "samples-002.arrow": [block_at(40, 50)]})
    info = read_info(folder)
    assert info.total_samples == 90
    blocks = read_blocks(folder, info)
    assert next(blocks).samples == 50
    with pytest.raises(FormatError, match="starts at sample 40, not at 50 or later"):
        next(blocks)


@pytest.mark.parametrize(
    ("metadata", "cells", "says"),
    [
        (None, [1, 2], "first_index = b''"),
        ({"first_index": "-4"}, [1, 2], "first_index = b'-4'"),
        ({"first_index": "0"}, [1, None], "empty cells"),
    ],
)
def test_batches_of_other_making_are_judged(
    tmp_path: Path, metadata: dict[str, str] | None, cells: list[int | None], says: str
) -> None:
    folder = recorded(tmp_path / "r", [], stream_info(1))
    schema = pa.schema([("in1", pa.int16())])
    with pa.ipc.new_stream(str(folder / SAMPLES), schema) as stream:
        stream.write_batch(pa.record_batch([pa.array(cells, pa.int16())], schema=schema), custom_metadata=metadata)
    with pytest.raises(FormatError, match=says):
        read_all(folder)


def test_a_stream_full_of_gaps_does_not_sync_at_each(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    syncs: list[int] = []
    monkeypatch.setattr(os, "fsync", syncs.append)
    with RecordingWriter(tmp_path / "r", stream_info(rate_hz=256.0)) as writer:
        syncs.clear()
        for first in range(0, 10 * BATCH, 4):
            writer.write(block_at(first, 2))
        assert 9 <= len(syncs) <= 11


@pytest.mark.parametrize(
    ("rate_hz", "samples"), [(0.1, 1), (10.0, 5), (256.0, 128), (50_000.0, 24_960), (1e9, 1 << 20)]
)
def test_a_batch_is_half_a_second_in_whole_lines(rate_hz: float, samples: int) -> None:
    assert batch_samples(rate_hz) == samples


def test_blocks_and_rings_do_without_arrow() -> None:
    script = (
        "import sys, acquire.block, acquire.source, acquire.ring, acquire.pump; assert 'pyarrow' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", script], check=True)
