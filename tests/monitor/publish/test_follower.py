import json
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from monitor.dashboard.flags import flag_lines
from monitor.dashboard.lanes import lanes
from monitor.dashboard.picture import Picture
from monitor.dashboard.status import engine_line, source_line
from monitor.dashboard.verdict import verdict, verdict_lines
from monitor.firing.records import Outcome
from monitor.marks import Mark
from monitor.publish.address import Access, parse_broker
from monitor.publish.broker import Letter
from monitor.publish.follower import Follower
from monitor.publish.messages import Message, SourcePart, StateMessage
from monitor.publish.telling import flag_message, mark_message, tally_message
from monitor.snapshot import Counts, CylinderView, Snapshot
from monitor.source_view import SourceState
from tests.monitor.publish.telling import flag
from tests.monitor.streams import WaitingClock

ACCESS = Access(parse_broker("mqtt://host/van"))
UTC = "2026-01-01T00:00:00+00:00"


def letter(message: Message, *, is_retained: bool = False) -> Letter:
    return Letter(f"van/{message.TOPIC}", message.encode(), is_retained=is_retained)


def state(recording_id: str = "drive", **changes: object) -> StateMessage:
    told = StateMessage(
        recording_id=recording_id, utc=UTC, online=True, takes_commands=True, engine="running", coverage=1.0,
        source=SourcePart(address="serial:/dev/ttyACM0", state=SourceState.FLOWING),
    )  # fmt: skip
    return told.model_copy(update=changes)


def tally(turns: int, recent: str = "", recording_id: str = "drive", utc: str = UTC) -> Letter:
    outcomes = {".": Outcome.ACKNOWLEDGED, "X": Outcome.UNACKNOWLEDGED}
    view = CylinderView(4, Counts(turns, None, turns), tuple(outcomes[one] for one in recent))
    return letter(tally_message(recording_id, utc, Snapshot(turns / 5, 800.0, "running", (view,), flags_raised=2)))


@pytest.fixture
def follower() -> Follower:
    """One whose connection stands."""
    made = Follower(ACCESS, WaitingClock())
    made.line.is_up = True
    return made


def test_the_picture_is_what_the_messages_say(follower: Follower) -> None:
    follower.take(letter(state()))
    follower.take(tally(3, "..X"))
    follower.take(letter(flag_message("drive", flag(1)).revised(1)))
    follower.take(letter(mark_message("drive", Mark(1, 0.5, "key")).revised(2)))
    now = follower.snapshot()
    assert (now.time_s, now.rpm, now.flags_raised) == (0.6, 800.0, 2)
    assert [outcome.value for outcome in now.cylinders[0].recent] == ["acknowledged"] * 2 + ["unacknowledged"]
    assert now.flags == (flag(1),)
    assert now.marks == (Mark(1, 0.5, "key"),)
    source = follower.source()
    assert source.state is SourceState.FLOWING
    assert source.address == "serial:/dev/ttyACM0 by way of mqtt://host:1883/van"
    assert source.publishing == ""


def test_turns_are_pieced_together_though_a_tally_is_lost_and_begun_anew_where_too_many_are(follower: Follower) -> None:
    follower.take(letter(state()))
    for turns, recent in ((4, "...."), (6, "....XX"), (9, "XX...")):
        follower.take(tally(turns, recent))
    assert [one is Outcome.UNACKNOWLEDGED for one in follower.snapshot().cylinders[0].recent] == [
        False, False, False, False, True, True, False, False, False,
    ]  # fmt: skip
    follower.take(tally(100, "X."))
    assert len(follower.snapshot().cylinders[0].recent) == 2


def test_of_a_flag_that_comes_again_the_highest_revision_is_shown(follower: Follower) -> None:
    follower.take(letter(state()))
    follower.take(tally(1))
    for count, revision in ((1, 1), (5, 9), (3, 4)):
        follower.take(letter(flag_message("drive", flag(1, count=count)).revised(revision)))
    assert follower.snapshot().flags == (flag(1, count=5),)


