import json
import math
import re
from pathlib import Path
from unittest.mock import Mock

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import FormatError
from monitor.firing.records import Outcome
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from monitor.publish.address import Access, parse_broker
from monitor.publish.current import Current
from monitor.publish.messages import (
    CommandMessage,
    FlagMessage,
    MarkMessage,
    Message,
    StateMessage,
    TallyMessage,
    decode,
)
from monitor.publish.orders import Orders
from monitor.publish.outcomes import letters, outcomes
from monitor.publish.room import Room
from monitor.publish.telling import flag_message, mark_message, tally_message
from monitor.snapshot import Counts, CylinderView, LevelView, Snapshot
from tests.monitor.publish.telling import Drive
from tests.monitor.streams import WaitingClock

MESSAGES: tuple[type[Message], ...] = (StateMessage, TallyMessage, FlagMessage, MarkMessage, CommandMessage)
TOPICS = (Path(__file__).parents[3] / "monitor" / "publish" / "TOPICS.md").read_text(encoding="utf-8")
SECONDS = st.floats(0, 1e8)
TEXT = st.text(max_size=80)
FLAGS = st.builds(
    Flag,
    number=st.integers(1, 10**6), kind=st.sampled_from(Kind), severity=st.sampled_from(Severity),
    cylinder=st.none() | st.integers(1, 16), input=st.none() | TEXT, start_s=SECONDS, end_s=st.none() | SECONDS,
    count=st.integers(1, 10**6), detail=TEXT,
)  # fmt: skip


@given(FLAGS)
def test_a_flag_is_the_same_behind_the_wire(flag: Flag) -> None:
    message = flag_message("drive", flag).revised(7)
    assert decode(FlagMessage, message.encode()) == message
    assert message.flag() == flag
    assert json.loads(message.encode())["id"] == f"drive:flag:{flag.number}:7"


@given(st.builds(Mark, number=st.integers(1, 10**6), time_s=SECONDS, by=TEXT, note=TEXT))
def test_a_mark_is_the_same_behind_the_wire(mark: Mark) -> None:
    assert decode(MarkMessage, mark_message("drive", mark).encode()).mark() == mark


@given(st.lists(st.sampled_from(Outcome), max_size=400))
def test_recent_turns_are_the_same_in_letters(turns: list[Outcome]) -> None:
    assert list(outcomes(letters(turns))) == turns


def test_a_level_that_is_no_number_is_unknown_and_long_text_is_cropped() -> None:
    level = LevelView("in1" * 5000, "supply", "", math.nan)
    view = CylinderView(1, Counts(9), (Outcome.ACKNOWLEDGED,) * 400, dwell_ms=math.inf)
    message = tally_message("drive", "", Snapshot(1.0, None, "running", (view,), (level,)))
    again = decode(TallyMessage, message.encode())
    assert again == message
    assert again.levels[0].volts is None
    assert again.cylinders[0].dwell_ms is None
    assert again.cylinders[0].recent == "." * 60
    assert len(again.levels[0].input) == 2000


def test_the_largest_tally_of_a_twelve_is_a_few_thousand_bytes() -> None:
    views = tuple(
        CylinderView(number, Counts(10**6, 10**6, 10**6, 10**5), (Outcome.UNACKNOWLEDGED,) * 400, 1 / 3, 1 / 3, 1 / 3)
        for number in range(1, 13)
    )
    assert len(tally_message("d" * 32, "", Snapshot(1 / 3, 1 / 3, "running", views)).encode()) < 5000


@pytest.mark.parametrize("kind", MESSAGES)
def test_every_message_described_is_what_the_program_reads_and_writes(kind: type[Message]) -> None:
    shown = [text for text in re.findall(r"```json\n(.*?)```", TOPICS, re.DOTALL) if f"coilcall.{kind.TOPIC}/" in text]
    assert len(shown) == 1
    written = json.loads(decode(kind, shown[0].encode()).encode())
    assert written == json.loads(shown[0])


@pytest.mark.parametrize("kind", MESSAGES)
def test_a_message_without_its_schema_or_of_another_version_is_refused(kind: type[Message]) -> None:
    shown = next(text for text in re.findall(r"```json\n(.*?)```", TOPICS, re.DOTALL) if f"{kind.TOPIC}/" in text)
    message = json.loads(shown)
    with pytest.raises(FormatError, match="schema"):
        decode(kind, json.dumps(message | {"schema": f"coilcall.{kind.TOPIC}/2"}).encode())
    del message["schema"]
    with pytest.raises(FormatError, match="schema"):
        decode(kind, json.dumps(message).encode())


@given(st.binary(max_size=300))
def test_any_bytes_are_refused_in_one_line(payload: bytes) -> None:
    for kind in MESSAGES:
        with pytest.raises(FormatError) as refusal:
            decode(kind, payload)
        assert "\n" not in str(refusal.value)


def test_json_that_is_nested_without_end_is_refused() -> None:
    with pytest.raises(FormatError):
        decode(CommandMessage, b"[" * 60_000)


def test_the_state_is_told_when_it_changes_and_every_ten_seconds_but_not_for_what_waits() -> None:
    drive, clock, room = Drive(), WaitingClock(), Mock(Room, waiting=0, dropped=0)
    orders = Orders([], drive.mark, drive.stop, clock)
    current = Current(drive, Access(parse_broker("mqtt://host/van")), room, orders, clock)

    def told() -> list[str]:
        clock.time_s += 1.0
        return [letter.topic for letter in current.due()]

    both, tally = ["van/state", "van/tally"], ["van/tally"]
    assert told() == both
    room.waiting = 3
    assert [told() for _ in range(10)] == [tally] * 9 + [both]
    room.dropped = 1
    assert told() == both
