from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alerts import Alert, alerts_of, chosen_alerts
from monitor.dashboard.alarm import Alarm
from monitor.dashboard.picture import Picture
from monitor.flags import Severity
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import miss, picture, snapshot, source

ALL = frozenset(Alert)
BELL = frozenset((Alert.BELL,))
NASTY = "[red]\x1b[2J\x07\x9c\n\u202e点;" + "x" * 10_000


@pytest.fixture(autouse=True)
def nothing_chosen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COILCALL_ALERTS", raising=False)


def with_faults(*numbers: int) -> Picture:
    flags = tuple(miss(number, 4, 60.0) for number in reversed(numbers))
    return Picture(snapshot(flags=flags), source())


def test_the_title_names_the_cylinder_that_missed_and_changes_only_when_that_does() -> None:
    alarm = Alarm(frozenset((Alert.TITLE,)))
    assert alarm.take(picture(6), 0.0) == "\x1b]2;coilcall\x07"
    assert alarm.take(picture(6, missing=4), 1.0) == "\x1b]2;X4 coilcall\x07"
    assert alarm.take(picture(6, missing=4), 2.0) == ""
    lost = Picture(snapshot(), source(state=SourceState.LOST))
    assert alarm.take(lost, 3.0) == "\x1b]2;LOST coilcall\x07"


def test_a_new_fault_rings_once_and_what_the_first_picture_shows_does_not() -> None:
    alarm = Alarm(BELL)
    rings = [alarm.take(with_faults(*numbers), 10.0 * at) for at, numbers in enumerate([(1,), (1,), (1, 2), (1, 2)])]
    assert rings == ["", "", "\x07", ""]


def test_a_flag_that_grows_into_a_fault_rings_and_warnings_do_not() -> None:
    alarm = Alarm(BELL)
    warned = replace(miss(1, 4, 60.0), severity=Severity.WARNING)
    shown = [snapshot(), snapshot(flags=(warned,)), snapshot(flags=(miss(1, 4, 60.0),))]
    assert [alarm.take(Picture(now, source()), 10.0 * at) for at, now in enumerate(shown)] == ["", "", "\x07"]


def test_what_a_jump_in_a_replay_passes_does_not_ring_and_what_comes_after_it_does() -> None:
    alarm, jumping = Alarm(BELL), source(state=SourceState.JUMPING)
    passed = [Picture(with_faults(*numbers).snapshot, jumping) for numbers in [(1,), (1, 2), (1, 2, 3)]]
    shown = [with_faults(1), *passed, with_faults(1, 2, 3), with_faults(1, 2, 3, 4)]
    assert [alarm.take(now, 10.0 * at) for at, now in enumerate(shown)] == ["", "", "", "", "", "\x07"]


def test_a_run_of_faults_rings_every_three_seconds_at_most_and_the_last_one_is_not_swallowed() -> None:
    alarm = Alarm(BELL)
    rang = []
    for tick in range(100):
        known = min(tick, 25)  # a new one ten times a second, for 2.5 s
        if alarm.take(with_faults(*range(known)), tick / 10):
            rang.append(tick / 10)
    assert rang == [0.1, 3.1]


def test_a_lost_source_rings_each_time_it_is_lost() -> None:
    alarm = Alarm(BELL)
    states = [SourceState.FLOWING, SourceState.LOST, SourceState.LOST, SourceState.FLOWING, SourceState.LOST]
    rings = [alarm.take(Picture(snapshot(), source(state=state)), 10.0 * at) for at, state in enumerate(states)]
    assert rings == ["", "\x07", "", "", "\x07"]


def test_what_came_while_it_was_muted_does_not_ring_afterwards() -> None:
    alarm = Alarm(BELL)
    alarm.take(picture(6), 0.0)
    alarm.is_muted = True
    assert alarm.take(with_faults(1), 10.0) == ""
    alarm.is_muted = False
    assert alarm.take(with_faults(1), 20.0) == ""
    assert alarm.take(with_faults(1, 2), 30.0) == "\x07"


@pytest.mark.parametrize(
    ("term", "begins"), [("foot", "\x1b]9;coilcall: "), ("rxvt-unicode-256color", "\x1b]777;notify;coilcall;")]
)
def test_a_notification_has_the_form_of_its_terminal(term: str, begins: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", term)
    assert chosen_alerts() == ALL
    alarm = Alarm(frozenset((Alert.NOTIFICATION,)))
    alarm.take(picture(6), 0.0)
    said = alarm.take(with_faults(1), 1.0)
    assert said == f"{begins}CYLINDER 4 unacknowledged: 1.5 s ago, 83 turns\x07"


@pytest.mark.parametrize("term", ["xterm-256color", "screen", "linux", "dumb", ""])
def test_a_terminal_that_is_not_known_to_show_notifications_is_sent_none(
    term: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", term)
    assert chosen_alerts() == {Alert.TITLE, Alert.BELL}


@given(st.text() | st.just(NASTY))
def test_no_foreign_text_gets_out_of_the_sequence_it_stands_in(text: str) -> None:
    alarm = Alarm(ALL)
    alarm.take(picture(6), 0.0)
    said = alarm.take(Picture(snapshot(), source(state=SourceState.LOST, reason=text)), 1.0)
    title, _, rest = said.partition("\x07")
    assert title == "\x1b]2;LOST coilcall"
    bell, _, note = rest.partition("\x07")
    assert bell == ""
    assert note.startswith("\x1b]9;coilcall: SOURCE LOST")
    assert note[1:-1].isprintable()
    assert note.endswith("\x07")
    assert len(note) < 200


@pytest.mark.parametrize(
    ("text", "alerts"),
    [
        ("none", set()),
        ("bell", {Alert.BELL}),
        ("title, bell", {Alert.TITLE, Alert.BELL}),
        (",".join(Alert), set(Alert)),
    ],
)
def test_a_list_of_alerts_is_understood(text: str, alerts: set[Alert]) -> None:
    assert alerts_of(text) == alerts


@pytest.mark.parametrize("text", ["", "horn", "bell,none", "bell;title"])
def test_anything_else_is_refused_with_what_is_possible(text: str) -> None:
    with pytest.raises(ValueError, match="possible are title, bell, notification"):
        alerts_of(text)


def test_what_a_person_chose_wins_over_what_the_terminal_is_known_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "foot")
    monkeypatch.setenv("COILCALL_ALERTS", "bell")
    assert chosen_alerts() == BELL
