import json

from hypothesis import given
from hypothesis import strategies as st

from monitor.publish.broker import Letter
from monitor.publish.orders import LEAST_BETWEEN_MARKS_S, Orders
from tests.monitor.publish.telling import Drive
from tests.monitor.streams import WaitingClock


def taking() -> tuple[Orders, Drive, WaitingClock]:
    drive, clock = Drive(), WaitingClock()
    return Orders(["van/command"], drive.mark, drive.stop, clock), drive, clock


def command(*, is_retained: bool = False, **facts: object) -> Letter:
    return Letter("van/command", json.dumps({"schema": "coilcall.command/1"} | facts).encode(), 1, is_retained)


def test_a_mark_is_made_with_its_note_and_a_stop_stops() -> None:
    orders, drive, _ = taking()
    orders.obey(command(command="mark", note="over the bridge"))
    orders.obey(command(command="stop"))
    assert [(mark.by, mark.note) for mark in drive.marks] == [("mqtt", "over the bridge")]
    assert drive.stopped == 1
    assert orders.words() == ""


def test_a_command_that_comes_twice_is_done_once() -> None:
    orders, drive, clock = taking()
    for _ in range(3):
        orders.obey(command(command="mark", id="one"))
        clock.time_s += 60.0
    assert len(drive.marks) == 1
    assert orders.refused == 0


def test_a_flood_of_marks_does_not_fill_the_disk_with_clips() -> None:
    orders, drive, clock = taking()
    for _ in range(100):
        orders.obey(command(command="mark"))
        clock.time_s += LEAST_BETWEEN_MARKS_S / 10
    assert len(drive.marks) == 10
    assert orders.refused == 90


def test_a_retained_command_is_refused_as_it_would_be_done_again_at_every_connection() -> None:
    orders, drive, _ = taking()
    orders.obey(command(command="stop", is_retained=True))
    assert drive.stopped == 0
    assert "retained" in orders.words()


def test_a_refusal_is_said_for_some_seconds_and_counted_for_good() -> None:
    orders, _, clock = taking()
    orders.obey(command(command="format"))
    assert orders.words() == "command refused: command message: command: Input should be 'mark' or 'stop'"
    clock.time_s += 11.0
    assert orders.words() == ""
    assert orders.refused == 1


@given(st.binary(min_size=1, max_size=200) | st.text(min_size=1).map(str.encode), st.booleans())
def test_no_bytes_do_anything_but_be_refused_in_visible_words(payload: bytes, is_retained: bool) -> None:
    orders, drive, _ = taking()
    orders.obey(Letter("van/command", payload, 1, is_retained))
    assert (orders.refused, drive.marks, drive.stopped) == (1, [], 0)
    assert orders.refusal.isprintable()


def test_what_clears_a_retained_command_is_none_itself() -> None:
    orders, drive, _ = taking()
    orders.obey(command(command="mark", is_retained=True))
    orders.obey(Letter("van/command", b"", 1, False))
    assert (orders.refused, drive.marks) == (1, [])
