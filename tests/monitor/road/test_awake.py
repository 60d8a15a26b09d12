import subprocess
import sys
from pathlib import Path

import pytest

from monitor.road import awake
from monitor.road.awake import kept_awake

HOLDS = 'echo "$@" >"$0.asked"; while [ "${1#--}" != "$1" ]; do shift; done; echo $$ >"$0.pid"; exec "$@"'


@pytest.fixture
def _only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is on the path but what a test puts there, and `cat`."""
    (tmp_path / "cat").symlink_to("/bin/cat")
    monkeypatch.setenv("PATH", str(tmp_path))


def put(folder: Path, does: str) -> Path:
    """A system's own command, as far as we see it: it does its part and becomes what it is given."""
    command = folder / "systemd-inhibit"
    command.write_text(f"#!/bin/sh\n{does}\n", encoding="utf-8")
    command.chmod(0o755)
    return command


def is_alive(pid_file: Path) -> bool:
    state = Path(f"/proc/{pid_file.read_text(encoding='utf-8').strip()}/stat")
    return state.exists() and " Z " not in state.read_text(encoding="utf-8")


@pytest.mark.usefixtures("_only")
async def test_sleep_is_held_off_within_the_block_and_no_longer(tmp_path: Path) -> None:
    command = put(tmp_path, HOLDS)
    async with kept_awake() as sleeps:
        assert sleeps == ""
        assert is_alive(command.with_name("systemd-inhibit.pid"))
    assert not is_alive(command.with_name("systemd-inhibit.pid"))
    asked = command.with_name("systemd-inhibit.asked").read_text(encoding="utf-8")
    assert "--what=idle:sleep:handle-lid-switch" in asked


@pytest.mark.parametrize(
    ("does", "why"),
    [
        ("echo 'Failed to connect: nobody there' >&2; exit 1", "Failed to connect: nobody there"),
        ("exit 7", "it ended with status 7"),
        ("exec /bin/sleep 1000", "no answer within 0.2 s"),
    ],
)
@pytest.mark.usefixtures("_only")
async def test_why_it_cannot_be_held_off_is_said_in_one_line(
    does: str, why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(awake, "ANSWER_S", 0.2 if "sleep" in does else 20.0)
    put(tmp_path, does)
    async with kept_awake() as sleeps:
        assert sleeps == why


@pytest.mark.usefixtures("_only")
async def test_a_system_without_such_a_command_is_said() -> None:
    async with kept_awake() as sleeps:
        assert sleeps == "none of systemd-inhibit, caffeinate is here"


@pytest.mark.usefixtures("_only")
async def test_a_command_that_cannot_be_run_is_said(tmp_path: Path) -> None:
    put(tmp_path, "").write_bytes(b"\x7fELF and nothing more")
    async with kept_awake() as sleeps:
        assert sleeps == "systemd-inhibit: Exec format error"


@pytest.mark.usefixtures("_only")
def test_it_ends_with_us_however_we_end(tmp_path: Path) -> None:
    command = put(tmp_path, HOLDS)
    code = """
import asyncio, sys
from monitor.road.awake import kept_awake
async def hold():
    async with kept_awake() as sleeps:
        print(repr(sleeps), flush=True)
        await asyncio.Event().wait()
asyncio.run(hold())
"""
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as us:
        assert us.stdout is not None
        assert us.stdout.readline() == "''\n"
        assert is_alive(command.with_name("systemd-inhibit.pid"))
        us.kill()
    for _ in range(2000):
        if not is_alive(command.with_name("systemd-inhibit.pid")):
            return
        subprocess.run([sys.executable, "-c", ""], check=True)
    raise AssertionError("it outlived us")
