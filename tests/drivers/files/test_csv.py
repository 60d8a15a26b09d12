"""Tables as the world writes them. Values are held against Python's csv and decimal, which share no code with ours."""

import csv
import io
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.errors import CoilcallError, FormatError
from drivers.address import parse_address
from drivers.files import csv_source, open_file, text
from tests.drivers.files.reading import read

ROWS = [(i, 14.1 - 0.013 * i, 5.0 * (i % 3 == 0), -0.25 * i) for i in range(40)]


def table(
    header: str = "Time [s],feed,control,answer\n",
    delimiter: str = ",",
    decimal: str = ".",
    step: float = 2e-5,
    end: str = "\n",
    decimals: int = 5,
) -> str:
    """Write ROWS in one of the world's dialects; `step` is what the time column counts in."""
    lines = [
        delimiter.join([f"{i * step:.{decimals}f}", *(f"{value:.4f}" for value in values)]).replace(".", decimal)
        for i, *values in ROWS
    ]
    return header + "".join(line + end for line in lines)


VOLTS = np.array([[round(value, 4) for value in row[1:]] for row in ROWS]).T

DIALECTS = {
    "comma": table(),
    "semicolon": table("Time [s];feed;control;answer\n", ";"),
    "tab": table("Time [s]\tfeed\tcontrol\tanswer\n", "\t"),
    "decimal comma and semicolon": table("Time [s];feed;control;answer\n", ";", ","),
    "decimal comma and tab": table("Time [s]\tfeed\tcontrol\tanswer\n", "\t", ","),
    "decimal comma in quotes": table("Time [s],feed,control,answer\n", '","', ",", end='"\n').replace("\n0", '\n"0'),
    "carriage returns and line feeds": table(end="\r\n"),
    "carriage returns only": table("Time [s],feed,control,answer\r", end="\r"),
    "no header": table(""),
    "blank line after the header": table("Time [s],feed,control,answer\n\n"),
    "unit row in brackets": table("Time,feed,control,answer\n(s),(V),(V),(V)\n"),
    "unit row, plain": table("Time;feed;control;answer\ns;V;V;V\n", ";"),
    "unit row, then a blank line": table("Time,feed,control,answer\n(s),(V),(V),(V)\n\n"),
    "milliseconds": table("Time,feed,control,answer\n(ms),(V),(V),(V)\n", step=0.02, decimals=2),
    "milliseconds in the header": table("Time [ms],feed,control,answer\n", step=0.02, decimals=2),
    "a unit row with an unknown unit": table("Time,feed,control,answer\nms,V,V,bar\n", step=0.02, decimals=2),
    "a header of units": table("ms,V,V,V\n", step=0.02, decimals=2),
    "microseconds, as a suffix": table("t_us,feed,control,answer\n", step=20, decimals=0),
    "microseconds, with the micro sign": table("Time (µs),feed,control,answer\n", step=20, decimals=0),
    "microseconds, with the Greek letter": table("Time (μs),feed,control,answer\n", step=20, decimals=0),
    "nanoseconds": table("Time (ns),feed,control,answer\n", step=20000, decimals=0),
    "comment lines before": table("# made in bay 2\n# 25.11.2026\nTime [s],feed,control,answer\n"),
    "commented header": table("# Time [s],feed,control,answer\n"),
    "preamble": table("Model,bench\nDate,2026-11-25\nPoints,40\n\nTime [s],feed,control,answer\n"),
    "preamble of numbers": table("40\n50000\nTime [s],feed,control,answer\n"),
    "quoted header": table('"Time [s]","feed","control","answer"\n'),
    "trailing delimiter": table(end=",\n"),
    "trailing delimiter in the header too": table("Time [s],feed,control,answer,\n", end=",\n"),
    "blanks around": table(end=" \n").replace(",", " , "),
    "no line end at the end": table().rstrip("\n"),
    "blank lines at the end": table() + "\n\n",
    "numbered rows before": "n,Time [s],feed,control,answer\n"
    + "".join(f"{i},{line}\n" for i, line in enumerate(table("").splitlines())),
    "signs": table().replace("\n0", "\n+0").replace(",5.0", ",+5.0"),
}


