from pathlib import Path

import pytest

from monitor import cautions_read
from monitor.cautions import CAUTIONS
from monitor.cautions_read import are_read, note_read
from monitor.dashboard.app import Dashboard
from monitor.dashboard.cautions import Cautions
from tests.monitor.dashboard.pictures import Still, snapshot
from tests.monitor.dashboard.test_app import settle


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state" / "coilcall" / "cautions-read"


def test_they_are_remembered_once_they_were_put_away(state: Path) -> None:
    assert not are_read()
    note_read()
    assert are_read()
    assert state.exists()


def test_cautions_that_changed_since_are_not_read_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    note_read()
    monkeypatch.setattr(cautions_read, "CAUTIONS", CAUTIONS + "\n- One more.")
    assert not are_read()


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"something else"])
def test_a_file_of_something_else_is_no_note(content: bytes, state: Path) -> None:
    state.parent.mkdir(parents=True)
    state.write_bytes(content)
    assert not are_read()


def test_where_nothing_can_be_written_they_are_shown_each_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    note_read()
    assert not are_read()


def test_a_relative_folder_of_state_is_ignored_as_its_specification_wants(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", "state")
    monkeypatch.setenv("HOME", str(tmp_path))
    note_read()
    assert (tmp_path / ".local" / "state" / "coilcall" / "cautions-read").read_text(encoding="utf-8") == CAUTIONS


@pytest.mark.parametrize("key", ["space", "m", "q", "escape", "down", "x"])
async def test_any_key_puts_them_away_and_does_nothing_else(key: str) -> None:
    watched = Still()
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        app.action_cautions()
        text = "\n".join(await settle(app, pilot))
        for line in CAUTIONS.splitlines():
            assert line in text
        await pilot.press(key)
        await app.workers.wait_for_complete()
        assert any("Every turn acknowledged" in row for row in await settle(app, pilot))
        assert app.is_running
    assert watched.now.marks == ()
    assert are_read()


async def test_a_click_puts_them_away_too() -> None:
    app = Dashboard(Still())
    async with app.run_test(size=(80, 24)) as pilot:
        app.action_cautions()
        await pilot.pause()
        await pilot.click(offset=(40, 12))
        await app.workers.wait_for_complete()
        assert not isinstance(app.screen, Cautions)
    assert are_read()


async def test_ctrl_c_ends_the_watch_and_they_are_not_taken_for_read() -> None:
    app = Dashboard(Still())
    async with app.run_test(size=(80, 24)) as pilot:
        app.action_cautions()
        await pilot.pause()
        await pilot.press("ctrl+c")
    assert not are_read()


async def test_beneath_them_the_watch_goes_on_and_a_new_fault_rings(monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[str] = []
    monkeypatch.setattr("textual.drivers.headless_driver.HeadlessDriver.write", lambda _, text: sent.append(text))
    watched = Still()
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        app.action_cautions()
        await settle(app, pilot)
        watched.now = snapshot(6, missing=4)
        await settle(app, pilot)
        assert "\x1b]2;X4 coilcall\x07\x07" in sent
    assert not are_read()
