"""Marks of a whole recording: those in the samples, those keyed while it was taken, and what lay just before them."""

import io
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console

from acquire.block import SampleBlock
from acquire.recording import RecordingWriter
from drivers.registry import source_for
from monitor.analysis import analyze_recording, print_result
from monitor.entries import Entries
from monitor.flags import Kind
from monitor.ledger import LEDGER_NAME, Ledger
from monitor.marks import Mark
from monitor.recorded import recorded_beside
from monitor.summary import summarize
from monitor.table import print_summary
from tests.monitor.publish.telling import flag

PRESSED = (
    "simulated:?inputs=supply,control1,acknowledgement,marker&rate=20000&duration=5&pace=0&marks=2.1-4.7"
    "&fault=no-answer,cylinder=4,start_s=1.0,end_s=1.3"
)


def recorded(folder: Path, *marks: Mark, shift: int = 0) -> Path:
    """The simulated drive as a recording, from sample `shift` on, with a ledger of these marks beside it."""
    source = source_for(PRESSED)
    info = source.open()
    writer = RecordingWriter(folder, info)
    for block in source.blocks():
        writer.write(SampleBlock(block.first_index + shift, block.counts))
    writer.close()
    with Ledger(folder / LEDGER_NAME, datetime.now(UTC)) as book:
        book.write(Entries(marks=marks))
    return folder


def summary_of(folder: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    print_result(analyze_recording(str(folder), None), str(folder), as_json=True)
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_presses_come_from_the_samples_and_keyed_marks_from_the_ledger_each_once_in_the_order_of_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keyed = (Mark(1, 2.1, "marker in4"), Mark(2, 3.5, "key", "uphill"), Mark(3, 4.7, "marker in4"))
    marks = summary_of(recorded(tmp_path / "drive", *keyed), capsys)["marks"]
    assert [(round(one["time_s"], 2), one["by"], one["note"]) for one in marks] == [
        (2.1, "marker in4", ""),
        (3.5, "key", "uphill"),
        (4.7, "marker in4", ""),
    ]


def test_of_a_feed_that_was_gone_no_resistance_is_estimated() -> None:
    found = analyze_recording("fixtures/feed-dropout", None)
    sags = [one.detail for one in found.flags if one.kind is Kind.SUPPLY_SAG]
    assert any(", at 0.04 V, rather than weak" in detail for detail in sags), sags
    assert not any("ohm" in detail for detail in sags)


def test_on_a_terminal_of_80_columns_no_word_and_no_figure_is_cut_short(tmp_path: Path) -> None:
    found = analyze_recording(str(recorded(tmp_path / "drive", Mark(1, 1.2, "key"))), None)
    shown = Console(file=io.StringIO(), width=80)
    print_summary(summarize(found.analyzer, "drive", found.flags, found.marks), found.analyzer.standing, shown)
    assert isinstance(shown.file, io.StringIO)
    text = shown.file.getvalue()
    assert all(word in text for word in ("unanswered", "observed", "missing-acknowledgement", "revolutions"))
    assert "…" not in text
    assert max(map(cell_len, text.splitlines())) <= 80


def test_a_recording_without_samples_says_so_and_where_its_flags_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = recorded(tmp_path / "drive")
    with Ledger(folder / LEDGER_NAME, datetime.now(UTC), is_new=False) as book:
        book.write(Entries(flags=(flag(1),)))
    for file in folder.glob("samples-*"):
        file.unlink()
    print_result(analyze_recording(str(folder), None), str(folder), as_json=False)
    out, err = capsys.readouterr()
    assert " ".join(out.split()).endswith("holds no samples, so there is no roll to call")
    assert err == "coilcall: the 1 flag of its ledger cannot be found again\n"


def test_a_mark_names_the_flags_of_the_three_seconds_before_it_by_their_places(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    summary = summary_of(recorded(tmp_path / "drive"), capsys)
    near, far = summary["marks"]
    kinds = [summary["flags"][place - 1]["kind"] for place in near["flags"]]
    assert "missing-acknowledgement" in kinds
    assert far["flags"] == [place for place in near["flags"] if summary["flags"][place - 1]["end_s"] is None]


def test_the_table_tells_marks_and_what_was_flagged_before_them_and_foreign_text_stays_in_its_cell(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = recorded(tmp_path / "drive", Mark(1, 3.0, "key", "[bold]\x1b[2J\nhill"))
    print_result(analyze_recording(str(folder), None), str(folder), as_json=False)
    out = capsys.readouterr().out
    assert "Marks: 3" in out
    assert "missing-acknowledgement cyl 4 at 1." in out
    assert "[bold]␛[2J␊hill" in out
    assert "\x1b" not in out


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda path: path.write_bytes(b"SQLite format 3\0" + b"\xff" * 4000), "is no ledger of ours"),
        (lambda path: _change(path, "UPDATE marks SET time_s = 'soon'"), "'soon' is no moment"),
        (lambda path: _change(path, "UPDATE marks SET time_s = 9e999"), "inf is no moment"),
        (lambda path: _change(path, "UPDATE marks SET note = x'00ff'"), "text would be right"),
        (lambda path: _change(path, "DROP TABLE marks"), "no such table: marks"),
    ],
)
def test_a_ledger_that_gives_no_marks_is_one_line_and_the_analysis_goes_on(
    spoil: Callable[[Path], object], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = recorded(tmp_path / "drive", Mark(1, 3.0, "key"))
    spoil(folder / LEDGER_NAME)
    found = analyze_recording(str(folder), None)
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert [round(mark.time_s, 2) for mark in found.marks] == [2.1, 4.7]


def _change(path: Path, statement: str) -> None:
    with closing(sqlite3.connect(path)) as book, book:
        book.execute(statement)


@pytest.mark.parametrize("address", ["simulated:", "any.csv", "serial:/dev/ttyACM0", "n" * 300])
def test_beside_anything_but_a_folder_that_can_be_seen_nothing_was_written_down(address: str) -> None:
    found = recorded_beside(address)
    assert (found.marks, found.flags, found.remark) == ((), (), "")


def test_a_recording_whose_first_samples_are_gone_says_from_when_on_it_is_and_keeps_its_times(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = recorded(tmp_path / "drive", shift=9 * 20_000)
    summary = summary_of(folder, capsys)
    assert (summary["start_s"], summary["duration_s"], summary["coverage"]) == (9.0, 5.0, 1.0)
    assert [round(mark["time_s"], 2) for mark in summary["marks"]] == [11.1, 13.7]
    print_result(analyze_recording(str(folder), None), str(folder), as_json=False)
    assert "5.0 s (from 9.0 s on) at 20000 samples/s" in capsys.readouterr().out
