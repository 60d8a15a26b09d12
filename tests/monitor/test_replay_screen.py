"""The keys of a replay on the screen, the trace over it too."""

import asyncio
import math
from pathlib import Path

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st
from textual.pilot import Pilot

from acquire.recording import RecordingWriter
from monitor import replay_screen
from monitor.commands.replay import Place
from monitor.dashboard.app import Dashboard
from monitor.replay import Pace
from tests.monitor.streams import engine_running
from tests.monitor.test_player import StandingClock

DEADLINE_S = 20.0


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    """Eight seconds of a six whose cylinder 4 does not answer between 1 s and 2 s; no ledger."""
    info, blocks = engine_running(8.0)
    with RecordingWriter(tmp_path / "drive", info) as writer:
        for block in blocks:
            writer.write(block)
    return tmp_path / "drive"


async def until_shown(app: Dashboard, pilot: Pilot[object], words: str, rows: list[str]) -> None:
    while words not in "\n".join(rows):
        app.pull()
        await pilot.pause()
        rows[:] = ["".join(part.text for part in strip) for strip in app.screen._compositor.render_strips()]


def shown_to(monkeypatch: pytest.MonkeyPatch, *presses: tuple[str, str]) -> list[str]:
    """Press keys once the screen shows the words before it; what the screen shows in the end."""
    rows: list[str] = []
    show = Dashboard.run_async

    async def look(pilot: Pilot[object]) -> None:
        app = pilot.app
        assert isinstance(app, Dashboard)
        for words, keys in presses:
            rows.clear()
            async with asyncio.timeout(DEADLINE_S):
                await until_shown(app, pilot, words, rows)
            await pilot.press(*keys.split())

    monkeypatch.setattr(Dashboard, "run_async", lambda self: show(self, headless=True, size=(140, 40), auto_pilot=look))
    return rows


async def shown(drive: Path, pace: Pace, at_s: float = 0.0) -> int:
    return await replay_screen.replay(str(drive), None, pace, at_s)


async def test_space_and_f_move_its_pace(monkeypatch: pytest.MonkeyPatch, drive: Path) -> None:
    shown_to(monkeypatch, ("replay x2", "f"), ("replay x4", "space"), ("PAUSED", "q"))
    pace = Pace(StandingClock(), 2.0)
    assert await shown(drive, pace) == 0
    assert pace.speed == 4.0


async def test_k_goes_back_to_where_the_flag_is_about_to_come_and_steps_let_it_come(
    monkeypatch: pytest.MonkeyPatch, drive: Path
) -> None:
    rows = shown_to(monkeypatch, ("0:00:07/0:00:08", "k"), ("next 0:00:0", "n " * 14), ("CYLINDER 4", "q"))
    assert await shown(drive, Pace(StandingClock()), 7.0) == 0
    assert "0:00:01/0:00:08" in rows[1]


async def test_j_without_a_ledger_says_what_is_not_known(monkeypatch: pytest.MonkeyPatch, drive: Path) -> None:
    shown_to(monkeypatch, ("replay x1", "j"), ("no later flag or mark seen so far; no ledger tells of others", "q"))
    assert await shown(drive, Pace(StandingClock())) == 0


async def test_the_trace_goes_along_with_a_jump_and_shows_what_comes_after_it(
    monkeypatch: pytest.MonkeyPatch, drive: Path
) -> None:
    rows = shown_to(monkeypatch, ("0:00:07/0:00:08", "t"), ("TRACE  follows", "k"), ("blank", "n " * 14), ("4X", "q q"))
    assert await shown(drive, Pace(StandingClock()), 7.0) == 0
    assert "1." in rows[0]


@pytest.mark.parametrize(("typed", "at_s"), [("754.2", 754.2), ("12:34", 754.0), ("1:02:34.5", 3754.5), ("0", 0.0)])
def test_a_place_is_understood_as_seconds_or_with_minutes_and_hours(typed: str, at_s: float) -> None:
    assert Place().convert(typed, None, None) == at_s


@given(st.one_of(st.text(), st.from_regex(r"[0-9:.,\-+e ]{1,12}", fullmatch=True)))
def test_whatever_else_is_typed_is_refused_in_one_line(typed: str) -> None:
    try:
        at_s = Place().convert(typed, None, None)
    except click.UsageError as error:
        at_s, said = 0.0, error.message
    else:
        said = "is no time; give seconds, or 12:34, or 1:02:34.5"
    assert 0.0 <= at_s < math.inf
    assert said.endswith("is no time; give seconds, or 12:34, or 1:02:34.5")
    assert "\n" not in said
