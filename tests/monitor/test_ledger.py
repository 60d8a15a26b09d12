import sqlite3
from dataclasses import astuple, fields, replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.errors import CoilcallError, FormatError
from monitor.firing.records import Firing, Outcome
from monitor.flags import Flag, Kind, Severity
from monitor.ledger import SCHEMA, Coverage, Entries, Gap, Ledger, read_flags

FLAG = Flag(1, Kind.MISSING_ACKNOWLEDGEMENT, Severity.FAULT, 4, None, 12.5, None, 1, "no answer")

finite = st.floats(allow_nan=False, allow_infinity=False)
firings = st.builds(
    Firing,
    turn=st.integers(0, 2**40),
    cylinder=st.integers(1, 16),
    time_s=finite,
    outcome=st.sampled_from(Outcome),
    called=st.none() | st.booleans(),
    dwell_ms=st.none() | finite,
    speed_rpm=st.none() | finite,
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ledger.sqlite"


def read(path: Path, table: str) -> list[tuple[object, ...]]:
    """As anybody would: with SQLite and nothing of ours."""
    book = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        return book.execute(f"SELECT * FROM {table}").fetchall()
    finally:
        book.close()


def test_the_layout_names_its_version(path: Path) -> None:
    Ledger(path).close()
    assert read(path, "about") == [("schema", SCHEMA)]
    assert read(path, "pragma_user_version") == [(1,)]


@pytest.mark.parametrize(("table", "record"), [("firings", Firing), ("flags", Flag), ("gaps", Gap)])
def test_the_columns_are_the_fields_of_the_record(path: Path, table: str, record: type) -> None:
    Ledger(path).close()
    columns = [row[1] for row in read(path, f"pragma_table_info('{table}')")]
    assert columns == [field.name for field in fields(record)]


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(firings, max_size=20))
def test_firings_come_back_exactly_as_they_went_in(tmp_path: Path, entered: list[Firing]) -> None:
    path = tmp_path / "again.sqlite"
    path.unlink(missing_ok=True)
    with Ledger(path) as ledger:
        ledger.write(Entries(firings=entered))
    assert read(path, "firings") == [astuple(firing) for firing in entered]


def test_a_flag_that_grows_and_clears_stays_one_row(path: Path) -> None:
    with Ledger(path) as ledger:
        ledger.write(Entries(flags=[FLAG, replace(FLAG, number=2)]))
        ledger.write(Entries(flags=[replace(FLAG, count=3, end_s=13.0)]))
    assert read(path, "flags") == [astuple(replace(FLAG, count=3, end_s=13.0)), astuple(replace(FLAG, number=2))]


def test_flags_read_back_are_those_that_were_written(path: Path) -> None:
    flags = [FLAG, replace(FLAG, number=2, end_s=13.0, cylinder=None, input="in1", severity=Severity.INFO)]
    with Ledger(path) as ledger:
        ledger.write(Entries(flags=list(reversed(flags))))
        assert read_flags(path) == flags
    assert read_flags(path) == flags


@pytest.mark.parametrize("content", [None, b"", b"no ledger at all" * 100])
def test_what_is_no_ledger_is_one_line(path: Path, content: bytes | None) -> None:
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FormatError, match=r"ledger\.sqlite: is no ledger of ours"):
        read_flags(path)


def test_gaps_add_up_and_coverage_is_the_latest(path: Path) -> None:
    with Ledger(path) as ledger:
        ledger.write(Entries(gaps=[Gap(100, 5)], coverage=Coverage(1.0, 0.9, 5)))
        ledger.write(Entries(gaps=[Gap(200, 7)], coverage=Coverage(2.0, 0.95, 12)))
    assert read(path, "gaps") == [(100, 5), (200, 7)]
    assert read(path, "coverage") == [(1, 2.0, 0.95, 12)]


def test_what_was_written_can_be_read_while_the_book_is_still_open(path: Path) -> None:
    with Ledger(path) as ledger:
        ledger.write(Entries(flags=[FLAG]))
        assert read(path, "flags") == [astuple(FLAG)]


def test_what_was_written_survives_a_writer_that_never_closed(path: Path, tmp_path: Path) -> None:
    with Ledger(path) as ledger:
        ledger.write(Entries(flags=[FLAG]))
        after = tmp_path / "after"
        after.mkdir()
        for file in tmp_path.glob("ledger.sqlite*"):
            (after / file.name).write_bytes(file.read_bytes())
    book = sqlite3.connect(after / "ledger.sqlite")
    try:
        assert book.execute("SELECT * FROM flags").fetchall() == [astuple(FLAG)]
    finally:
        book.close()


def test_closing_leaves_one_file(path: Path) -> None:
    with Ledger(path) as ledger:
        ledger.write(Entries(flags=[FLAG]))
    ledger.close()
    assert [file.name for file in path.parent.iterdir()] == ["ledger.sqlite"]


def test_a_write_that_fails_adds_nothing_and_says_which_file(path: Path) -> None:
    with Ledger(path) as ledger:
        with pytest.raises(CoilcallError, match=r"ledger\.sqlite: cannot be written: .*UNIQUE"):
            ledger.write(Entries(flags=[FLAG], gaps=[Gap(1, 1), Gap(1, 1)]))
        assert read(path, "flags") == []
        ledger.write(Entries(flags=[FLAG]))
    assert read(path, "flags") == [astuple(FLAG)]


def test_a_book_is_never_written_over(path: Path) -> None:
    Ledger(path).close()
    with pytest.raises(CoilcallError, match="is there already"):
        Ledger(path)


def test_a_folder_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(CoilcallError, match="cannot be written"):
        Ledger(tmp_path / "nowhere" / "ledger.sqlite")
