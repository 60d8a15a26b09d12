import asyncio
import json
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from unittest.mock import Mock

import pytest

from acquire.errors import AddressError, CoilcallError
from monitor.marks import Mark
from monitor.publish.address import parse_broker
from monitor.publish.messages import Kept
from monitor.publish.outbox import Outbox, Waiting, outbox_path
from monitor.publish.room import Room
from monitor.publish.telling import flag_message, mark_message
from tests.monitor.publish.telling import flag
from tests.monitor.streams import WaitingClock

BROKER = parse_broker("mqtt://host/van")


def flags(*numbers: int, count: int = 1) -> list[Kept]:
    return [flag_message("drive", flag(number, count=count)) for number in numbers]


def mark(number: int) -> Kept:
    return mark_message("drive", Mark(number, 1.0, "key"))


def numbers(waiting: list[Waiting]) -> list[int]:
    return [json.loads(one.payload)["number"] for one in waiting]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "outbox" / "one.sqlite"


def test_what_waits_is_there_again_in_its_order(path: Path) -> None:
    with closing(Outbox(path, BROKER)) as outbox:
        outbox.enter(flags(1, 2))
        outbox.enter([mark(1), *flags(3)])
    with closing(Outbox(path, BROKER)) as outbox:
        assert [(one.topic, *numbers([one])) for one in outbox.first(9)] == [
            ("flag", 1), ("flag", 2), ("mark", 1), ("flag", 3)
        ]  # fmt: skip
        assert numbers(outbox.first(2)) == [1, 2]
        assert outbox.count() == 4


def test_a_flag_that_grows_while_it_waits_keeps_its_place_and_is_told_once(path: Path) -> None:
    with closing(Outbox(path, BROKER)) as outbox:
        outbox.enter(flags(1, 2))
        outbox.enter(flags(1, count=7))
        told = [json.loads(one.payload) for one in outbox.first(9)]
    assert [(one["number"], one["count"], one["revision"]) for one in told] == [(1, 7, 3), (2, 1, 2)]
    assert told[0]["id"] == "drive:flag:1:3"


def test_revisions_rise_over_restarts_also_when_nothing_waits(path: Path) -> None:
    revisions = []
    for _ in range(3):
        with closing(Outbox(path, BROKER)) as outbox:
            outbox.enter(flags(1))
            waiting = outbox.first(1)
            revisions.append(waiting[0].revision)
            outbox.note_sent(waiting, 1.0)
            outbox.strike(1.0)
            assert outbox.count() == 0
    assert revisions == [1, 2, 3]


def test_what_changed_while_it_was_sent_is_sent_again(path: Path) -> None:
    with closing(Outbox(path, BROKER)) as outbox:
        outbox.enter(flags(1, 2))
        under_way = outbox.first(2)
        outbox.enter(flags(1, count=2))
        outbox.note_sent(under_way, 1.0)
        assert [json.loads(one.payload)["count"] for one in outbox.first(9)] == [2]
        outbox.strike(1.0)
        assert outbox.count() == 1


def test_what_was_sent_shortly_before_the_connection_broke_is_sent_again_in_its_order(path: Path) -> None:
    with closing(Outbox(path, BROKER)) as outbox:
        outbox.enter(flags(1, 2, 3, 4))
        for at_s in (1.0, 2.0, 3.0):
            outbox.note_sent(outbox.first(1), at_s)
        assert numbers(outbox.first(9)) == [4]
        assert (outbox.acknowledged(), outbox.count()) == (3, 4)
        outbox.strike(1.5)
        assert numbers(outbox.first(9)) == [4]
        outbox.forget_sent()
        assert (outbox.acknowledged(), outbox.count()) == (0, 3)
        assert numbers(outbox.first(9)) == [2, 3, 4]
    with closing(Outbox(path, BROKER)) as outbox:
        assert numbers(outbox.first(9)) == [2, 3, 4]


def test_the_oldest_flags_go_first_and_marks_last_and_what_went_is_counted(path: Path) -> None:
    with closing(Outbox(path, BROKER, most=4)) as outbox:
        assert outbox.enter([mark(1), *flags(1, 2, 3)])[1] == 0
        assert outbox.enter([*flags(4), mark(2)])[1] == 2
        assert [(one.topic, *numbers([one])) for one in outbox.first(9)] == [
            ("mark", 1), ("flag", 3), ("flag", 4), ("mark", 2)
        ]  # fmt: skip
        assert outbox.enter([mark(number) for number in range(3, 8)])[1] == 5
        assert numbers(outbox.first(9)) == [4, 5, 6, 7]


