"""A session that goes on in the recording of an earlier one."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from acquire.errors import AddressError, CoilcallError, FormatError
from acquire.recording import read_blocks, read_info
from drivers.registry import source_for
from monitor.analysis import analyze_recording
from monitor.disk_terms import DiskTerms
from monitor.flags import Kind
from monitor.ledger import Ledger
from monitor.ledger_reader import read_flags, read_marks
from monitor.live import Options, Session, session
from monitor.recorded import recorded_beside
from monitor.replay import Pace, PacedSource
from monitor.summary import summarize
from tests.monitor.streams import Played, WaitingClock, engine_running
from tests.monitor.test_keeper import SetClock
from tests.monitor.test_live import analysed, rows

BEGAN = datetime(2026, 1, 1, 12, tzinfo=UTC)
RATE_HZ = 20_000
STREAM = (replace(engine_running()[0], started_utc=BEGAN, is_live=False), engine_running()[1])


async def run(folder: Path, began: datetime, *, resume: bool = True, stream: object = STREAM) -> Session:
    terms = DiskTerms(resume=resume, clock=SetClock(utc_now=began))
    source = Played(stream, started_utc=began)  # type: ignore[arg-type]
    async with session(source, Options(folder=folder, disk=terms)) as running:
        await running.ended.wait()
        running.mark("key")
    return running


async def test_the_second_session_stands_in_the_first_ones_time_and_is_numbered_on(tmp_path: Path) -> None:
    first = await run(tmp_path / "drive", BEGAN, resume=False)
    second = await run(tmp_path / "drive", BEGAN + timedelta(seconds=60))
    assert second.recording_id == first.recording_id
    assert second.doubt == ""
    assert [row[2] for row in rows(tmp_path / "drive", "sessions")] == [0, 60 * RATE_HZ]
    assert [row[:2] for row in rows(tmp_path / "drive", "coverage")] == [(1, 4.0), (2, 4.0)]
    _, flags = analysed(STREAM)
    found = read_flags(tmp_path / "drive" / "ledger.sqlite")
    assert [flag.number for flag in found] == list(range(1, 2 * len(flags) + 1))
    for before, after in zip(found[: len(flags)], found[len(flags) :], strict=True):
        assert (after.kind, after.cylinder) == (before.kind, before.cylinder)
        assert after.start_s == pytest.approx(before.start_s + 60.0)
    assert [mark.time_s for mark in read_marks(tmp_path / "drive" / "ledger.sqlite")] == [4.0, 64.0]
    blocks = list(read_blocks(tmp_path / "drive", read_info(tmp_path / "drive")))
    assert {block.first_index for block in blocks} >= {0, 60 * RATE_HZ}
    assert sum(block.samples for block in blocks) == 8 * RATE_HZ


async def test_clips_go_on_after_those_that_are_there_and_halves_are_taken_away(tmp_path: Path) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    before = sorted(path.name for path in (tmp_path / "drive" / "clips").iterdir())
    (tmp_path / "drive" / "clips" / "0077.partial").mkdir()
    await run(tmp_path / "drive", BEGAN + timedelta(seconds=60))
    after = sorted(path.name for path in (tmp_path / "drive" / "clips").iterdir())
    assert after == [f"{number:04d}" for number in range(1, 2 * len(before) + 1)]
    assert [row[0] for row in rows(tmp_path / "drive", "clips")] == list(range(1, 2 * len(before) + 1))


async def test_clips_that_a_kill_came_before_are_cut_when_it_goes_on(tmp_path: Path) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    before = rows(tmp_path / "drive", "clips")
    (tmp_path / "drive" / "clips" / "0001").rename(tmp_path / "as it was")
    with closing(sqlite3.connect(tmp_path / "drive" / "ledger.sqlite")) as book, book:
        book.execute("DELETE FROM clips WHERE number = 1")
    await run(tmp_path / "drive", BEGAN + timedelta(seconds=60))
    assert before[0][1:3] in [row[1:3] for row in rows(tmp_path / "drive", "clips")]


async def test_a_clock_set_back_an_hour_loses_nothing_and_is_told_and_booked(tmp_path: Path) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    second = await run(tmp_path / "drive", BEGAN - timedelta(hours=1))
    assert "the clock went back by 3604.0 s" in second.doubt
    ((time_s, kind, detail, _),) = rows(tmp_path / "drive", "events")
    assert (kind, detail) == ("clock-set", second.doubt)
    assert time_s == pytest.approx(7.0, abs=0.001)
    blocks = list(read_blocks(tmp_path / "drive", read_info(tmp_path / "drive")))
    assert sum(block.samples for block in blocks) == 8 * RATE_HZ


@pytest.mark.parametrize("back_s", [0.0, 0.013, 0.031, 0.047, 3600.0])
async def test_where_the_second_run_cannot_be_placed_to_the_turn_no_fault_is_invented(
    tmp_path: Path, back_s: float
) -> None:
    stream = engine_running(is_healthy=True)
    healthy = (replace(stream[0], started_utc=BEGAN, is_live=False), stream[1])
    await run(tmp_path / "drive", BEGAN, resume=False, stream=healthy)
    await run(tmp_path / "drive", BEGAN + timedelta(seconds=4.0 - back_s), stream=healthy)
    found = analyze_recording(str(tmp_path / "drive"), None)
    assert found.flags == []
    assert read_flags(tmp_path / "drive" / "ledger.sqlite") == []


async def test_a_run_that_a_kill_ends_before_its_first_commit_is_a_session_all_the_same(tmp_path: Path) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    path, at = tmp_path / "drive" / "ledger.sqlite", 60 * RATE_HZ
    with Ledger(path, BEGAN, is_new=False, first_index=at):
        pass
    assert recorded_beside(str(tmp_path / "drive")).begins == {0, at}


async def test_a_clip_is_not_gone_on_with(tmp_path: Path) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    with pytest.raises(FormatError, match="is that of a clip; go on in the recording that it was cut from"):
        await run(tmp_path / "drive" / "clips" / "0001", BEGAN + timedelta(seconds=60))


async def test_before_the_second_runs_first_sample_its_time_is_that_of_the_recording(tmp_path: Path) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    terms = DiskTerms(resume=True, clock=SetClock(utc_now=BEGAN + timedelta(seconds=60)))
    source = Played(STREAM, started_utc=BEGAN + timedelta(seconds=60))
    async with session(source, Options(folder=tmp_path / "drive", disk=terms)) as running:
        assert running.snapshot().time_s == 60.0


async def test_other_inputs_are_refused_and_nothing_is_changed(tmp_path: Path) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    before = {path: path.read_bytes() for path in (tmp_path / "drive").glob("*.*")}
    other = (replace(STREAM[0], sample_rate_hz=10_000.0), STREAM[1])
    with pytest.raises(AddressError, match="cannot go on with this recording: 10000 Hz"):
        await run(tmp_path / "drive", BEGAN, stream=other)
    assert {path: path.read_bytes() for path in (tmp_path / "drive").glob("*.*")} == before


async def test_a_ledger_that_is_none_is_refused_in_one_line_and_left_alone(tmp_path: Path) -> None:
    content = b"no book" * 1000
    await run(tmp_path / "drive", BEGAN, resume=False)
    (tmp_path / "drive" / "ledger.sqlite").write_bytes(content)
    with pytest.raises(CoilcallError, match=r"ledger\.sqlite: "):
        await run(tmp_path / "drive", BEGAN + timedelta(seconds=60))
    assert (tmp_path / "drive" / "ledger.sqlite").read_bytes() == content


@pytest.mark.parametrize("is_there", [False, True])
async def test_a_recording_whose_ledger_is_gone_or_empty_goes_on_with_a_new_one(tmp_path: Path, is_there: bool) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    (tmp_path / "drive" / "ledger.sqlite").unlink()
    if is_there:
        (tmp_path / "drive" / "ledger.sqlite").touch()
    await run(tmp_path / "drive", BEGAN + timedelta(seconds=60))
    assert [row[2] for row in rows(tmp_path / "drive", "sessions")] == [60 * RATE_HZ]


async def test_where_no_recording_is_nothing_can_go_on(tmp_path: Path) -> None:
    with pytest.raises(AddressError, match="no such folder"):
        await run(tmp_path / "nowhere", BEGAN)


async def test_a_pause_between_two_sessions_is_no_loss_to_analyze_and_nobody_waits_for_it_in_a_replay(
    tmp_path: Path,
) -> None:
    await run(tmp_path / "drive", BEGAN, resume=False)
    await run(tmp_path / "drive", BEGAN + timedelta(hours=3))
    found = analyze_recording(str(tmp_path / "drive"), None)
    summary = summarize(found.analyzer, "drive", found.flags, found.marks)
    assert (summary["duration_s"], summary["paused_s"], summary["coverage"]) == (8.0, 3 * 3600.0 - 4.0, 1.0)
    assert Kind.LOST_SAMPLES not in {flag.kind for flag in found.flags}
    clock = WaitingClock()
    started_s = clock.now()
    begins = recorded_beside(str(tmp_path / "drive")).begins
    assert begins == {0, 3 * 3600 * RATE_HZ}
    paced = PacedSource(source_for(str(tmp_path / "drive")), Pace(clock), begins=begins)
    paced.open()
    assert sum(block.samples for block in paced.blocks()) == 8 * RATE_HZ
    assert clock.now() - started_s == pytest.approx(8.0, abs=0.2)
