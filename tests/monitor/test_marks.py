from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.registry import source_for
from monitor.analyzer import Step
from monitor.disk_terms import DiskTerms
from monitor.flags import Flag, Kind, Severity
from monitor.live import Options, session
from monitor.marks import LATE_S, Mark, MarkBook, flags_before
from tests.acquire.streams import until
from tests.monitor.streams import Played, engine_running
from tests.monitor.test_keeper import SetClock
from tests.monitor.test_live import rows


def flag(start_s: float, end_s: float | None) -> Flag:
    return Flag(1, Kind.MISSING_ACKNOWLEDGEMENT, Severity.FAULT, 4, None, start_s, end_s, 1, "")


@pytest.mark.parametrize(
    ("start_s", "end_s", "is_tied"),
    [(6.9, 6.95, False), (7.0, 7.0, True), (9.9, None, True), (1.0, None, True), (1.0, 8.0, True), (10.1, None, False)],
)
def test_a_mark_at_ten_seconds_is_tied_to_what_lasted_or_came_in_the_three_before(
    start_s: float, end_s: float | None, is_tied: bool
) -> None:
    assert LATE_S == 3.0
    assert bool(flags_before(Mark(1, 10.0, "key"), [flag(start_s, end_s)])) is is_tied


@given(st.floats(0, 100), st.floats(0, 100), st.floats(0, 10))
def test_it_is_tied_to_a_flag_exactly_if_some_moment_of_the_flag_lies_in_those_seconds(
    mark_s: float, start_s: float, lasted_s: float
) -> None:
    one = flag(start_s, start_s + lasted_s)
    assert one.end_s is not None
    overlap = min(one.end_s, mark_s) - max(one.start_s, mark_s - LATE_S)
    assert bool(flags_before(Mark(1, mark_s, "key"), [one])) is (overlap >= 0)


def test_marks_are_numbered_from_one_and_the_latest_twenty_are_remembered_newest_first() -> None:
    book = MarkBook()
    for second in range(25):
        book.note(float(second), "key")
    assert [mark.number for mark in book.latest] == list(range(25, 5, -1))


async def test_a_mark_made_while_it_records_stands_at_the_newest_sample_on_the_screen_and_in_the_ledger(
    tmp_path: Path,
) -> None:
    async with session(Played(engine_running()), Options(folder=tmp_path / "drive")) as running:
        await running.ended.wait()
        mark = running.mark("key")
        assert running.snapshot().marks == (mark,)
        assert mark.time_s == running.snapshot().time_s
    assert rows(tmp_path / "drive", "marks") == [(1, mark.time_s, "key", "")]


async def test_a_mark_stands_at_the_newest_sample_given_though_it_is_not_analysed_yet() -> None:
    async with session(Played(engine_running()), Options()) as running:
        while running.source().behind_s < 4.0:
            pass  # the analysis waits for the event loop, the source does not
        assert running.snapshot().time_s == 0.0
        assert running.mark("key").time_s == 4.0


async def test_a_mark_made_while_no_samples_come_stands_where_they_would_be(tmp_path: Path) -> None:
    clock = SetClock()
    terms = DiskTerms(clock=clock)
    source = Played(engine_running(), is_endless=True, is_live=True)
    async with session(source, Options(folder=tmp_path / "drive", disk=terms)) as running:
        await until(lambda: running.snapshot().time_s == 4.0)
        clock.time_s += 9.5
        assert running.mark("key").time_s == pytest.approx(13.5)
    assert running.mark("late").time_s == pytest.approx(4.0)


async def test_presses_of_a_marker_button_are_marks_on_the_screen_and_in_the_ledger_numbered_with_the_keyed_ones(
    tmp_path: Path,
) -> None:
    address = "simulated:?inputs=control1,acknowledgement,marker&rate=20000&duration=3&pace=0&marks=0.5-2.9"
    async with session(source_for(address), Options(folder=tmp_path / "drive")) as running:
        await running.ended.wait()
        keyed = running.mark("key")
        assert [mark.by for mark in running.snapshot().marks] == ["key", "marker in3", "marker in3"]
    kept = rows(tmp_path / "drive", "marks")
    assert [(number, round(time_s, 2), by) for number, time_s, by, _ in kept] == [
        (1, 0.5, "marker in3"),
        (2, 2.9, "marker in3"),
        (3, keyed.time_s, "key"),
    ]


def test_a_press_that_becomes_known_after_a_later_key_still_stands_before_it() -> None:
    book = MarkBook()
    book.note(5.0, "key")
    book.note(4.99, "marker in4")
    assert [mark.time_s for mark in book.latest] == [5.0, 4.99]


async def test_who_listens_is_told_of_every_firing_those_of_the_end_too(tmp_path: Path) -> None:
    steps: list[Step] = []

    class Told:
        def take(self, _: object, step: Step) -> None:
            steps.append(step)

        def conclude(self, step: Step) -> None:
            steps.append(step)

    async with session(Played(engine_running()), Options(folder=tmp_path / "drive")) as running:
        running.listen(Told())
        await running.ended.wait()
    firings = [firing for step in steps for firing in step.firings]
    assert steps[-1].firings
    assert len(firings) == len(rows(tmp_path / "drive", "firings"))
