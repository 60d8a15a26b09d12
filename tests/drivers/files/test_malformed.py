"""Files that cannot be understood: each is refused in one line that names the file and the place."""

import io
import os
import wave
import zipfile
from pathlib import Path

import numpy as np
import pytest

from acquire.block import SampleBlock
from acquire.errors import AddressError, CoilcallError, FormatError
from drivers.address import Address, parse_address
from drivers.files import open_file
from tests.drivers.files.reading import read

GOOD = "time,feed,control\n" + "".join(f"{i / 1000:.3f},14.1,{i % 2}\n" for i in range(60))


def changed(row: int, line: str) -> str:
    """Put another line in place of a row, counted from 1, header included."""
    lines = GOOD.splitlines(keepends=True)
    lines[row - 1] = line
    return "".join(lines)


TABLES = [
    # content, query, the place named, what is said of it
    ("", "", "row 1", "no rows of numbers"),
    ("\n\n\n", "", "row 1", "no rows of numbers"),
    ("time,feed,control\n", "", "row 1", "no rows of numbers"),
    ("time,feed\ns,V\n", "", "row 1", "no rows of numbers"),
    ("Dear customer,\nplease find enclosed\n", "", "row 1", "no rows of numbers"),
    ("<html><body>404</body></html>", "", "row 1", "no rows of numbers"),
    ('{"a": [1, 2, 3]}', "", "row 1", "no rows of numbers"),
    ("time,feed\n10:00:01,1\n10:00:02,2\n", "", "row 1", "no rows of numbers"),
    ("time,feed\n2026-11-25,1\n2026-11-26,2\n", "", "row 1", "no rows of numbers"),
    ("time feed\n0.0 1.0\n0.1 2.0\n", "", "row 1", "no rows of numbers"),
    ("time,feed\n0x10,1\n0x11,2\n", "", "row 1", "no rows of numbers"),
    (changed(20, "0.018,14.1\n"), "", "row 20, column 3", "2 cells, and 3 in the rows before"),
    (changed(20, "0.018\n"), "", "row 20, column 2", "1 cells, and 3"),
    (changed(20, "0.018,14.1,0,7\n"), "", "row 20, column 4", "4 cells, and 3"),
    (changed(20, "0.018,14,1,0\n"), "", "row 20, column 4", "4 cells, and 3"),
    (changed(20, "0.018,14.1,off\n"), "", 'row 20, column 3 "control"', '"off" is not a number'),
    (changed(20, "0.018,14.1 V,0\n"), "", 'row 20, column 2 "feed"', '"14.1 V" is not a number'),
    (changed(20, "0.018,14.1.1,0\n"), "", 'row 20, column 2 "feed"', '"14.1.1" is not a number'),
    (changed(20, "0.018,1e,0\n"), "", 'row 20, column 2 "feed"', '"1e" is not a number'),
    (changed(20, "0.018,0x0E,0\n"), "", 'row 20, column 2 "feed"', '"0x0E" is not a number'),
    (changed(20, "0.018,#REF!,0\n"), "", 'row 20, column 2 "feed"', '"#REF!" is not a number'),
    (changed(20, "0.018,1 2,0\n"), "", 'row 20, column 2 "feed"', '"1 2" is not a number'),
    (changed(20, "0.018,--5,0\n"), "", 'row 20, column 2 "feed"', '"--5" is not a number'),
    (changed(20, "0.018,١٤,0\n"), "", 'row 20, column 2 "feed"', "is not a number"),
    (changed(20, f"0.018,{'9x' * 100},0\n"), "", 'row 20, column 2 "feed"', '..." is not a number'),
    (changed(20, '0.018,"14.1,0\n'), "", "row 20, column 3", "2 cells, and 3"),
    (changed(20, "then it stalled,,\n"), "", 'row 20, column 1 "time"', '"then it stalled" is not a number'),
    (changed(20, "time,feed,control\n"), "", 'row 20, column 1 "time"', '"time" is not a number'),
    (changed(20, "# stalled\n"), "", "row 20, column 2", "1 cells, and 3"),
    (changed(20, "0.018;14.1;0\n"), "", "row 20, column 2", "1 cells, and 3"),
    (changed(2, "0.000,14.1,off\n"), "", 'row 2, column 3 "control"', '"off" is not a number'),
    (changed(2, "0.000,14.1\n"), "", "row 2, column 3", "2 cells, and 3"),
    (changed(61, "0.059,14.1,?\n"), "", 'row 61, column 3 "control"', '"?" is not a number'),
    (changed(20, "\n\n0.018,14.1,off\n"), "", 'row 22, column 3 "control"', '"off" is not a number'),
    (GOOD + GOOD, "", 'row 62, column 1 "time"', "is not a number"),
    (changed(20, "0.005,14.1,0\n"), "", 'row 20, column 1 "time"', "goes back from 0.017 to 0.005"),
    (changed(20, "-0.018,14.1,0\n"), "", 'row 20, column 1 "time"', "goes back"),
    (GOOD.replace("\n0.0", "\n-0.0"), "", 'row 3, column 1 "time"', "goes back"),
    ("time,feed\n5,1\n5,1\n5,1\n", "", 'row 4, column 1 "time"', "does not advance"),
    ("time,feed\n5,1\n", "", 'row 2, column 1 "time"', "does not advance"),
    ("time,feed\n,1\n,2\n,3\n", "", 'row 2, column 1 "time"', "does not advance"),
    ("time,feed\n" + "".join(f"{i**2},1\n" for i in range(50)), "", 'column 1 "time"', "uneven"),
    ("time [h],feed\n0,1\n1,1\n", "", 'column 1 "time [h]"', "say time=s, ms, us or ns"),
    ("time,feed\n0,\n1,\n2,\n", "", "row 2", "no column holds a signal"),
    ("time\n0\n1\n2\n", "", "row 2", "no column holds a signal"),
    ("feed,control\n1,2\n1,2\n", "", "row 2", "no time column, so say the rate in Hz: ?rate=50000"),
    ("1,2\n1,2\n", "", "row 1", "no time column, so say the rate in Hz: ?rate=50000"),
    ("n,feed\n0,1\n1,2\n2,3\n", "", "row 2", "no time column, so say the rate in Hz: ?rate=50000"),
    (GOOD, "?rate=2000", "rate", "1000 Hz by the time column"),
    (GOOD, "?rate=fast", "rate", '"fast" is not a number'),
    (GOOD, "?rate=0", "rate", "too small"),
    (GOOD, "?speed=5", "speed", "known here: rate, time"),
    (GOOD, "?time=h", "time", '"h" is none of s, ms, us, ns, none'),
]


