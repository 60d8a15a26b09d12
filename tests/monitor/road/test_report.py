import io
import re
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.road import outlet
from monitor.road.news import Item
from monitor.road.outlet import Outlet
from monitor.road.report import LINE_EVERY_S, ForPeople, ForPrograms, report_on
from tests.monitor.dashboard.pictures import snapshot, source
from tests.monitor.road.reports import lines, on_a_pipe, on_a_terminal
from tests.monitor.streams import WaitingClock


def test_on_a_terminal_lines_stay_above_one_that_changes_and_is_gone_at_the_end() -> None:
    written, report = on_a_terminal(columns=40)
    report.tell(Item("flag", 1.0, "first\nsecond"))
    report.close()
    shown = written.getvalue()
    assert shown == f"\r{'first':39}\n\r{'second':39}\n\r{'':39}\r"


def test_long_lines_are_broken_between_words_and_go_on_below_where_the_words_begin() -> None:
    written, report = on_a_terminal(columns=33)
    report.tell(
        Item(
            "flag",
            1.0,
            "0:00:01 FAULT cylinder 4 was called and did not answer\n\n/a/path-that/is-longer/than-the/line",
        )
    )
    report.close()
    shown = [line.strip("\r").rstrip() for line in written.getvalue().split("\n")[:-1]]
    assert shown == [
        "0:00:01 FAULT cylinder 4 was",
        "         called and did not",
        "         answer",
        "",
        "/a/path-that/is-longer/than-the/line",
    ]


def test_the_line_that_changes_never_fills_the_last_column() -> None:
    written, report = on_a_terminal(columns=30)
    report.stand(snapshot(), source(disk="語" * 40))
    report.close()
    line = written.getvalue().split("\r")[1]
    assert line.startswith("DISK 語語")
    assert len(line.encode("utf-16-le")) < 30 * 2


def test_elsewhere_each_thing_is_one_json_object_with_its_time_and_facts() -> None:
    clock = WaitingClock()
    written, report = on_a_pipe(clock)
    report.tell(Item("mark", 61.5, "words", {"number": 3, "by": "key"}))
    report.close()
    assert lines(written) == [
        {"utc": "2026-01-01T00:00:00.000+00:00", "event": "mark", "time_s": 61.5, "number": 3, "by": "key"}
    ]


def test_the_state_is_written_at_once_and_then_now_and_then() -> None:
    clock = WaitingClock()
    written, report = on_a_pipe(clock)
    for _ in range(5):
        report.stand(snapshot(6, missing=4), source(disk="full"))
        clock.time_s += LINE_EVERY_S / 2
    report.close()
    states = lines(written)
    assert [state["event"] for state in states] == ["state"] * 3
    assert states[0]["missed"] == {"4": 1}
    assert (states[0]["source"], states[0]["disk"], states[0]["rpm"]) == ("flowing", "full", 812.4)


@pytest.mark.parametrize("kind", ["people", "programs"])
def test_lines_that_found_no_room_are_counted_as_soon_as_there_is_some(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outlet, "MOST_WAITING", 2)
    reads, written = threading.Event(), io.StringIO()

    def write(text: str) -> None:
        assert reads.wait(20.0)
        written.write(text)

    out = Outlet(write)
    report = ForPeople(out, lambda: 40) if kind == "people" else ForPrograms(out, WaitingClock())
    for _ in range(10):
        report.tell(Item("mark", 1.0, "felt"))
    reads.set()
    while "no room" not in written.getvalue() and "unread" not in written.getvalue():
        report.stand(snapshot(), source())
    report.close()
    counted = re.search(r"(\d) lines found|\"count\": (\d)", written.getvalue())
    assert counted is not None
    # Two wait and one may have been in the writer's hand; the state that programs are told may be one more.
    assert 7 <= int(counted[1] or counted[2]) <= 9


@given(st.text())
def test_whatever_stands_in_it_a_line_is_one_line_of_printable_ascii(text: str) -> None:
    written, report = on_a_pipe(WaitingClock())
    report.tell(Item("lost", 0.0, text, {"reason": text}))
    report.close()
    (line,) = written.getvalue().split("\n")[:-1]
    assert line.isascii()
    assert line.isprintable()
    assert lines(written)[0]["reason"] == text


def test_people_get_words_and_programs_get_facts() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    for stream, kind in ((Terminal(), ForPeople), (io.StringIO(), ForPrograms)):
        report = report_on(stream, WaitingClock())
        report.close()
        assert isinstance(report, kind)