def test_whoever_comes_late_has_the_latest_flags_from_the_state(follower: Follower) -> None:
    follower.take(letter(state(flags=(flag_message("drive", flag(7)).revised(3),)), is_retained=True))
    follower.take(tally(1))
    assert follower.snapshot().flags == (flag(7),)


def test_another_recording_begins_with_nothing_and_left_overs_of_the_one_before_are_not_shown(
    follower: Follower,
) -> None:
    follower.take(letter(state("first")))
    follower.take(tally(3, "...", "first"))
    follower.take(letter(flag_message("first", flag(1)).revised(1)))
    follower.take(letter(state("second")))
    follower.take(letter(flag_message("first", flag(2)).revised(2)))
    assert follower.snapshot().flags == ()
    assert follower.snapshot().cylinders == ()
    follower.take(tally(2, "..", "second"))
    assert follower.snapshot().flags == ()
    assert len(follower.snapshot().cylinders[0].recent) == 2


def test_the_age_of_the_newest_message_is_shown_once_it_is_late(follower: Follower) -> None:
    clock = follower._clock
    assert isinstance(clock, WaitingClock)
    follower.take(letter(state()))
    clock.time_s += 2.0
    assert follower.source().behind_s == 0.0
    clock.time_s += 10.0
    assert follower.source().behind_s == 12.0
    follower.take(tally(1))
    assert follower.source().behind_s == 0.0


def test_what_the_broker_had_kept_is_as_old_as_its_sender_says(follower: Follower) -> None:
    follower.take(letter(state(utc="2025-12-31T23:00:00+00:00"), is_retained=True))
    assert follower.source().behind_s == 3600.0
    follower.take(letter(state(utc="yesterday"), is_retained=True))
    assert "utc: it should be a date and time with its zone" in follower.source().publishing


def test_what_the_broker_had_kept_makes_nothing_older_that_was_heard_since(follower: Follower) -> None:
    follower.take(letter(state()))
    follower.take(letter(state(utc="2025-12-31T23:00:00+00:00"), is_retained=True))
    assert follower.source().behind_s == 0.0


def test_the_logging_side_that_vanished_is_lost_and_the_one_that_ended_has_ended(follower: Follower) -> None:
    follower.take(letter(state(online=False)))
    assert follower.source().state is SourceState.LOST
    assert "the logging side is gone" in follower.source().reason
    ended = SourcePart(address="x", state=SourceState.ENDED)
    follower.take(letter(state(online=False, source=ended)))
    assert follower.source().state is SourceState.ENDED


def test_a_last_will_takes_back_nothing_but_that_it_is_online(follower: Follower) -> None:
    early, late = "2026-01-01T00:00:00.000+00:00", "2026-01-01T00:10:00.000+00:00"
    follower.take(letter(state(utc=late, acknowledgement_timing="at-spark")))
    follower.take(tally(1))
    follower.take(letter(state(utc=early, online=False)))
    assert follower.snapshot().acknowledgement_timing == "at-spark"
    assert follower.source().state is SourceState.LOST


def test_a_source_lost_there_is_lost_here_with_its_reason(follower: Follower) -> None:
    lost = SourcePart(address="x", state=SourceState.LOST, reason="unplugged", times_lost=2, outage_s=3.0)
    follower.take(letter(state(source=lost)))
    source = follower.source()
    assert (source.state, source.reason, source.times_lost) == (SourceState.LOST, "unplugged", 2)


