import math
import sqlite3
from contextlib import closing
from dataclasses import astuple, fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.errors import CoilcallError, FormatError
from acquire.recording import Dropped
from monitor.entries import Clip, Coverage, Entries, Event, Gap
from monitor.firing.records import Firing, Outcome
from monitor.flags import Flag, Kind, Severity
from monitor.ledger import Ledger
from monitor.ledger_reader import read_flags, read_marks, read_unclipped
from monitor.ledger_tables import SCHEMA
from monitor.marks import Mark

STARTED = datetime(2026, 1, 1, 12, tzinfo=UTC)
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
    Ledger(path, STARTED).close()
    (schema, (key, recording_id)) = read(path, "about")
    assert schema == ("schema", SCHEMA)
    assert key == "recording_id"
    assert len(bytes.fromhex(str(recording_id))) == 16
    assert read(path, "pragma_user_version") == [(2,)]


@pytest.mark.parametrize(
    ("table", "record"),
    [("firings", Firing), ("flags", Flag), ("gaps", Gap), ("marks", Mark), ("events", Event), ("dropped", Dropped)],
)
def test_the_columns_are_the_fields_of_the_record(path: Path, table: str, record: type) -> None:
    Ledger(path, STARTED).close()
    columns = [row[1] for row in read(path, f"pragma_table_info('{table}')")]
    assert columns == [field.name for field in fields(record)]


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(firings, max_size=20))
def test_firings_come_back_exactly_as_they_went_in(tmp_path: Path, entered: list[Firing]) -> None:
    path = tmp_path / "again.sqlite"
    path.unlink(missing_ok=True)
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(firings=entered))
    assert read(path, "firings") == [astuple(firing) for firing in entered]


def test_a_flag_that_grows_and_clears_stays_one_row(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(flags=[FLAG, replace(FLAG, number=2)]))
        ledger.write(Entries(flags=[replace(FLAG, count=3, end_s=13.0)]))
    assert read(path, "flags") == [astuple(replace(FLAG, count=3, end_s=13.0)), astuple(replace(FLAG, number=2))]


def test_flags_read_back_are_those_that_were_written(path: Path) -> None:
    flags = [FLAG, replace(FLAG, number=2, end_s=13.0, cylinder=None, input="in1", severity=Severity.INFO)]
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(flags=list(reversed(flags))))
        assert read_flags(path) == flags
    assert read_flags(path) == flags


@pytest.mark.parametrize("content", [None, b"", b"no ledger at all" * 100])
def test_what_is_no_ledger_is_one_line(path: Path, content: bytes | None) -> None:
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FormatError, match=r"ledger\.sqlite: (is no ledger of ours|cannot be opened)"):
        read_flags(path)


def test_gaps_add_up_and_coverage_is_the_latest(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(gaps=[Gap(100, 5)], coverage=Coverage(1.0, 0.9, 5)))
        ledger.write(Entries(gaps=[Gap(200, 7)], coverage=Coverage(2.0, 0.95, 12)))
    assert read(path, "gaps") == [(100, 5), (200, 7)]
    assert read(path, "coverage") == [(1, 2.0, 0.95, 12)]


def test_what_was_written_can_be_read_while_the_book_is_still_open(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(flags=[FLAG]))
        assert read(path, "flags") == [astuple(FLAG)]