@pytest.mark.parametrize(("content", "query", "place", "said"), TABLES)
def test_a_table_that_cannot_be_understood_is_one_line_with_file_row_and_column(
    content: str, query: str, place: str, said: str, tmp_path: Path
) -> None:
    path = tmp_path / "road.csv"
    path.write_text(content, encoding="utf-8", newline="")
    assert_refused(path, query, place, said)


def array(samples: object) -> bytes:
    content = io.BytesIO()
    np.save(content, samples, allow_pickle=True)  # type: ignore[arg-type]
    return content.getvalue()


def archive(**members: object) -> bytes:
    content = io.BytesIO()
    np.savez(content, allow_pickle=True, **members)  # type: ignore[arg-type]
    return content.getvalue()


def zipped(name: str, member: bytes) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as file:
        file.writestr(name, member)
    return content.getvalue()


def sound() -> bytes:
    content = io.BytesIO()
    with wave.open(content, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes(b"\0\1" * 100)
    return content.getvalue()


LONG = np.arange(1000.0)
BINARIES = [
    ("a.csv", b"\x00\x01\x02\x03" * 100, "", "not text"),
    ("a.csv", bytes(range(256)) * 4, "", "not text"),
    ("a.csv", b"1," * (3 << 20), "", "a line of more than"),
    ("a.npy", array(LONG), "", "sample_rate_hz: not in the file, so say the rate in Hz: ?rate=50000"),
    ("a.npy", array(LONG), "?rate=-1", "rate: -1 is too small"),
    ("a.npy", array(LONG.astype(np.int16)), "?rate=1000", "volts_per_count: not in the file"),
    ("a.npy", array(LONG)[:-8], "?rate=1000", "sample 0: the file ends there"),
    ("a.npy", array(LONG)[:40], "?rate=1000", "header: cannot be read as numpy arrays"),
    ("a.npy", b"", "?rate=1000", "header: neither a whole .npy nor a whole .npz"),
    ("a.npy", b"Dear customer", "?rate=1000", "header: neither a whole .npy nor a whole .npz"),
    ("a.npy", b"\x93NUMPY\x09\x00" + bytes(100), "?rate=1000", "header: cannot be read as numpy arrays"),
    ("a.npy", array(LONG.astype(complex)), "?rate=1000", "samples: type complex128"),
    ("a.npy", array(LONG > 3), "?rate=1000", "samples: type bool"),
    ("a.npy", array(np.array(["a", "b"])), "?rate=1000", "samples: type <U1"),
    ("a.npy", array(np.array([{}, []], dtype=object)), "?rate=1000", "samples: type object"),
    ("a.npy", array(LONG.reshape(10, 10, 10)), "?rate=1000", "samples: shape (10, 10, 10)"),
    ("a.npy", array(np.array(3.0)), "?rate=1000", "samples: shape ()"),
    ("a.npy", array(np.empty((0, 3))), "?rate=1000", "samples: shape (0, 3)"),
    ("a.npy", array(np.ones((5, 5))), "?rate=1000", "cannot tell time from inputs"),
    ("a.npy", array(np.ones((100, 200))), "?rate=1000", "100 inputs; 64 is the most"),
    ("a.npy", array(np.array([0, 2**40])), "?rate=1000&volts_per_count=1", "sample 1: 1099511627776 is more"),
    ("a.npz", archive(), "?rate=1000", "arrays: need at least one"),
    ("a.npz", archive(a=LONG, b=LONG[1:]), "?rate=1000", "found a 1000, b 999"),
    ("a.npz", archive(a=LONG), "", "sample_rate_hz: not in the file"),
    ("a.npz", archive(a=LONG, sample_rate_hz=0), "", "sample_rate_hz.npy: 0 is not possible"),
    ("a.npz", archive(a=LONG, sample_rate_hz=np.nan), "", "sample_rate_hz.npy: nan is not possible"),
    ("a.npz", archive(a=LONG, sample_rate_hz="fast"), "", "sample_rate_hz.npy: type <U4"),
    ("a.npz", archive(a=LONG, sample_rate_hz=LONG + 1), "", "sample_rate_hz.npy: type float64, shape (1000,)"),
    ("a.npz", archive(a=LONG, time=LONG), "", "time: stamps are not read"),
    ("a.npz", archive(a=np.array([1, 2]), sample_rate_hz=9, volts_per_count=[1.0, 2.0]), "", "2 values for 1 inputs"),
    ("a.npz", zipped("letter.txt", b"Dear customer"), "", "arrays: need at least one"),
    ("a.npz", zipped("a.npy", b"Dear customer"), "", "header: cannot be read as numpy arrays"),
    ("a.npz", archive(a=LONG)[:-100], "", "header: neither a whole .npy nor a whole .npz"),
    ("a.wav", b"", "", "header: cannot be read as a sound file"),
    ("a.wav", b"RIFF", "", "header: cannot be read as a sound file"),
    ("a.wav", sound()[:30], "", "header: cannot be read as a sound file"),
    ("a.wav", b"Dear customer", "", "header: cannot be read as a sound file"),
    ("a.wav", sound(), "?rate=0", "rate: 0 is too small"),
    ("a.wav", sound(), "?time=s", "time: unknown key; known here: rate"),
    ("a.flac", b"fLaC" + bytes(60), "", "header: cannot be read as a sound file"),
]


@pytest.mark.parametrize(("name", "content", "query", "said"), BINARIES)
def test_a_file_that_cannot_be_understood_is_one_line_with_file_and_place(
    name: str, content: bytes, query: str, said: str, tmp_path: Path
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    assert_refused(path, query, "", said)


def assert_refused(path: Path, query: str, place: str, said: str) -> None:
    with pytest.raises(CoilcallError) as caught:
        read(path, query)
    line = str(caught.value)
    assert isinstance(caught.value, FormatError | AddressError)
    assert line.startswith(str(path))
    assert place in line
    assert said in line
    assert len(line.splitlines()) == 1
    assert len(line) < len(str(path)) + 250


def test_what_was_read_before_a_bad_row_is_given_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.files.text.CHUNK_BYTES", 200)
    path = tmp_path / "road.csv"
    path.write_text(changed(50, "0.048,14.1,off\n"))
    source = open_file(parse_address(str(path)))
    source.open()
    came: list[SampleBlock] = []
    with pytest.raises(FormatError, match="row 50, column 3"):
        came.extend(source.blocks())
    source.close()
    ends = [0, *(block.end_index for block in came)]
    assert ends[:-1] == [block.first_index for block in came]
    assert 20 < ends[-1] <= 48


def test_a_column_that_begins_late_is_refused_where_it_begins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.files.text.CHUNK_BYTES", 200)
    path = tmp_path / "late.csv"
    path.write_text("time,feed,late\n" + "".join(f"{i},1,{i if i > 80 else ''}\n" for i in range(100)))
    assert_refused(path, "", 'row 83, column 3 "late"', "left out as empty")


@pytest.mark.parametrize("name", ["none.csv", "none.wav", "none.npy", "nowhere/none", "none"])
def test_a_file_that_is_not_there_is_said_so(name: str, tmp_path: Path) -> None:
    with pytest.raises(AddressError, match=f"{name}: cannot be opened: No such file or directory"):
        open_file(parse_address(str(tmp_path / name)))


def test_a_file_that_vanishes_before_it_is_opened_is_said_so(tmp_path: Path) -> None:
    for name, content in (("a.csv", GOOD.encode()), ("a.npy", array(LONG)), ("a.wav", sound())):
        path = tmp_path / name
        path.write_bytes(content)
        source = open_file(parse_address(str(path)))
        path.unlink()
        with pytest.raises(AddressError, match=f"{name}: cannot be opened: No such file or directory"):
            source.open()


@pytest.mark.parametrize(
    ("content", "kind"), [(array(LONG), "ArraySource"), (archive(a=LONG), "ArraySource"), (sound(), "SoundSource")]
)
def test_content_decides_before_the_name(content: bytes, kind: str, tmp_path: Path) -> None:
    path = tmp_path / "road.csv"
    path.write_bytes(content)
    assert type(open_file(parse_address(str(path)))).__name__ == kind


def test_a_folder_is_a_recording_and_takes_no_options(tmp_path: Path) -> None:
    assert type(open_file(parse_address(str(tmp_path)))).__name__ == "RecordingSource"
    with pytest.raises(AddressError, match="rate: a recording's own folder says everything; leave it out"):
        open_file(parse_address(f"{tmp_path}?rate=3"))


@pytest.mark.parametrize("path", ["", "a\0b", "x" * 5000])
def test_what_can_name_no_file_is_refused_in_one_line(path: str) -> None:
    with pytest.raises(AddressError, match=r"names no file|cannot be opened"):
        open_file(Address(f"file:{path}", "file", path))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(AddressError, match="neither a file nor a folder"):
        open_file(parse_address(str(tmp_path / "pipe")))
