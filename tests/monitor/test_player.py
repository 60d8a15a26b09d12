"""A replay without a screen: where its keys lead, and what is shown there."""

import asyncio
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import pytest

from acquire.block import SampleBlock
from acquire.errors import AddressError, FormatError
from monitor import player
from monitor.analyzer import Analyzer
from monitor.flags import Flag
from monitor.marks import Mark
from monitor.player import Replay
from monitor.recorded import Recorded
from monitor.replay import Pace
from monitor.setup import parse_setup
from monitor.source_view import SourceState
from tests.monitor.streams import Played, engine_running

STREAM = engine_running(8.0)
RATE_HZ = STREAM[0].sample_rate_hz


class StandingClock:
    """No time passes; whoever waits looks again soon."""

    def now(self) -> float:
        return 100.0

    def utc(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC)

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        return stop.wait(min(seconds, 0.002))


def analysed(until_s: float = 1e9) -> tuple[Analyzer, list[Flag]]:
    """The samples before that time analysed in one go, and their flags."""
    info, blocks = STREAM
    analyzer, end = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info), round(until_s * RATE_HZ)
    flags: dict[int, Flag] = {}
    for block in blocks:
        piece = SampleBlock(block.first_index, block.counts[:, : max(end - block.first_index, 0)])
        if piece.samples:
            flags.update((flag.number, flag) for flag in analyzer.feed(piece).flags)
    return analyzer, list(flags.values())


FLAGS = tuple(flag for flag in analysed()[1] if flag.start_s > 1.0)


@dataclass
class Looked:
    """A replay that is looked at, and how many sessions it has held."""

    replay: Replay
    opened: int = 0

    async def stands(self) -> float:
        """Wait until it stands still where it was to run to; where that is."""
        async with asyncio.timeout(20):
            while self.replay.source().state is SourceState.JUMPING:  # noqa: ASYNC110  a screen asks again and again too
                await asyncio.sleep(0.001)
        return self.replay.snapshot().time_s


@asynccontextmanager
async def replaying(
    recorded: Recorded, at_s: float = 0.0, make: Callable[[], Played] | None = None
) -> AsyncIterator[Looked]:
    """A replay that stands still, at first at `at_s`."""

    def opened() -> Played:
        looked.opened += 1
        return make() if make else Played(STREAM)

    looked = Looked(Replay(opened, None, Pace(StandingClock()), recorded))
    async with asyncio.TaskGroup() as tasks:
        tasks.create_task(looked.replay.play(at_s))
        await looked.replay.opened.wait()
        await looked.stands()
        yield looked
        looked.replay.close()


async def test_keys_lead_from_flag_to_flag_and_stop_a_second_before_each() -> None:
    first, second = replace(FLAGS[0], start_s=2.5), replace(FLAGS[0], number=9, start_s=6.0)
    async with replaying(Recorded((), (first, second), is_there=True)) as looked:
        replay = looked.replay
        replay.later()
        assert await looked.stands() == pytest.approx(1.5, abs=1 / RATE_HZ)
        assert "missing-acknowledgement cyl 4" in replay.source().replay
        assert replay.source().state is SourceState.PAUSED
        replay.later()
        assert await looked.stands() == pytest.approx(5.0, abs=1 / RATE_HZ)
        assert looked.opened == 1
        replay.later()
        assert replay.source().replay == "no later flag or mark"
        replay.earlier()
        assert await looked.stands() == pytest.approx(1.5, abs=1 / RATE_HZ)
        assert looked.opened == 2


async def test_keys_pressed_while_it_still_runs_count_from_where_it_is_going() -> None:
    flags = tuple(replace(FLAGS[0], number=n, start_s=1.5 * n) for n in range(1, 6))
    async with replaying(Recorded((), flags, is_there=True)) as looked:
        for _ in range(4):
            looked.replay.later()
        assert await looked.stands() == pytest.approx(5.0, abs=1 / RATE_HZ)
        looked.replay.earlier()
        looked.replay.earlier()
        assert await looked.stands() == pytest.approx(2.0, abs=1 / RATE_HZ)
        assert looked.opened <= 3


@pytest.mark.parametrize("from_s", [0.0, 7.0])
async def test_the_screen_shows_there_what_a_straight_run_to_there_shows(from_s: float) -> None:
    flag = replace(FLAGS[0], start_s=4.0)
    async with replaying(Recorded((), (flag,), is_there=True), from_s) as looked:
        looked.replay.earlier() if from_s else looked.replay.later()
        await looked.stands()
        shown = looked.replay.snapshot()
    straight = analysed(3.0)[0].snapshot()
    assert replace(shown, levels=()) == replace(straight, levels=())


