import asyncio
import sqlite3
from collections.abc import Sequence
from dataclasses import astuple
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquire.block import SampleBlock, StreamInfo
from acquire.errors import CoilcallError, FormatError, SetupError, SourceLost
from acquire.recording import read_blocks, read_info
from acquire.source import Source
from drivers.files.recording import RecordingSource
from monitor.analyzer import Analyzer
from monitor.firing.records import Firing, Outcome
from monitor.flags import Flag
from monitor.live import Options, Session, session
from monitor.replay import Pace, PacedSource
from monitor.setup import parse_setup
from monitor.source_view import SourceState
from tests.monitor.streams import Played, WaitingClock, engine_running


def analysed(stream: tuple[StreamInfo, Sequence[SampleBlock]]) -> tuple[list[Firing], dict[int, Flag]]:
    """What the analyzer alone makes of a stream."""
    info, blocks = stream
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info)
    firings: list[Firing] = []
    flags: dict[int, Flag] = {}
    for step in [*map(analyzer.feed, blocks), analyzer.finish()]:
        firings += step.firings
        flags |= {flag.number: flag for flag in step.flags}
    return firings, flags


def rows(folder: Path, table: str) -> list[tuple[Any, ...]]:
    book = sqlite3.connect(folder / "ledger.sqlite")
    try:
        return book.execute(f"SELECT * FROM {table}").fetchall()
    finally:
        book.close()


async def run_to_the_end(source: Source, options: Options = Options()) -> Session:  # noqa: B008
    async with session(source, options) as running:
        await running.ended.wait()
    return running


async def test_a_session_finds_what_the_analyzer_alone_finds_and_keeps_every_sample(tmp_path: Path) -> None:
    stream = engine_running(is_losing=True)
    folder = tmp_path / "drive"
    running = await run_to_the_end(Played(stream), Options(folder=folder))
    firings, flags = analysed(stream)
    assert rows(folder, "firings") == [astuple(firing) for firing in firings]
    assert rows(folder, "flags") == [astuple(flag) for _, flag in sorted(flags.items())]
    info = read_info(folder)
    assert info.setup_toml == stream[0].setup_toml
    kept = np.concatenate([block.counts for block in read_blocks(folder, info)], axis=1)
    np.testing.assert_array_equal(kept, np.concatenate([block.counts for block in stream[1]], axis=1))
    assert running.source().state is SourceState.ENDED


async def test_the_cylinder_that_does_not_answer_is_seen_and_named() -> None:
    running = await run_to_the_end(Played(engine_running()))
    missed = {view.cylinder: view.counts.unacknowledged for view in running.snapshot().cylinders}
    assert missed.pop(4) >= 6
    assert set(missed.values()) == {0}
    assert running.snapshot().flags[0].cylinder == 4


async def test_lost_samples_stand_in_the_ledger_with_their_place_and_number(tmp_path: Path) -> None:
    stream = engine_running(is_losing=True)
    await run_to_the_end(Played(stream), Options(folder=tmp_path / "drive"))
    pairs = zip(stream[1], stream[1][1:], strict=False)
    gaps = [(a.end_index, b.first_index - a.end_index) for a, b in pairs if b.first_index > a.end_index]
    assert gaps
    assert rows(tmp_path / "drive", "gaps") == gaps
    ((_, elapsed_s, coverage, lost),) = rows(tmp_path / "drive", "coverage")
    assert lost == sum(samples for _, samples in gaps)
    assert elapsed_s == pytest.approx(4.0, abs=0.1)
    assert coverage == pytest.approx(1 - int(str(lost)) / 80_000, abs=1e-3)


async def test_a_replay_of_the_recording_gives_the_same_ledger(tmp_path: Path) -> None:
    await run_to_the_end(Played(engine_running(is_losing=True)), Options(folder=tmp_path / "drive"))
    clock = WaitingClock()
    pace = Pace(clock, 8.0)
    again = PacedSource(RecordingSource(tmp_path / "drive"), pace)
    running = await run_to_the_end(again, Options(folder=tmp_path / "again", pace=pace))
    for table in ("firings", "flags", "gaps"):
        assert rows(tmp_path / "again", table) == rows(tmp_path / "drive", table)
    assert clock.now() - 100.0 == pytest.approx(4.0 / 8.0, abs=0.02)
    assert running.source().speed == 8.0


