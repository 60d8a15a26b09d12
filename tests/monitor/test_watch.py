import os
import pty
import select
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from textual.pilot import Pilot

from acquire.errors import SourceLost
from acquire.recording import read_info
from monitor import watch
from monitor.dashboard.app import Dashboard
from monitor.dashboard.cautions import Cautions
from monitor.live import Options
from tests.monitor.streams import Played, engine_running

DEADLINE_S = 30.0


@pytest.fixture(autouse=True)
def cautions_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watch, "are_read", lambda: True)


def shown_to(monkeypatch: pytest.MonkeyPatch, *keys: str) -> list[str]:
    """Let the screen run without a terminal; press keys, then q. The rows seen before q are in the list."""
    rows: list[str] = []
    show = Dashboard.run_async

    async def look(pilot: Pilot[object]) -> None:
        app = pilot.app
        assert isinstance(app, Dashboard)
        while not rows or "No turn of any cylinder" in "".join(rows):
            app.pull()
            await pilot.pause()
            rows[:] = ["".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips()]
        await pilot.press(*keys)
        app.pull()
        await pilot.pause()
        rows[:] = ["".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips()]
        await pilot.press("q")

    monkeypatch.setattr(Dashboard, "run_async", lambda self: show(self, headless=True, size=(120, 40), auto_pilot=look))
    return rows


async def test_a_source_is_watched_and_recorded(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    rows = shown_to(monkeypatch)
    source = Played(engine_running(), is_endless=True, is_live=True)
    monkeypatch.setattr(watch, "source_for", lambda _: source)
    assert await watch.watch("simulated:", Options(folder=tmp_path / "kept")) == 0
    assert "SIMULATED" in rows[1]
    assert f"recording to {tmp_path}"[:20] in rows[1]
    assert read_info(tmp_path / "kept").setup_toml == source.info.setup_toml


@pytest.mark.parametrize(
    ("address", "is_cautioned"), [("any:", True), ("simulated:", False), ("file:drive.csv", False)]
)
async def test_cautions_come_before_the_first_instrument_and_not_before_what_cannot_hurt(
    address: str, is_cautioned: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = shown_to(monkeypatch)
    monkeypatch.setattr(watch, "are_read", lambda: False)
    monkeypatch.setattr(Cautions, "_put_away", lambda self: self.app.exit())
    monkeypatch.setattr(watch, "source_for", lambda _: Played(engine_running(), is_endless=True, is_live=True))
    assert await watch.watch(address, Options()) == 0
    assert any("BEFORE YOU CONNECT" in row for row in rows) == is_cautioned


async def test_a_lost_source_stays_on_the_screen_and_is_raised_after_it(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = shown_to(monkeypatch)
    lost = SourceLost("scope: no answer for 0.5 s")
    monkeypatch.setattr(watch, "source_for", lambda _: Played(engine_running(), error=lost))
    with pytest.raises(SourceLost):
        await watch.watch("any:", Options())
    assert "SOURCE LOST" in "".join(rows)


class Terminal:
    """A command on a terminal of its own, 80 columns by 24 rows."""

    def __init__(self, *arguments: str) -> None:
        self._lead, follow = pty.openpty()
        termios.tcsetwinsize(follow, (24, 80))
        program = [sys.executable, "-c", "from monitor.cli import main; main()", *arguments]
        environment = os.environ | {"TERM": "xterm-256color"}
        self.process = subprocess.Popen(program, stdin=follow, stdout=follow, stderr=follow, env=environment)
        os.close(follow)
        self.seen = b""

    def read_until(self, wanted: bytes) -> None:
        deadline = time.monotonic() + DEADLINE_S
        while wanted not in self.seen:
            assert time.monotonic() < deadline, f"{wanted!r} did not come; the last was {self.seen[-500:]!r}"
            if select.select([self._lead], [], [], 0.1)[0]:
                self.seen += os.read(self._lead, 65536)

    def press(self, keys: bytes) -> None:
        os.write(self._lead, keys)

    def end(self) -> int:
        """Read until the command has ended; its exit status."""
        with suppress(OSError):  # Linux says so when the other end is closed
            while more := os.read(self._lead, 65536):
                self.seen += more
        os.close(self._lead)
        return self.process.wait(DEADLINE_S)


@pytest.mark.parametrize(
    "leave",
    [
        pytest.param(lambda terminal: terminal.press(b"q"), id="q"),
        pytest.param(lambda terminal: terminal.press(b"\x03"), id="ctrl-c"),
        pytest.param(lambda terminal: terminal.process.terminate(), id="polite kill"),
    ],
)
def test_without_an_address_the_simulated_engine_runs_until_one_leaves(leave: Callable[[Terminal], None]) -> None:
    terminal = Terminal("watch")
    terminal.read_until(b"SIMULATED")
    terminal.read_until(b"RUNNING")
    leave(terminal)
    assert terminal.end() == 0
    assert terminal.seen.rfind(b"\x1b[?1049l") > terminal.seen.rfind(b"\x1b[?1049h")
    assert b"Traceback" not in terminal.seen


def test_bad_input_leaves_the_terminal_alone() -> None:
    terminal = Terminal("replay", "nowhere.csv")
    assert terminal.end() == 2
    assert b"coilcall: " in terminal.seen
    assert b"\x1b[?1049h" not in terminal.seen