async def test_a_far_jump_is_counted_from_shortly_before_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(player, "LEAD_S", 2.0)
    async with replaying(Recorded((), (replace(FLAGS[0], start_s=6.5),), is_there=True)) as looked:
        looked.replay.later()
        assert await looked.stands() == pytest.approx(5.5, abs=1 / RATE_HZ)
        shown = looked.replay.snapshot()
        assert "counted from 0:00:03 on" in looked.replay.source().replay
        assert 10 <= shown.cylinders[0].counts.opportunities <= 14
        assert looked.replay.traced.newest_start == round(3.5 * RATE_HZ)
        looked.replay.beginning()
        assert await looked.stands() == pytest.approx(0.1, abs=1 / RATE_HZ)
        assert looked.replay.source().replay == ""
        assert looked.opened == 3


async def test_without_a_ledger_only_what_was_seen_is_jumped_to_and_it_says_so() -> None:
    async with replaying(Recorded(), 7.5) as looked:
        looked.replay.later()
        assert looked.replay.source().replay == "no later flag or mark seen so far; no ledger tells of others"
        looked.replay.earlier()
        assert await looked.stands() < 7.5
        assert "next 0:00:0" in looked.replay.source().replay


async def test_recorded_marks_are_shown_when_their_moment_has_come_and_those_of_the_replay_stay_over_a_jump() -> None:
    recorded = Recorded((Mark(1, 2.0, "key", "hill"), Mark(2, 7.5, "mqtt")), is_there=True)
    async with replaying(recorded, 5.5) as looked:
        replay = looked.replay
        assert [(mark.number, mark.note) for mark in replay.snapshot().marks] == [(1, "hill")]
        own = replay.mark("key")
        assert own.number == 2
        assert own.time_s == pytest.approx(5.5, abs=1 / RATE_HZ)
        replay.beginning()
        await looked.stands()
        assert replay.snapshot().marks == ()
        replay.later()
        assert await looked.stands() == pytest.approx(1.5, abs=1 / RATE_HZ)
        assert replay.source().replay == "next 0:00:05 mark by key"
        replay.later()
        assert await looked.stands() == pytest.approx(3.5, abs=1 / RATE_HZ)
        assert replay.source().replay == "next 0:00:07 mark by mqtt"
        assert [mark.note for mark in replay.snapshot().marks] == ["hill"]


async def test_the_times_of_a_clip_are_those_of_the_whole_and_its_beginning_is_where_its_samples_begin() -> None:
    shift = 5_000_000
    blocks = [SampleBlock(block.first_index + shift, block.counts) for block in STREAM[1]]
    info = replace(STREAM[0], total_samples=blocks[-1].end_index)
    flag = replace(FLAGS[0], start_s=shift / RATE_HZ + 6.0)
    async with replaying(Recorded((), (flag,), is_there=True), make=lambda: Played((info, blocks))) as looked:
        for _ in range(2):
            looked.replay.later()
            assert await looked.stands() == pytest.approx(255.0, abs=1 / RATE_HZ)
            assert looked.replay.snapshot().coverage == 1.0
            looked.replay.beginning()
            assert await looked.stands() == pytest.approx(250.1, abs=1 / RATE_HZ)
            assert looked.replay.source().replay == ""


async def test_a_place_behind_the_end_is_refused_in_one_line() -> None:
    with pytest.raises(ExceptionGroup) as caught:
        async with replaying(Recorded(), 60.0):
            pass
    said = "--at 0:01:00: the recording ends at 0:00:08; name an earlier place"
    assert caught.group_contains(AddressError, match=f"^{said}$")


async def test_samples_that_cannot_be_read_again_end_the_replay_with_their_error() -> None:
    class Gone(Played):
        def open(self) -> object:  # type: ignore[override]
            raise FormatError("drive: is gone")

    sources = [Played(STREAM), Gone(STREAM)]

    async def back_to_the_beginning() -> None:
        async with replaying(Recorded((), FLAGS, is_there=True), 7.0, lambda: sources.pop(0)) as looked:
            looked.replay.beginning()
            await asyncio.Event().wait()

    with pytest.raises(ExceptionGroup) as caught:
        await back_to_the_beginning()
    assert caught.group_contains(FormatError, match="drive: is gone")