def test_what_was_written_survives_a_writer_that_never_closed(path: Path, tmp_path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
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


def test_what_was_written_is_on_the_disk_before_anybody_is_told(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        (level,) = ledger._book.execute("PRAGMA synchronous").fetchone()
    assert level == 2, "only FULL outlasts a power cut in write-ahead mode (SQLite: PRAGMA synchronous)"


def test_closing_leaves_one_file(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(flags=[FLAG]))
    ledger.close()
    assert [file.name for file in path.parent.iterdir()] == ["ledger.sqlite"]


def test_a_write_that_fails_adds_nothing_and_says_which_file(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        with pytest.raises(CoilcallError, match=r"ledger\.sqlite: cannot be written: .*NOT NULL"):
            ledger.write(Entries(flags=[FLAG], marks=[Mark(1, math.nan, "key")]))
        assert read(path, "flags") == []
        ledger.write(Entries(flags=[FLAG]))
    assert read(path, "flags") == [astuple(FLAG)]


def test_what_befell_the_measurement_comes_back_as_it_went_in(path: Path) -> None:
    events = [Event(1.5, "lost", "board: unplugged"), Event(4.0, "back", "", 2.5)]
    dropped = [Dropped(1000, 64, "No space left on device")]
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(events=events, dropped=dropped, marks=[Mark(1, 2.0, "key")], first_index=7))
    assert read(path, "events") == [astuple(event) for event in events]
    assert read(path, "dropped") == [astuple(dropped[0])]
    assert read_marks(path) == [Mark(1, 2.0, "key")]
    ((number, started_utc, first_index, versions),) = read(path, "sessions")
    assert (number, started_utc, first_index) == (1, STARTED.isoformat(), 7)
    assert "coilcall" in str(versions)


def test_a_book_gone_on_with_keeps_its_recording_and_says_what_was_counted_before(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        first = ledger.counted
        ledger.write(Entries(flags=[FLAG, replace(FLAG, number=2)], marks=[Mark(1, 2.0, "key")], first_index=0))
    with Ledger(path, STARTED + timedelta(hours=1), is_new=False) as ledger:
        assert ledger.counted == replace(first, session=1, flag=2, mark=1)
        ledger.write(Entries(first_index=500, coverage=Coverage(1.0, 1.0, 0)))
    assert [row[0::2] for row in read(path, "sessions")] == [(1, 0), (2, 500)]
    assert read(path, "coverage") == [(2, 1.0, 1.0, 0)]


def test_a_book_of_the_first_version_is_read_but_not_gone_on_with(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(flags=[FLAG]))
    book = sqlite3.connect(path)
    book.execute("UPDATE about SET value = 'coilcall.ledger/1' WHERE key = 'schema'")
    book.commit()
    book.close()
    assert read_flags(path) == [FLAG]
    with pytest.raises(FormatError, match=r"coilcall\.ledger/1; only coilcall\.ledger/2"):
        Ledger(path, STARTED, is_new=False)


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        ("DELETE FROM about WHERE key = 'recording_id'", "its recording_id is None; text would be right"),
        ("UPDATE about SET value = x'00ff' WHERE key = 'recording_id'", r"its recording_id is b'\x00\xff'"),
        ("UPDATE sessions SET number = 9223372036854775807", "its last session is number 9223372036854775807"),
        ("UPDATE flags SET number = 9223372036854775807", "its last flag is number 9223372036854775807"),
        ("INSERT INTO marks VALUES (9223372036854775807, 0.5, 'key', '')", "its last mark is number"),
    ],
)
def test_a_book_that_cannot_be_counted_on_from_is_refused_in_one_line_and_stays_as_it_is(
    path: Path, damage: str, says: str
) -> None:
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(flags=[FLAG]))
    with closing(sqlite3.connect(path)) as book, book:
        book.execute(damage)
    before = [read(path, table) for table in ("about", "sessions", "flags", "marks")]
    with pytest.raises(FormatError) as caught:
        Ledger(path, STARTED, is_new=False)
    assert str(caught.value).startswith(f"{path}: {says}")
    assert [read(path, table) for table in ("about", "sessions", "flags", "marks")] == before


def test_a_book_that_was_taken_away_is_said_to_be_gone_and_taken_back_goes_on(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        moved = path.rename(path.with_name("elsewhere"))
        with pytest.raises(CoilcallError, match=r"ledger\.sqlite: is gone"):
            ledger.write(Entries(flags=[FLAG]))
        moved.rename(path)
        ledger.write(Entries(flags=[FLAG]))
    assert read_flags(path) == [FLAG]


def test_minutes_add_up_the_firings_by_minute_and_cylinder(path: Path) -> None:
    turns = [
        Firing(1, 1, 59.9, Outcome.ACKNOWLEDGED, True, speed_rpm=800.0),
        Firing(2, 2, 60.0, Outcome.UNACKNOWLEDGED, None, speed_rpm=810.0),
        Firing(3, 1, 61.0, Outcome.UNOBSERVED, None),
        Firing(4, 1, 61.1, Outcome.UNCOMMANDED, False, speed_rpm=900.0),
    ]
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(firings=turns))
    assert read(path, "minutes") == [
        (0, 1, 1, 1, 1, 0, 0, 0, 800.0, 800.0, 800.0),
        (1, 1, 2, 0, 0, 0, 1, 1, 900.0, 900.0, 900.0),
        (1, 2, 1, None, 0, 1, 0, 0, 810.0, 810.0, 810.0),
    ]


def test_a_book_is_never_written_over(path: Path) -> None:
    Ledger(path, STARTED).close()
    with pytest.raises(CoilcallError, match="is there already"):
        Ledger(path, STARTED)


def test_a_folder_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(CoilcallError, match="cannot be written"):
        Ledger(tmp_path / "nowhere" / "ledger.sqlite", STARTED)


def test_a_row_that_is_there_already_keeps_nothing_out_of_the_book(path: Path) -> None:
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(gaps=[Gap(1, 1)]))
        ledger.write(Entries(gaps=[Gap(1, 1)], flags=[FLAG]))
    assert read(path, "gaps") == [(1, 1)]
    assert read_flags(path) == [FLAG]


def test_a_moment_at_the_very_end_of_a_clip_has_one(path: Path) -> None:
    rate_hz, end = 20_000.0, 211_792
    lost = replace(FLAG, kind=Kind.LOST_SAMPLES, start_s=end / rate_hz)
    assert lost.start_s * rate_hz > end, "no longer a number that rounding makes too large"
    with Ledger(path, STARTED) as ledger:
        ledger.write(Entries(flags=[lost], clips=[Clip(1, 133_448, end - 133_448, "flag 1 lost-samples")]))
    assert read_unclipped(path, rate_hz, 10) == []


def test_a_ledger_that_cannot_be_opened_says_why(path: Path) -> None:
    with pytest.raises(FormatError, match=r"ledger\.sqlite: cannot be opened; No such file or directory"):
        read_flags(path)