def test_a_second_program_on_the_same_root_is_refused_in_one_line(path: Path) -> None:
    with closing(Outbox(path, BROKER)), pytest.raises(CoilcallError, match="another coilcall publishes below this"):
        Outbox(path, BROKER)
    Outbox(path, BROKER).close()


@pytest.mark.parametrize("content", [b"not a database", b"SQLite format 3\0" + bytes(4000)])
def test_a_file_that_is_no_outbox_is_refused_in_one_line(path: Path, content: bytes) -> None:
    path.parent.mkdir()
    path.write_bytes(content)
    with pytest.raises(CoilcallError, match="what waits for the broker cannot be kept"):
        Outbox(path, BROKER)


def test_where_no_folder_can_be_made_that_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CoilcallError, match="cannot be kept: "):
        Outbox(tmp_path / "file" / "outbox.sqlite", BROKER)


def test_every_root_has_an_outbox_of_its_own_that_only_its_user_may_read() -> None:
    one, other = outbox_path(BROKER), outbox_path(parse_broker("mqtt://host/bus"))
    assert one != other
    with closing(Outbox(one, BROKER)):
        assert one.parent.stat().st_mode & 0o077 == 0


def test_without_a_home_and_a_folder_of_state_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", "relative")
    monkeypatch.setattr(Path, "home", Mock(side_effect=RuntimeError))
    with pytest.raises(AddressError, match="XDG_STATE_HOME"):
        outbox_path(BROKER)


async def test_a_full_disk_is_told_and_nothing_that_was_handed_in_is_lost(path: Path) -> None:
    outbox = Outbox(path, BROKER)
    with ThreadPoolExecutor(1) as owner:
        room = Room(outbox, owner, WaitingClock())
        outbox._book.execute("PRAGMA max_page_count = 1")
        room.hand_in(flags(*range(1, 200)))
        assert not await room.store()
        assert "full" in room.trouble
        await room.begin()
        await room.note_sent((await room.first(1))[:1])
        await room.note_sent(())
        assert "full" in room.trouble  # what only memory takes says nothing of the disk
        outbox._book.execute("PRAGMA max_page_count = 100000")
        room.hand_in(flags(200))
        assert await room.store()
        assert room.trouble == ""
        assert numbers(await room.first(500)) == list(range(1, 201))
    outbox.close()


async def test_what_was_acknowledged_is_sent_again_where_the_connection_broke_within_two_seconds(path: Path) -> None:
    with closing(Outbox(path, BROKER)) as outbox, ThreadPoolExecutor(1) as owner:
        clock = WaitingClock()
        room = Room(outbox, owner, clock)
        room.hand_in(flags(1))
        await room.store()
        for lived_s, again in ((1.9, [1]), (2.0, [])):
            await room.note_sent(await room.first(9))
            clock.time_s += lived_s
            await room.note_sent(())
            await room.begin()
            assert numbers(await room.first(9)) == again


async def test_what_finds_no_room_while_the_disk_writes_is_counted(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    loop, enter = asyncio.get_running_loop(), Outbox.enter

    def flooded(outbox: Outbox, messages: Iterable[Kept]) -> tuple[list[Kept], int]:
        flood = asyncio.run_coroutine_threadsafe(hand_in(flags(*range(2, 5003))), loop)
        flood.result()
        return enter(outbox, messages)

    async def hand_in(messages: list[Kept]) -> None:
        room.hand_in(messages)

    monkeypatch.setattr(Outbox, "enter", flooded)
    with closing(Outbox(path, BROKER)) as outbox, ThreadPoolExecutor(1) as owner:
        room = Room(outbox, owner, WaitingClock())
        room.hand_in(flags(1))
        await room.store()
        assert room.dropped == 2  # of 5,002 that wait in memory at most 5,000


WRITER = """
import sys
from pathlib import Path
from tests.monitor.publish.test_outbox import BROKER, Outbox, flags
outbox = Outbox(Path(sys.argv[1]), BROKER)
for number in range(1, 100_000):
    outbox.enter(flags(number))
    print(number, flush=True)
"""


def test_what_was_entered_outlasts_a_kill(path: Path) -> None:
    for round_ in range(2):
        with subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True) as writer:
            assert writer.stdout is not None
            said = [int(writer.stdout.readline()) for _ in range(20 + 7 * round_)]
            writer.send_signal(signal.SIGKILL)
            said += [int(line) for line in writer.stdout if line.endswith("\n")]
        with closing(Outbox(path, BROKER)) as outbox:
            kept = numbers(outbox.first(100_000))
            outbox.note_sent(outbox.first(100_000), 1.0)
            outbox.strike(1.0)
        assert kept[: len(said)] == said
        assert len(kept) <= len(said) + 1
    with closing(sqlite3.connect(path)) as book:
        assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