@pytest.mark.parametrize("content", DIALECTS.values(), ids=DIALECTS.keys())
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
def test_the_same_samples_come_out_of_every_dialect(content: str, encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "road.csv"
    path.write_bytes(content.encode(encoding, errors="replace" if "μ" not in content else "ignore"))
    if "μ" in content and encoding == "latin-1":
        return
    reading = read(path)
    assert reading.info.sample_rate_hz == 50000.0
    assert [channel.input for channel in reading.info.channels] == ["in1", "in2", "in3"]
    np.testing.assert_array_equal(reading.index, np.arange(len(ROWS)))
    np.testing.assert_allclose(reading.volts, VOLTS, rtol=0.0, atol=1e-12)


def test_labels_are_the_header_and_units_scale_the_values(tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    path.write_text(
        "Time;feed;control [mV];coil_kv;clamp\ns;V;;;(mA)\n0;1,5;2500;0,25;300\n0,001;-1,5;-2500;-30;-300\n"
    )
    reading = read(path)
    assert [channel.label for channel in reading.info.channels] == ["feed", "control [mV]", "coil_kv", "clamp"]
    assert reading.info.sample_rate_hz == 1000.0
    np.testing.assert_allclose(reading.volts[:, 0], [1.5, 2.5, 250.0, 0.3])
    np.testing.assert_allclose(reading.volts[:, 1], [-1.5, -2.5, -30000.0, -0.3])


@pytest.mark.parametrize("header", ["", "feed,control\n", "sample,feed,control\n"])
def test_a_table_without_time_needs_the_rate_and_says_so(header: str, tmp_path: Path) -> None:
    path = tmp_path / "plain.csv"
    numbered = header.startswith("sample")
    lines = [f"{i},14.0,{i % 2}.5\n" if numbered else f"14.0,{i % 2}.5\n" for i in range(9)]
    path.write_text(header + "".join(lines))
    reading = read(path, "?rate=44100")
    assert reading.info.sample_rate_hz == 44100.0
    np.testing.assert_allclose(reading.volts, [[14.0] * 9, [i % 2 + 0.5 for i in range(9)]])
    with pytest.raises(FormatError, match=r"plain.csv: row \d+: no time column, so say the rate in Hz: \?rate=50000"):
        read(path)


def test_the_address_can_correct_what_a_file_says_about_time(tmp_path: Path) -> None:
    path = tmp_path / "road.csv"
    path.write_text(table("Time,feed,control,answer\n", step=0.02, decimals=2))
    assert read(path).info.sample_rate_hz == 50.0
    assert read(path, "?time=ms").info.sample_rate_hz == 50000.0
    ignored = read(path, "?time=none&rate=20000")
    assert ignored.info.sample_rate_hz == 20000.0
    np.testing.assert_allclose(ignored.volts, VOLTS)


def test_an_infinity_is_a_sample_at_the_end_of_the_range(tmp_path: Path) -> None:
    path = tmp_path / "clipped.csv"
    path.write_text("t_ms,a\n0,∞\n1,-∞\n2,inf\n3,-Infinity\n4,1e999\n5,3000\n6,1.5\n")
    reading = read(path)
    channel = reading.info.channels[0]
    counts = np.concatenate([block.counts for block in reading.blocks], axis=1)[0]
    high, low = channel.high_count, channel.low_count
    assert counts.tolist() == [high, low, high, low, high, high, 1_500_000]


@pytest.mark.parametrize("marker", ["", "NaN", "nan", "---", " --- ", "N/A", '""'])
def test_a_row_with_a_value_missing_is_a_lost_sample(marker: str, tmp_path: Path) -> None:
    lines = table().splitlines(keepends=True)
    for i in (8, 9, 20):
        cells = lines[i + 1].split(",")
        lines[i + 1] = ",".join([*cells[:2], marker, cells[3]])
    path = tmp_path / "lost.csv"
    path.write_text("".join(lines))
    reading = read(path)
    assert reading.gaps == [(8, 10), (20, 21)]
    np.testing.assert_allclose(reading.volts, np.delete(VOLTS, [8, 9, 20], axis=1))


def test_a_column_that_is_empty_throughout_is_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "empty.csv"
    path.write_text("Time,feed,spare,answer\n" + "".join(f"{i / 1000},1,,2\n" for i in range(50)))
    reading = read(path)
    assert reading.info.source == f'{path} (left out as empty: column 3 "spare")'
    assert [(channel.input, channel.label) for channel in reading.info.channels] == [("in1", "feed"), ("in3", "answer")]
    assert len(reading.index) == 50


def test_missing_spans_are_gaps_of_exactly_the_missing_samples(tmp_path: Path) -> None:
    lines = table().splitlines(keepends=True)
    path = tmp_path / "gaps.csv"
    path.write_text("".join(lines[:11] + lines[12:21] + lines[31:]))
    reading = read(path)
    assert reading.gaps == [(10, 11), (20, 30)]
    np.testing.assert_allclose(reading.volts, VOLTS[:, reading.index])


def test_a_last_row_that_was_cut_off_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "cut.csv"
    path.write_text(table().rstrip("\n").rpartition(",")[0])
    assert len(read(path).index) == len(ROWS) - 1


@pytest.mark.parametrize("chunk", [100, 257, 1000])
def test_how_the_file_is_cut_for_reading_changes_nothing(
    chunk: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = table("t_us,feed,control,answer\n", step=20, decimals=0).splitlines(keepends=True)
    path = tmp_path / "road.csv"
    path.write_text("".join(lines[:15] + lines[18:]))
    whole = read(path)
    monkeypatch.setattr(text, "CHUNK_BYTES", chunk)
    cut = read(path)
    assert cut.info == whole.info
    np.testing.assert_array_equal(cut.index, whole.index)
    np.testing.assert_array_equal(cut.volts, whole.volts)


DECIMALS = st.decimals(min_value=-2000, max_value=2000, allow_nan=False, allow_infinity=False, places=6)


@settings(max_examples=50)
@given(st.lists(st.tuples(DECIMALS, DECIMALS, DECIMALS), min_size=2, max_size=30), st.sampled_from(",;\t"))
def test_every_decimal_comes_out_exactly(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[Decimal, ...]], delimiter: str
) -> None:
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter)
    writer.writerow(["time", "a", "b", "c"])
    writer.writerows([Decimal(i) / 1000, *row] for i, row in enumerate(rows))
    path = tmp_path_factory.mktemp("exact") / "exact.csv"
    path.write_text(written.getvalue(), newline="")
    reading = read(path)
    counts = np.concatenate([block.counts for block in reading.blocks], axis=1)
    again = list(csv.reader(path.read_text().splitlines(), delimiter=delimiter))[1:]
    assert counts.T.tolist() == [[int(Decimal(cell).scaleb(6)) for cell in row[1:]] for row in again]


def test_closing_ends_the_blocks_and_may_be_done_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text, "CHUNK_BYTES", 128)
    path = tmp_path / "road.csv"
    path.write_text(table())
    source = open_file(parse_address(str(path)))
    assert isinstance(source, csv_source.CsvSource)
    source.open()
    blocks = source.blocks()
    next(blocks)
    source.close()
    source.close()
    assert sum(block.samples for block in blocks) < len(ROWS)


@settings(max_examples=300)
@given(st.binary(max_size=200), st.integers(0, 300), st.integers(0, 60), st.sampled_from(["", "?rate=1000"]))
def test_any_bytes_are_read_or_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, junk: bytes, at: int, gone: int, query: str
) -> None:
    good = table().encode()
    path = tmp_path_factory.getbasetemp() / "fuzz.csv"
    for content in (junk, good[:at] + junk + good[at + gone :]):
        path.write_bytes(content)
        outcome = f"{path}"
        try:
            read(path, query)
        except CoilcallError as error:
            outcome = str(error)
        assert str(path) in outcome
        assert len(outcome.splitlines()) == 1


@settings(max_examples=200)
@given(st.text('0123456789.,;\t\n-+eE∞naNif"# Vms[]()', max_size=200), st.sampled_from(["", "?rate=1000"]))
def test_any_table_like_text_is_read_or_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, content: str, query: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "like.csv"
    path.write_text(content, encoding="utf-8")
    outcome = f"{path}"
    try:
        read(path, query)
    except CoilcallError as error:
        outcome = str(error)
    assert str(path) in outcome
    assert len(outcome.splitlines()) == 1