async def test_a_source_that_is_lost_is_shown_with_its_reason_and_raised_at_the_end(tmp_path: Path) -> None:
    stream = engine_running()
    lost = SourceLost("scope at usb0: no answer for 0.5 s; plug it in again")
    with pytest.raises(SourceLost, match="usb0"):  # noqa: PT012 - the screen looks on before it is raised
        async with session(Played(stream, error=lost), Options(folder=tmp_path / "drive")) as running:
            await running.ended.wait()
            assert running.source().state is SourceState.LOST
            assert "usb0" in running.source().reason
    assert rows(tmp_path / "drive", "firings") == [astuple(firing) for firing in analysed(stream)[0]]


async def test_leaving_early_closes_the_source_and_keeps_all_it_gave(tmp_path: Path) -> None:
    stream = engine_running()
    source = Played(stream, is_endless=True, is_live=True)
    async with session(source, Options(folder=tmp_path / "drive")) as running:
        while running.snapshot().time_s < 3.9:  # noqa: ASYNC110 - a poll, as a screen does it
            await asyncio.sleep(0)
        assert running.source().state is SourceState.FLOWING
    assert source.is_closed
    assert running.source().state is SourceState.ENDED
    assert rows(tmp_path / "drive", "firings") == [astuple(firing) for firing in analysed(stream)[0]]


async def test_what_is_committed_while_it_runs_can_be_read_by_others(tmp_path: Path) -> None:
    stream = engine_running()
    async with session(Played(stream, is_endless=True), Options(folder=tmp_path / "drive")):
        while not rows(tmp_path / "drive", "firings"):  # noqa: ASYNC110
            await asyncio.sleep(0.01)
        outcomes = {row[3] for row in rows(tmp_path / "drive", "firings")}
    assert outcomes <= {str(outcome) for outcome in Outcome}


async def test_samples_without_a_set_up_are_one_clear_line() -> None:
    with pytest.raises(SetupError, match="no set-up came with these samples; say with --setup FILE"):
        await run_to_the_end(Played(engine_running(), setup_toml=None))


async def test_a_set_up_file_wins_over_the_one_that_came_with_the_samples(tmp_path: Path) -> None:
    stream = engine_running()
    own = tmp_path / "own.toml"
    own.write_text((stream[0].setup_toml or "").replace("[1, 4, 2, 5, 3, 6]", "[6, 5, 4, 3, 2, 1]"), encoding="utf-8")
    text = own.read_text(encoding="utf-8")
    running = await run_to_the_end(Played(stream), Options(own, tmp_path / "drive"))
    assert text != stream[0].setup_toml
    order = parse_setup(text, "own").engine.firing_order
    assert [view.cylinder for view in running.snapshot().cylinders] == list(order)
    assert read_info(tmp_path / "drive").setup_toml == text


async def test_a_source_that_does_not_open_is_raised_as_it_is(tmp_path: Path) -> None:
    with pytest.raises(CoilcallError):
        await run_to_the_end(RecordingSource(tmp_path / "nowhere"))


async def test_a_folder_in_use_is_refused_before_anything_is_analysed(tmp_path: Path) -> None:
    (tmp_path / "old.txt").touch()
    with pytest.raises(CoilcallError, match="not empty"):
        await run_to_the_end(Played(engine_running()), Options(folder=tmp_path))


async def test_an_error_of_our_own_ends_the_session_and_is_not_swallowed(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a mistake")

    monkeypatch.setattr(Analyzer, "feed", broken)
    source = Played(engine_running(), is_endless=True)
    with pytest.raises(ExceptionGroup, match="TaskGroup"):
        async with session(source, Options()):
            await asyncio.Event().wait()
    assert source.is_closed


async def test_a_file_that_turns_bad_in_the_middle_is_shown_and_raised() -> None:
    stream = engine_running()
    with pytest.raises(FormatError, match="row 7"):
        await run_to_the_end(Played((stream[0], stream[1][:3]), error=FormatError("drive.csv: row 7: not a number")))


async def test_a_paused_replay_says_so_and_can_be_left() -> None:
    clock = WaitingClock()
    pace = Pace(clock)
    pace.toggle_pause()
    async with session(PacedSource(Played(engine_running()), pace), Options(pace=pace)) as running:
        assert running.source().state is SourceState.PAUSED
        assert running.snapshot().cylinders[0].counts.opportunities == 0
