import json

from acquire.clock import SystemClock
from monitor.publish.address import Access, parse_broker
from monitor.publish.broker import Letter, connected
from monitor.publish.publishing import publishing
from monitor.source_view import SourceState
from tests.monitor.publish.mosquitto import Mosquitto, needs_broker
from tests.monitor.publish.telling import Drive, comes_true, flag, listening

pytestmark = needs_broker
CLOCK = SystemClock()


async def publish(address: str, drive: Drive, *flags: int) -> list[str]:
    """Publish a drive with these flags; what is said at the end."""
    said: list[str] = []
    async with publishing(Access(parse_broker(address)), CLOCK, said.append) as attach:
        attach(drive, drive.stop)
        drive.commit(*map(flag, flags))
    return said


async def test_flags_arrive_in_order_each_with_an_id_and_then_the_state_is_offline(
    open_to_all: Mosquitto,
) -> None:
    drive = Drive()
    async with listening(open_to_all.address()) as listener:
        async with publishing(Access(parse_broker(open_to_all.address())), CLOCK, print) as attach:
            attach(drive, drive.stop)
            drive.commit(flag(1))
            await comes_true(lambda: listener.of("flag"))
            drive.commit(flag(2), flag(1, count=2, end_s=0.3))
            await comes_true(lambda: len(listener.of("flag")) >= 3)
            assert listener.of("state")[0]["online"] is True
            drive.standing = SourceState.ENDED
        await comes_true(lambda: not listener.of("state")[-1]["online"])
    flags = listener.of("flag")
    assert [one["number"] for one in flags if one["count"] == 1] == [1, 2]
    assert len({one["id"] for one in flags}) == len(flags)
    assert max(flags, key=lambda one: one["revision"] * (one["number"] == 1))["end_s"] == 0.3
    assert listener.of("tally")[-1]["rpm"] == 800.0
    last = listener.of("state")[-1]
    assert last["messages_waiting"] == 0
    newest = {one["number"]: one["id"] for one in sorted(flags, key=lambda one: one["revision"])}
    assert {one["number"]: one["id"] for one in last["flags"]} == newest


async def test_what_an_absent_broker_did_not_get_is_said_and_sent_by_the_next_run(absent: Mosquitto) -> None:
    said = await publish(absent.address(), Drive("first"), 1, 2, 3)
    where = f"mqtt://127.0.0.1:{absent.port}/coilcall/van"
    assert said == [f"3 messages may not have reached {where}; what waits goes out with the next run"]
    absent.start()
    async with listening(absent.address()) as listener:
        assert await publish(absent.address(), Drive("second"), 1) == []
        await comes_true(lambda: len(listener.of("flag")) == 4)
    assert [(one["recording_id"], one["number"]) for one in listener.of("flag")] == [
        ("first", 1), ("first", 2), ("first", 3), ("second", 1)
    ]  # fmt: skip


async def test_a_broker_that_is_away_is_told_in_words_and_found_again(absent: Mosquitto) -> None:
    drive = Drive()
    async with publishing(Access(parse_broker(absent.address())), CLOCK, print) as attach:
        attach(drive, drive.stop)
        drive.commit(flag(1))
        await comes_true(lambda: "1 waiting" in drive.source().publishing)
        words = drive.source().publishing
        assert words.startswith("mqtt: 1 waiting, broker away since ")
        assert "refused" in words
        absent.start()
        await comes_true(lambda: not drive.source().publishing)


async def test_commands_are_obeyed_once_where_they_are_taken_and_otherwise_refused(
    open_to_all: Mosquitto,
) -> None:
    access = Access(parse_broker(open_to_all.address()), takes_commands=True)
    drive = Drive()
    commands = [
        b"\x1b[2J", b"{", b'{"schema":"coilcall.command/1","command":"format"}', b'{"command":"mark"}',
        json.dumps({"schema": "coilcall.command/1", "command": "mark", "note": "there", "id": "a"}).encode(),
        json.dumps({"schema": "coilcall.command/1", "command": "mark", "note": "there", "id": "a"}).encode(),
        json.dumps({"schema": "coilcall.command/1", "command": "stop"}).encode(),
    ]  # fmt: skip
    async with publishing(access, CLOCK, print) as attach, listening(open_to_all.address()) as listener:
        attach(drive, drive.stop)
        await comes_true(lambda: listener.of("state"))
        assert listener.of("state")[-1]["takes_commands"] is True
        async with connected(access, None, None) as other:
            for command in commands:
                await other.send(Letter(access.broker.topic("command"), command, qos=1))
        await comes_true(lambda: drive.stopped)
        await comes_true(lambda: listener.of("mark"))
        assert "command refused" in drive.source().publishing
    assert [(mark.by, mark.note) for mark in drive.marks] == [("mqtt", "there")]
    assert listener.of("mark")[0]["note"] == "there"
