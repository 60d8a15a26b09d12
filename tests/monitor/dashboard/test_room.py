import os
import pty
import sys
import threading

import pytest

from monitor.dashboard import app as dashboard_app
from monitor.dashboard import sheet
from monitor.dashboard.app import Dashboard
from monitor.dashboard.leaving import never_held_up
from monitor.dashboard.room import has_room, is_gone
from tests.monitor.dashboard.pictures import Still, snapshot
from tests.monitor.dashboard.test_app import rows_of, settle


def test_a_terminal_that_is_not_read_has_no_room_until_it_is_read_again(monkeypatch: pytest.MonkeyPatch) -> None:
    lead, follow = pty.openpty()
    os.set_blocking(follow, False)
    with os.fdopen(follow, "w") as terminal:
        monkeypatch.setattr(sys, "__stderr__", terminal)
        assert has_room()
        while has_room():
            os.write(follow, b"x" * 1000)
        while not has_room():
            os.read(lead, 65536)
    os.close(lead)


def test_a_terminal_whose_other_end_was_closed_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    lead, follow = pty.openpty()
    with os.fdopen(follow, "w") as terminal:
        monkeypatch.setattr(sys, "__stderr__", terminal)
        assert not is_gone()
        os.close(lead)
        assert is_gone()


def test_who_leaves_does_not_wait_for_a_terminal_that_nobody_reads(monkeypatch: pytest.MonkeyPatch) -> None:
    lead, follow = pty.openpty()
    written = threading.Event()

    def write() -> None:
        for _ in range(20):
            os.write(follow, b"x" * 10_000)
        written.set()

    with os.fdopen(follow, "w") as terminal:
        monkeypatch.setattr(sys, "__stderr__", terminal)
        leaving = threading.Event()
        writer = threading.Thread(target=write, daemon=True)
        writer.start()
        with never_held_up(leaving, patience_s=0.0):
            leaving.set()
            assert written.wait(20.0)
        writer.join()
    os.close(lead)


def test_before_anybody_leaves_nothing_is_thrown_away(monkeypatch: pytest.MonkeyPatch) -> None:
    lead, follow = pty.openpty()
    with os.fdopen(follow, "w") as terminal:
        monkeypatch.setattr(sys, "__stderr__", terminal)
        with never_held_up(threading.Event(), patience_s=0.0):
            os.write(follow, b"kept")
        assert os.read(lead, 10) == b"kept"
    os.close(lead)


def test_no_terminal_at_all_has_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "__stderr__", None)
    assert has_room()


def test_a_terminal_that_was_closed_has_room(monkeypatch: pytest.MonkeyPatch) -> None:
    with open(os.devnull, "w") as closed:  # noqa: PTH123  a stream like stderr
        pass
    monkeypatch.setattr(sys, "__stderr__", closed)
    assert has_room()


async def test_nothing_is_drawn_while_there_is_no_room_and_the_newest_as_soon_as_there_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    watched = Still()
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        before = await settle(app, pilot)
        monkeypatch.setattr(dashboard_app, "has_room", lambda: False)
        watched.now = snapshot(6, missing=4)
        assert await settle(app, pilot) == before
        monkeypatch.undo()
        app.pull()
        await pilot.pause()
        assert "CYLINDER 4" in rows_of(app)[2]


async def test_so_it_is_with_what_lies_over_the_roll_call(monkeypatch: pytest.MonkeyPatch) -> None:
    watched = Still(snapshot(6))
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("b")
        monkeypatch.setattr(sheet, "has_room", lambda: False)
        asked: list[object] = []
        monkeypatch.setattr(watched, "snapshot", lambda: asked.append(None))
        assert isinstance(app.screen, sheet.Sheet)
        app.screen.pull_if_room()
        assert asked == []