def test_before_anything_was_published_that_is_said(follower: Follower) -> None:
    assert follower.source().state is SourceState.OPENING
    assert follower.source().reason == "nothing has been published there yet"
    follower.line.is_up = False
    follower.line.tried.set()
    assert follower.source().state is SourceState.LOST
    assert "broker away" in follower.source().reason


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda one: setattr(one.line, "is_up", False), "the broker is away"),
        (lambda one: one.take(letter(state(online=False))), "nobody is logging"),
        (lambda one: one.take(letter(state(takes_commands=False))), "takes no commands"),
    ],
)
def test_a_mark_that_cannot_be_sent_is_said(follower: Follower, spoil: Callable[[Follower], None], words: str) -> None:
    follower.take(letter(state()))
    follower.mark("key")
    assert follower.source().publishing == ""
    spoil(follower)
    follower.mark("key")
    assert words in follower.source().publishing


def test_what_the_logging_side_refuses_is_said_when_it_happens_and_not_for_ever(follower: Follower) -> None:
    clock = follower._clock
    assert isinstance(clock, WaitingClock)
    follower.take(letter(state(commands_refused=3, refusal="of yesterday")))
    assert follower.source().publishing == ""
    follower.take(letter(state(commands_refused=4, refusal="marks must be 0.2 s apart")))
    assert follower.source().publishing == "the logging side refused a command: marks must be 0.2 s apart"
    clock.time_s += 11.0
    assert follower.source().publishing == ""


def test_marks_do_not_pile_up_before_a_slow_broker(follower: Follower) -> None:
    follower.take(letter(state()))
    for _ in range(50):
        follower.mark("key")
    assert "the broker is slow" in follower.source().publishing


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
)
TOPIC = st.sampled_from(("state", "tally", "flag", "mark"))
GOOD = {
    "state": json.loads(state(flags=(flag_message("drive", flag(1)),)).encode()),
    "tally": json.loads(tally(3, "..X").payload),
    "flag": json.loads(flag_message("drive", flag(2)).encode()),
    "mark": json.loads(mark_message("drive", Mark(1, 1.0, "key")).encode()),
}


@st.composite
def spoiled(draw: st.DrawFn) -> Letter:
    """A message as it should be, but for some values; or any bytes."""
    topic = draw(TOPIC)
    if draw(st.booleans()):
        return Letter(f"van/{topic}", draw(st.binary(max_size=100)))
    message = dict(GOOD[topic])
    for key in draw(st.sets(st.sampled_from(sorted(message)), max_size=3)):
        message[key] = draw(JSON | st.just("\x1b[2J\u202e" * 700) | st.sampled_from((1e308, -1, 10**30, "界" * 3000)))
    return Letter(f"van/{topic}", json.dumps(message).encode(), is_retained=draw(st.booleans()))


@given(st.lists(spoiled(), max_size=8))
def test_whatever_comes_the_screen_can_be_drawn_and_keeps_its_shape(letters: list[Letter]) -> None:
    follower = Follower(ACCESS, WaitingClock())
    follower.line.is_up = True
    for one in (letter(state()), tally(3, "..X"), *letters):
        follower.take(one)
    picture = Picture(follower.snapshot(), follower.source())
    lines = [engine_line(picture, 80), source_line(picture, 80), *lanes(picture, 80, 1)]
    lines += [*flag_lines(picture.snapshot, 80, 6), *verdict_lines(verdict(picture), 80, 3)]
    assert {cell_len(line.plain) for line in lines} == {80}
    assert not any(character < " " for line in lines for character in line.plain)


def test_a_run_that_goes_on_in_the_recording_begins_a_new_picture(follower: Follower) -> None:
    follower.take(letter(state()))
    follower.take(tally(30, "..X"))
    follower.take(letter(flag_message("drive", flag(1)).revised(1)))
    follower.take(letter(state(began_s=60.0, utc="2026-01-01T00:01:00+00:00")))
    follower.take(letter(flag_message("drive", flag(2)).revised(2)))  # out of the outbox of the run before
    follower.take(letter(flag_message("drive", replace(flag(3), start_s=61.0)).revised(3)))
    follower.take(letter(mark_message("drive", Mark(1, 5.0, "key")).revised(4)))
    follower.take(tally(310))
    now = follower.snapshot()
    assert [one.number for one in now.flags] == [3]
    assert now.marks == ()
